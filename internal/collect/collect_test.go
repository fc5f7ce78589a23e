package collect_test

import (
	"context"
	"errors"
	"io"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"dustlog/internal/collect"
	"dustlog/internal/dust"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// memory is a sink that can be told to refuse.
type memory struct {
	mu       sync.Mutex
	readings []dust.Reading
	quality  []dust.LineQuality
	events   []dust.Event
	refuse   int // fail this many appends
}

func (m *memory) Append(_ context.Context, batch []dust.Reading) (int, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.refuse > 0 {
		m.refuse--
		return 0, dust.ErrStoreBusy
	}
	m.readings = append(m.readings, batch...)
	return len(batch), nil
}

func (m *memory) AddLineQuality(_ context.Context, list ...dust.LineQuality) error {
	m.quality = append(m.quality, list...)
	return nil
}

func (m *memory) AddEvent(_ context.Context, e dust.Event) error {
	m.events = append(m.events, e)
	return nil
}

func (m *memory) of(sensor string) (out []dust.Reading) {
	for _, r := range m.readings {
		if r.Sensor == sensor {
			out = append(out, r)
		}
	}
	return out
}

func (m *memory) kinds() (out []string) {
	for _, e := range m.events {
		out = append(out, e.Kind)
	}
	return out
}

// ticker gives one reading a second: value(i), or an error.
type ticker struct {
	value  func(i int) (float64, error)
	n      int
	closed bool
}

func (s *ticker) Read(ctx context.Context) (dust.Values, dust.Flags, error) {
	var v dust.Values
	select {
	case <-ctx.Done():
		return v, 0, ctx.Err()
	case <-time.After(time.Second):
	}
	x, err := s.value(s.n)
	s.n++
	v.Set(dust.PM25, x)
	return v, 0, err
}

func (s *ticker) Quality() dust.LineQuality {
	return dust.LineQuality{Frames: int64(s.n), ChecksumErrors: 2}
}
func (s *ticker) Close() error { s.closed = true; return nil }

func rising(i int) (float64, error) { return float64(i + 1), nil }

func input(name string, sources ...collect.Source) collect.Input {
	next := 0
	return collect.Input{
		Sensor: dust.Sensor{Name: name}, WarmUp: 3 * time.Second,
		Open: func(context.Context) (collect.Source, error) {
			if next == len(sources) {
				return nil, dust.ErrPortMissing
			}
			next++
			return sources[next-1], nil
		},
	}
}

func TestEndingTheContextWritesWhatWasRead(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 25*time.Second+500*time.Millisecond)
		defer cancel()
		var sink memory
		source := &ticker{value: rising}
		summary, err := collect.Run(ctx, []collect.Input{input("bench", source)}, &sink, collect.Options{})
		require.NoError(t, err, "Ctrl-C is not an error")
		require.Len(t, sink.readings, 25)
		require.True(t, source.closed)
		require.EqualValues(t, 25, summary.Sensors[0].Readings)
		require.EqualValues(t, 25, summary.Sensors[0].Line.Frames)
		require.EqualValues(t, 2, summary.Sensors[0].Line.ChecksumErrors)
		require.Len(t, sink.quality, 1)
		for i, r := range sink.readings {
			require.Equal(t, i < 2, r.Flags.Has(dust.WarmUp), "only the first 3 s are warm-up: reading %d", i)
			require.Equal(t, time.UTC, r.Time.Location())
			require.Zero(t, r.Time.Nanosecond()%1_000_000)
		}
	})
}

func TestALostLineIsOpenedAgainAndDisturbsNobody(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 60*time.Second+500*time.Millisecond)
		defer cancel()
		lost := func(i int) (float64, error) {
			if i == 10 {
				return 0, dust.ErrPortLost
			}
			return rising(i)
		}
		var sink memory
		summary, err := collect.Run(ctx, []collect.Input{
			input("weak", &ticker{value: lost}, &ticker{value: rising}),
			input("good", &ticker{value: rising}),
		}, &sink, collect.Options{})
		require.NoError(t, err)
		require.Len(t, sink.of("good"), 60)
		require.Len(t, sink.of("weak"), 10+60-11-1, "11 s to the loss, 1 s of waiting, then on")
		require.Equal(t, []string{"lost", "back"}, sink.kinds())
		require.Equal(t, 1, summary.Sensors[0].Lost)
	})
}

func TestAPortThatCannotBeOpenedStopsBeforeAnythingIsStored(t *testing.T) {
	var sink memory
	good := &ticker{value: rising}
	_, err := collect.Run(t.Context(), []collect.Input{input("good", good), input("none")}, &sink, collect.Options{})
	require.ErrorIs(t, err, dust.ErrPortMissing)
	require.ErrorContains(t, err, `"none"`)
	require.True(t, good.closed)
	require.Empty(t, sink.readings)
}

func TestSilenceOfEverySensorEndsTheRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		silent := func(int) (float64, error) { return 0, dust.ErrSilent }
		var sink memory
		_, err := collect.Run(t.Context(), []collect.Input{
			input("a", &ticker{value: silent}), input("b", &ticker{value: silent}),
		}, &sink, collect.Options{})
		require.ErrorIs(t, err, dust.ErrSilent)
	})
}

func TestOneSilentSensorIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second+500*time.Millisecond)
		defer cancel()
		silent := func(int) (float64, error) { return 0, dust.ErrSilent }
		var sink memory
		_, err := collect.Run(ctx, []collect.Input{
			input("late", &ticker{value: silent}, &ticker{value: rising}), input("good", &ticker{value: rising}),
		}, &sink, collect.Options{})
		require.NoError(t, err)
		require.Len(t, sink.of("good"), 20)
		require.NotEmpty(t, sink.of("late"))
	})
}

func TestABusyStoreLosesNothing(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 40*time.Second+500*time.Millisecond)
		defer cancel()
		sink := memory{refuse: 2}
		_, err := collect.Run(ctx, []collect.Input{input("bench", &ticker{value: rising})}, &sink, collect.Options{})
		require.NoError(t, err)
		require.Len(t, sink.readings, 40)
		for i, r := range sink.readings {
			x, _ := r.Values.Get(dust.PM25)
			require.InDelta(t, i+1, x, 0, "each once, in order")
		}
	})
}

// A turn comes with every commit that is due, whether the store takes it or not:
// starting the program again would not make the disk larger.
func TestASignOfLifeWithEveryTurn(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 65*time.Second)
		defer cancel()
		turns := 0
		sink := memory{refuse: 2}
		_, err := collect.Run(ctx, []collect.Input{input("bench", &ticker{value: rising})}, &sink, collect.Options{OnTurn: func() { turns++ }})
		require.NoError(t, err)
		require.Equal(t, 6, turns)
	})
}

func TestAStoreThatNeverTakesSaysHowMuchIsLost(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithTimeout(t.Context(), 5*time.Second+500*time.Millisecond)
		defer cancel()
		sink := memory{refuse: 1000}
		_, err := collect.Run(ctx, []collect.Input{input("bench", &ticker{value: rising})}, &sink, collect.Options{})
		require.ErrorIs(t, err, dust.ErrStoreBusy)
		require.ErrorContains(t, err, "5 readings")
	})
}

func TestFrozenValuesAreFlagged(t *testing.T) {
	for name, want := range map[string]struct {
		value float64
		flag  dust.Flags
	}{"stuck": {12, dust.Stuck}, "all zero": {0, dust.AllZero}} {
		t.Run(name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				ctx, cancel := context.WithTimeout(t.Context(), 90*time.Second+500*time.Millisecond)
				defer cancel()
				var sink memory
				same := func(int) (float64, error) { return want.value, nil }
				_, err := collect.Run(ctx, []collect.Input{input("bench", &ticker{value: same})}, &sink, collect.Options{})
				require.NoError(t, err)
				require.Len(t, sink.readings, 90, "flagged, not dropped")
				require.False(t, sink.readings[59].Flags.Unusable())
				require.True(t, sink.readings[75].Flags.Has(want.flag))
			})
		})
	}
}

// stepClock is a wall clock that is changed once.
type stepClock struct {
	collect.Clock
	after time.Duration
	by    time.Duration
}

func (c stepClock) Wall() time.Time {
	if c.Elapsed() >= c.after {
		return c.Clock.Wall().Add(c.by)
	}
	return c.Clock.Wall()
}

func TestAChangedClockIsRecordedAndNeverReorders(t *testing.T) {
	for _, by := range []time.Duration{time.Hour, -time.Hour} {
		synctest.Test(t, func(t *testing.T) {
			ctx, cancel := context.WithTimeout(t.Context(), 30*time.Second+500*time.Millisecond)
			defer cancel()
			var sink memory
			in := input("bench", &ticker{value: rising})
			in.Clock = stepClock{Clock: collect.SystemClock(), after: 10*time.Second + 500*time.Millisecond, by: by}
			_, err := collect.Run(ctx, []collect.Input{in}, &sink, collect.Options{})
			require.NoError(t, err)
			require.Len(t, sink.readings, 30)
			for i := 1; i < 30; i++ {
				require.True(t, sink.readings[i].Time.After(sink.readings[i-1].Time), "step %s, reading %d", by, i)
			}
			require.Contains(t, sink.kinds(), "clock_step")
			require.Len(t, sink.events, 1, "one step, one event")
			require.True(t, sink.readings[10].Flags.Has(dust.ClockStep))
			require.False(t, sink.readings[9].Flags.Has(dust.ClockStep))
		})
	}
}

func TestTheEndOfAllSourcesEndsTheRun(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var sink memory
		ends := func(i int) (float64, error) {
			if i == 5 {
				return 0, io.EOF
			}
			return rising(i)
		}
		_, err := collect.Run(t.Context(), []collect.Input{input("bench", &ticker{value: ends})}, &sink, collect.Options{})
		require.NoError(t, err)
		require.Len(t, sink.readings, 5)
		require.False(t, errors.Is(err, io.EOF))
	})
}
