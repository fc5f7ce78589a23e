package cli

import (
	"context"
	"errors"
	"math"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/clearance"
	"dustlog/internal/collect"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
)

// fakeDiary is what other programs write while a collector runs.
type fakeDiary struct {
	mu    sync.Mutex
	tasks []dust.Task
	err   error
}

func (d *fakeDiary) Tasks(context.Context, time.Time, time.Time) ([]dust.Task, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return append([]dust.Task(nil), d.tasks...), d.err
}

func (d *fakeDiary) SetupPeriods(context.Context) ([]dust.SetupPeriod, error) {
	return []dust.SetupPeriod{{Setup: "hood"}}, nil
}

func (d *fakeDiary) set(tasks []dust.Task, err error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.tasks, d.err = tasks, err
}

// bench is a collector's shop under a fake clock.
type benchShop struct {
	live  *liveRespirator
	diary *fakeDiary
	runs  *fakeRuns
	mu    sync.Mutex
	told  []respirator.Status
	at    []time.Duration
	level float64
	mute  bool
}

func startBench(t *testing.T, learn func(context.Context) (respirator.Facts, error)) *benchShop {
	b := &benchShop{diary: &fakeDiary{}, runs: &fakeRuns{}, level: 10}
	began := time.Now()
	b.live = &liveRespirator{clock: collect.SystemClock(), diary: b.diary, learn: learn, hook: b.runs.hook(0), tell: func(s respirator.Status) {
		b.mu.Lock()
		defer b.mu.Unlock()
		b.told, b.at = append(b.told, s), append(b.at, time.Since(began))
	}}
	b.live.begin(t.Context(), respirator.Rules{}, respirator.Watch([]dust.Sensor{{Name: "bench", Position: dust.BreathingZone}}, false))
	return b
}

// run sends a reading a second.
func (b *benchShop) run(d time.Duration) {
	for range int(d / time.Second) {
		time.Sleep(time.Second)
		if !b.mute {
			var v dust.Values
			v.Set(dust.PM25, b.level)
			b.live.reading(dust.Reading{Time: time.Now(), Sensor: "bench", Values: v})
		}
		synctest.Wait()
	}
}

// ends are those of the countdowns in what was told since the last call of states.
func (b *benchShop) ends() (ends []*time.Time) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, s := range b.told {
		ends = append(ends, s.KeepOnUntil)
	}
	return ends
}

// states are what was told since the last call.
func (b *benchShop) states() (words []string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	for _, s := range b.told {
		words = append(words, s.Word()+" "+string(s.Cause))
	}
	b.told = nil
	return words
}

func knownShop(context.Context) (respirator.Facts, error) {
	return respirator.Facts{LimitUgM3: 1000, Clearing: []respirator.Clearing{{Sensor: "bench", Setup: "hood", Runs: 5,
		Rate: clearance.Rate{PerHour: 6, LowPerHour: 5, Background: 10, BackgroundHigh: 12, Hours: 1}}}}, nil
}

func TestLiveRespiratorThroughADay(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, knownShop)
		require.Equal(t, []string{"keep_on starting"}, b.states(), "told before anything was read")
		b.run(5 * time.Minute)
		require.Equal(t, []string{"keep_on clearing", "not_shown_needed idle"}, b.states())

		b.diary.set([]dust.Task{{Name: "sanding", Material: "oak", Start: time.Now()}}, nil)
		b.level = 300
		b.run(5 * time.Second)
		require.Equal(t, []string{"keep_on dust"}, b.states(), "within seconds of dust")
		b.run(5 * time.Minute)
		require.Equal(t, []string{"keep_on task"}, b.states(), "and of the diary")
		b.diary.set([]dust.Task{{Name: "sanding", Material: "oak", Start: time.Now().Add(-5 * time.Minute), Stop: time.Now()}}, nil)
		stopped := time.Now()
		for b.run(time.Second); time.Since(stopped) < 70*time.Minute; b.run(time.Second) {
			b.level = 10 + 290*math.Exp(-6*time.Since(stopped).Hours())
		}
		ends := b.ends()
		require.Equal(t, []string{"keep_on clearing", "keep_on clearing", "not_shown_needed idle"}, b.states())
		require.Nil(t, ends[0], "no end can be told right after work")
		// From the mean of the first two minutes, 10 + 290·(1 − e^(−0.2))/0.2 = 273, to 20
		// over at most 12 at 5 1/h: 42.0 min, the two minutes and Settle.
		require.InDelta(t, 60*math.Log(261.0/8)/5+3, ends[1].Sub(stopped).Minutes(), 0.3)
		require.Contains(t, b.runs.last(), "DUSTLOG_CAUSE=idle")
		require.InDelta(t, 42.8, b.runs.minutes(t), 1.5, "and so is the program")

		b.mute = true
		b.run(15 * time.Second)
		require.Equal(t, []string{"keep_on no_data"}, b.states())
		b.live.stop()
		require.Equal(t, []string{"keep_on ended"}, b.states())
		words := b.runs.words
		require.Equal(t, "keep_on", words[0], "at the start")
		require.Equal(t, "keep_on", words[len(words)-1], "at the end")
	})
}

// Dust that comes back moves the end, and that is told again: every five minutes.
func TestLiveCountdownMovesOnWithDust(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, knownShop)
		b.run(5 * time.Minute)
		b.states()
		b.level = 100
		b.run(24 * time.Minute)
		ends := b.ends()
		words := b.states()
		require.Len(t, words, 5)
		for i, end := range ends {
			require.Equal(t, "keep_on dust", words[i])
			require.NotNil(t, end)
			if i > 0 {
				require.GreaterOrEqual(t, end.Sub(*ends[i-1]), time.Minute)
			}
		}
		b.level = 10
		b.run(20 * time.Minute)
		require.LessOrEqual(t, len(b.states()), 2, "the end stays")
		b.live.stop()
	})
}

func TestTheRedrawnLine(t *testing.T) {
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	until := now.Add(11*time.Minute + time.Second)
	for want, s := range map[string]respirator.Status{
		"respirator: keep it on":             {State: exposure.MaskCannotTell},
		"respirator: keep it on 12 min more": {Time: now, State: exposure.KeepOn, KeepOnUntil: &until},
		"respirator: keep it on 2 min more":  {Time: now.Add(10 * time.Minute), State: exposure.KeepOn, KeepOnUntil: &until},
		"respirator: not shown to be needed": notNeeded,
	} {
		require.Equal(t, want, inShort(s))
	}
	require.Equal(t, "respirator: keep it on", inShort(respirator.Status{}))
}

// An answer that nobody has renewed is none.
func TestTheCurrentAnswerGoesStale(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, knownShop)
		b.run(5 * time.Minute)
		require.Equal(t, exposure.NotShownNeeded, b.live.current().State)
		require.Equal(t, exposure.NotShownNeeded, b.live.forPage().State)
		require.Zero(t, b.live.forPage().Until)
		b.level = 300
		b.run(5 * time.Second)
		require.Equal(t, exposure.KeepOn, b.live.forPage().State)
		require.Equal(t, *b.live.current().KeepOnUntil, b.live.forPage().Until)
		b.level = 10
		b.run(2 * time.Hour)
		b.live.stop()
		require.Equal(t, exposure.NotShownNeeded, b.live.current().State)
		time.Sleep(11 * time.Second)
		require.Equal(t, exposure.KeepOn, b.live.current().State)
		require.Equal(t, respirator.NoData, b.live.current().Cause)
	})
}

// A line that comes and goes, and a level at the edge of what counts as back, do not
// make the lamp flicker.
func TestLiveRespiratorIsDebounced(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, knownShop)
		b.run(5 * time.Minute)
		b.states()
		for i := range 60 {
			b.level = 19 + 2*float64(i%2) // back is 20
			b.run(30 * time.Second)
		}
		words := b.states()
		require.Equal(t, []string{"keep_on dust"}, slices.Compact(words))
		require.LessOrEqual(t, len(words), 7, "its end moves on")
		b.level = 10
		for range 60 {
			b.mute = !b.mute
			b.run(20 * time.Second)
		}
		changes := b.states()
		require.LessOrEqual(t, len(changes), 2, "%v", changes)
		b.live.stop()
	})
}

func TestLiveRespiratorFailsSafe(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := startBench(t, knownShop)
		b.run(5 * time.Minute)
		b.states()
		b.diary.set(nil, errors.New("store is busy"))
		b.run(5 * time.Second)
		require.Equal(t, []string{"keep_on no_diary"}, b.states())
		b.diary.set(nil, nil)
		b.run(10 * time.Minute)
		require.Equal(t, []string{"not_shown_needed idle"}, b.states())
		b.live.stop()
	})
}

func TestLiveRespiratorLearnsAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		tries := 0
		b := startBench(t, func(ctx context.Context) (respirator.Facts, error) {
			if tries++; tries < 3 {
				return respirator.Facts{}, errors.New("no store")
			}
			return knownShop(ctx)
		})
		b.run(10 * time.Minute)
		last := b.told[len(b.told)-1]
		require.Equal(t, exposure.MaskCannotTell, last.State)
		require.Contains(t, last.Why.String(), "no store")
		b.run(20 * time.Minute)
		require.Equal(t, 3, tries)
		require.Equal(t, exposure.NotShownNeeded, b.told[len(b.told)-1].State)
		b.live.stop()
	})
}
