package collect_test

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/collect"
	"dustlog/internal/dust"
)

// changedClock is a wall clock that is changed several times: by is how far off it is
// from the moment after on.
type changedClock struct {
	collect.Clock
	changes []change
}

type change struct{ after, by time.Duration }

func (c changedClock) Wall() time.Time {
	by := time.Duration(0)
	for _, one := range c.changes {
		if c.Elapsed() >= one.after {
			by = one.by
		}
	}
	return c.Clock.Wall().Add(by)
}

const half = 500 * time.Millisecond // changes come between two readings

// collected runs one reading a second for some seconds under a changed clock.
func collected(t *testing.T, seconds int, changes ...change) *memory {
	t.Helper()
	sink := &memory{}
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), time.Duration(seconds)*time.Second+half)
		defer cancel()
		in := input("bench", &ticker{value: rising})
		in.Clock = changedClock{collect.SystemClock(), changes}
		_, err := collect.Run(ctx, []collect.Input{in}, sink, collect.Options{})
		require.NoError(t, err)
		require.Len(t, sink.readings, seconds)
	})
	for i := 1; i < len(sink.readings); i++ {
		require.True(t, sink.readings[i].Time.After(sink.readings[i-1].Time), "reading %d", i)
	}
	for _, q := range sink.quality {
		require.False(t, q.To.Before(q.From), "line quality from %s to %s", q.From, q.To)
	}
	return sink
}

func flagged(sink *memory, f dust.Flags) (which []int) {
	for i, r := range sink.readings {
		if r.Flags.Has(f) {
			which = append(which, i)
		}
	}
	return which
}

func numbers(from, to int) (all []int) {
	for i := from; i < to; i++ {
		all = append(all, i)
	}
	return all
}

// A board without a battery starts five hours late, is set back further, and then
// forward to the true time.
func TestClockSetBackAndThenRight(t *testing.T) {
	sink := collected(t, 40, change{0, 0}, change{10*time.Second + half, -5 * time.Hour}, change{20*time.Second + half, 0})
	require.Equal(t, numbers(10, 20), flagged(sink, dust.ClockStep), "while the wall clock is behind, and no longer")
	require.Equal(t, []string{"clock_step", "clock_step"}, sink.kinds())
	require.Contains(t, sink.events[0].Text, "changed by -5h0m0s")
	require.Contains(t, sink.events[1].Text, "changed by 5h0m0s: it is no longer behind")
	require.Equal(t, 39*time.Second, sink.readings[39].Time.Sub(sink.readings[0].Time), "the spacing was true all the time")
}

func TestClockSetBackTwiceAndFarForward(t *testing.T) {
	sink := collected(t, 40, change{10*time.Second + half, -time.Hour}, change{20*time.Second + half, -3 * time.Hour}, change{30*time.Second + half, 2 * time.Hour})
	require.Equal(t, numbers(10, 31), flagged(sink, dust.ClockStep))
	require.Len(t, sink.events, 3, "each change once")
	require.Contains(t, sink.events[1].Text, "changed by -2h0m0s: it is 3h0m0s behind")
	require.Contains(t, sink.events[2].Text, "changed by 5h0m0s")
	for i, want := range map[int]time.Duration{29: 29 * time.Second, 30: 30*time.Second + 2*time.Hour} {
		require.Equal(t, want, sink.readings[i].Time.Sub(sink.readings[0].Time), "reading %d", i)
	}
}

// Five steps of 1.9 s back, each too small to be called a step: readings stay at least
// half their distance apart, and what adds up is found.
func TestSmallStepsBackDoNotSqueezeReadings(t *testing.T) {
	var changes []change
	for i := range 5 {
		changes = append(changes, change{time.Duration(10+i)*time.Second + half, -1900 * time.Millisecond * time.Duration(i+1)})
	}
	sink := collected(t, 60, changes...)
	for i := 1; i < 60; i++ {
		require.GreaterOrEqual(t, sink.readings[i].Time.Sub(sink.readings[i-1].Time), half, "reading %d", i)
	}
	require.Contains(t, sink.kinds(), "clock_step")

	sink = collected(t, 30, change{10*time.Second + half, -1500 * time.Millisecond})
	require.Empty(t, sink.events)
	require.Empty(t, flagged(sink, dust.ClockStep))
	require.Equal(t, 29*time.Second-1500*time.Millisecond, sink.readings[29].Time.Sub(sink.readings[0].Time), "the small step is followed")
}

// A clock that was never set shows 1970 until the network tells the time.
func TestClockThatWasNeverSet(t *testing.T) {
	sink := collected(t, 20, change{0, -30 * 365 * 24 * time.Hour}, change{10*time.Second + half, 0})
	require.Equal(t, numbers(0, 11), flagged(sink, dust.ClockStep))
	require.Equal(t, []string{"clock_step"}, sink.kinds())
	require.Contains(t, sink.events[0].Text, "too early by as much")
}

// A step must not end the warm-up early or make equal values look stuck: both go by
// elapsed time.
func TestClockStepsLeaveTheOtherFlagsAlone(t *testing.T) {
	sink := &memory{}
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second+half)
		defer cancel()
		in := input("bench", &ticker{value: func(int) (float64, error) { return 12, nil }})
		in.WarmUp = 15 * time.Second
		in.Clock = changedClock{collect.SystemClock(), []change{{5*time.Second + half, 7 * time.Hour}}}
		_, err := collect.Run(ctx, []collect.Input{in}, sink, collect.Options{})
		require.NoError(t, err)
	})
	require.Empty(t, flagged(sink, dust.Stuck))
	require.Equal(t, numbers(0, 14), flagged(sink, dust.WarmUp))
}

// Five minutes of silence with the line open: one event, tried again and again, and the
// sensor is taken back when it speaks.
func TestFiveMinutesOfSilence(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 10*time.Minute)
		defer cancel()
		began := time.Now()
		quiet := func(i int) (float64, error) {
			if since := time.Since(began); since > time.Minute && since < 6*time.Minute {
				return 0, dust.ErrSilent
			}
			return rising(i)
		}
		var sources []collect.Source
		for range 200 {
			sources = append(sources, &ticker{value: quiet})
		}
		var sink memory
		summary, err := collect.Run(ctx, []collect.Input{input("quiet", sources...), input("good", &ticker{value: rising})}, &sink, collect.Options{})
		require.NoError(t, err)
		require.GreaterOrEqual(t, len(sink.of("good")), 599, "the other sensor is not delayed")
		require.Zero(t, summary.Sensors[0].Lost)
		require.Equal(t, 1, summary.Sensors[0].Silent)
		require.Equal(t, []string{"silent", "back"}, sink.kinds(), "once, not at every try")
		require.Contains(t, sink.events[1].Text, "readings again, 5m0")
		require.Greater(t, len(sink.of("quiet")), 59+4*60-20)
	})
}

// noticing is a source that notices something with its third reading.
type noticing struct{ ticker }

func (n *noticing) Notes() []dust.Event {
	if n.n != 3 {
		return nil
	}
	return []dust.Event{{Kind: collect.EventSwapped, Text: "another one"}}
}

func TestWhatASourceNoticesIsAnEvent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second+half)
		defer cancel()
		var sink memory
		_, err := collect.Run(ctx, []collect.Input{input("bench", &noticing{ticker{value: rising}})}, &sink, collect.Options{})
		require.NoError(t, err)
		require.Equal(t, []string{"swapped"}, sink.kinds())
		require.Equal(t, "bench", sink.events[0].Sensor)
		require.Equal(t, sink.readings[2].Time, sink.events[0].Time)
	})
}
