package exposure

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// A Monday morning, in the time zone of no one.
var start = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func at(d time.Duration) time.Time { return start.Add(d) }

func hours(h float64) time.Duration { return time.Duration(h * float64(time.Hour)) }

func shiftOf(d time.Duration) dust.Shift {
	return dust.Shift{Date: start.Format(time.DateOnly), Start: start, End: at(d)}
}

// steady is a stretch of one value, read once a second.
type steady struct {
	from, to time.Duration
	value    float64 // µg/m³
	flags    dust.Flags
}

func seriesOf(t *testing.T, position dust.Position, channel dust.Channel, parts ...steady) *dust.Series {
	t.Helper()
	s := dust.NewSeries(dust.Sensor{Name: "collar", Model: "sps30", Position: position}, channel)
	for _, p := range parts {
		for d := p.from; d < p.to; d += time.Second {
			require.NoError(t, s.Append(at(d), p.value, p.flags))
		}
	}
	return s
}

func named(s *dust.Series, name string) *dust.Series {
	s.Sensor.Name = name
	return s
}

func mustLimit(t *testing.T, id string) Limit {
	t.Helper()
	l, err := ChooseLimit(id)
	require.NoError(t, err)
	return l
}

func mustAssess(t *testing.T, in Input) Result {
	t.Helper()
	r, err := Assess(in)
	require.NoError(t, err)
	return r
}
