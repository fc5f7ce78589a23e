package calibrate

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

var start = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

// seriesOf is a reading a second.
func seriesOf(t *testing.T, name string, c dust.Channel, values []float64, flags dust.Flags) *dust.Series {
	t.Helper()
	s := dust.NewSeries(dust.Sensor{Name: name}, c)
	for i, v := range values {
		require.NoError(t, s.Append(start.Add(time.Duration(i)*time.Second), v, flags))
	}
	return s
}

func constant(n int, value float64) []float64 {
	values := make([]float64, n)
	for i := range values {
		values[i] = value
	}
	return values
}

func after(d time.Duration) time.Time { return start.Add(d) }
