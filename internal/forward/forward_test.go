package forward_test

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/forward"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

var (
	_     forward.Outbox = (*sqlite.Store)(nil)
	start                = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)
)

// box is an outbox in memory.
type box struct {
	readings []dust.Reading
	ranges   []forward.Range
	events   []dust.Event
	done     []forward.Done
	busy     int // failures still to come
	broken   int // this reading cannot be read
}

func (b *box) AddForwardTarget(context.Context, string) error { return nil }

func (b *box) TakeForward(context.Context, string) ([]forward.Range, error) {
	if b.busy > 0 {
		b.busy--
		return nil, dust.ErrStoreBusy
	}
	return b.ranges, nil
}

func (b *box) ForwardShipped(_ context.Context, _ string, done []forward.Done) error {
	b.done = append(b.done, done...)
	for _, d := range done {
		for i := range b.ranges {
			if b.ranges[i].ID == d.Range.ID {
				b.ranges[i].From = d.To
				if d.To >= b.ranges[i].To {
					b.ranges = append(b.ranges[:i:i], b.ranges[i+1:]...)
				}
				break
			}
		}
	}
	return nil
}

func (b *box) ForwardDiary(context.Context, string) (*forward.Diary, error) { return nil, nil }

func (b *box) ForwardDiaryShipped(context.Context, string, forward.Diary) error { return nil }

func (b *box) Readings(_ context.Context, q dust.Query) iter.Seq2[dust.Reading, error] {
	return func(yield func(dust.Reading, error) bool) {
		for i, r := range b.readings {
			if i > 0 && i == b.broken && r.Time.Before(q.To) {
				yield(r, dust.ErrStoreBusy)
				return
			}
			if !r.Time.Before(q.From) && r.Time.Before(q.To) && !yield(r, nil) {
				return
			}
		}
	}
}

func (b *box) AddEvent(_ context.Context, e dust.Event) error {
	b.events = append(b.events, e)
	return nil
}

func boxOf(n int) *box {
	b := &box{readings: storetest.Readings("bench", start, n)}
	b.ranges = []forward.Range{{ID: 1, Sensor: "bench", From: start.UnixMilli(), To: start.Add(time.Hour).UnixMilli()}}
	return b
}

// sink is a target in memory that fails as fail says.
type sink struct {
	mu    sync.Mutex
	got   map[int64]dust.Reading
	calls []time.Time
	sizes []int
	fail  func(call int, readings []dust.Reading) error
}

func (s *sink) Name() string { return "sink" }

func (s *sink) WriteDiary(context.Context, forward.Diary) error { return nil }

func (s *sink) Write(_ context.Context, readings []dust.Reading) error {
	s.mu.Lock()
	s.calls = append(s.calls, time.Now())
	s.sizes = append(s.sizes, len(readings))
	call := len(s.calls) - 1
	s.mu.Unlock()
	if s.fail != nil {
		if err := s.fail(call, readings); err != nil {
			return err
		}
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.got == nil {
		s.got = map[int64]dust.Reading{}
	}
	for _, r := range readings {
		s.got[r.Time.UnixMilli()] = r
	}
	return nil
}

// TestSeveralPortions: more than is read in one go, of two sensors.
func TestSeveralPortions(t *testing.T) {
	b, s := boxOf(1000), &sink{}
	b.ranges = []forward.Range{
		{ID: 1, Sensor: "bench", From: start.UnixMilli(), To: start.Add(500 * time.Second).UnixMilli()},
		{ID: 2, Sensor: "bench", From: start.Add(500 * time.Second).UnixMilli(), To: start.Add(time.Hour).UnixMilli()},
	}
	sum, err := forward.Run(t.Context(), b, s, forward.Options{Once: true, Batch: 30})
	require.NoError(t, err)
	require.Equal(t, forward.Summary{Sent: 1000, Requests: 34}, sum)
	require.Len(t, s.got, 1000)
	require.Empty(t, b.ranges)
}

// TestTwoAtOnce: each of two requests is answered only when the other has come.
func TestTwoAtOnce(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		both := make(chan struct{})
		s := &sink{fail: func(call int, _ []dust.Reading) error {
			if call == 1 {
				close(both)
			}
			<-both
			return nil
		}}
		sum, err := forward.Run(t.Context(), boxOf(20), s, forward.Options{Once: true, Batch: 10})
		require.NoError(t, err)
		require.Equal(t, int64(20), sum.Sent)
	})
}

// TestOneKnocks: while the target is away, two requests do not knock twice as
// often as one, and what one of them cannot do ends the other.
func TestOneKnocks(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		s := &sink{fail: func(int, []dust.Reading) error {
			if time.Since(begin) < 10*time.Hour {
				return answer{}
			}
			return nil
		}}
		ctx, cancel := context.WithTimeout(t.Context(), 11*time.Hour)
		defer cancel()
		_, err := forward.Run(ctx, boxOf(40), s, forward.Options{Batch: 10})
		require.NoError(t, err)
		require.Len(t, s.got, 40)
		// Five minutes, half of it left to chance: 3:45 on average.
		require.InDelta(t, 600/3.75, len(s.calls), 40)

		s = &sink{fail: func(int, []dust.Reading) error { return answer{} }}
		b := boxOf(40)
		_, err = forward.Run(t.Context(), b, s, forward.Options{Once: true, Batch: 10})
		require.ErrorContains(t, err, "given up after 5 tries")
		require.Len(t, s.calls, 6, "five of one, one of the other")
		require.Len(t, b.ranges, 1)
	})
}

// TestTheStoreFails: a reading that cannot be read is the error, not what waits
// for it.
func TestTheStoreFails(t *testing.T) {
	b, s := boxOf(1000), &sink{}
	b.broken = 700
	_, err := forward.Run(t.Context(), b, s, forward.Options{Once: true, Batch: 50})
	require.ErrorIs(t, err, dust.ErrStoreBusy)
	require.Len(t, b.ranges, 1, "the rest is still noted")
	b.broken = 0
	_, err = forward.Run(t.Context(), b, s, forward.Options{Once: true, Batch: 50})
	require.NoError(t, err)
	require.Len(t, s.got, 1000)
}

// answer is an error as the mirror gives.
type answer struct {
	refused bool
	dropped int
	wait    time.Duration
}

func (a answer) Error() string             { return "the answer" }
func (a answer) Refused() bool             { return a.refused }
func (a answer) Dropped() int              { return a.dropped }
func (a answer) RetryAfter() time.Duration { return a.wait }

func TestBatchesAndLeftovers(t *testing.T) {
	b, s := boxOf(25), &sink{}
	b.ranges = append(b.ranges, forward.Range{ID: 2, Sensor: "bench", From: 0, To: 10}) // nothing in it
	sum, err := forward.Run(t.Context(), b, s, forward.Options{Once: true, Batch: 10})
	require.NoError(t, err)
	require.ElementsMatch(t, []int{10, 10, 5}, s.sizes)
	require.Len(t, s.got, 25)
	require.Equal(t, forward.Summary{Sent: 25, Requests: 3}, sum)
	require.Empty(t, b.ranges)
}

// TestOutage: the target is away for a day and a half. The waits grow to five
// minutes, no more than half left to chance, and everything arrives.
func TestOutage(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		b := boxOf(100)
		s := &sink{fail: func(int, []dust.Reading) error {
			if time.Since(begin) < 36*time.Hour {
				return fmt.Errorf("wrapped: %w", answer{})
			}
			return nil
		}}
		ctx, cancel := context.WithCancel(t.Context())
		defer cancel()
		ended := make(chan error)
		go func() {
			_, err := forward.Run(ctx, b, s, forward.Options{})
			ended <- err
		}()
		time.Sleep(37 * time.Hour)
		synctest.Wait()
		cancel()
		require.NoError(t, <-ended, "ending is no error")
		require.Len(t, s.got, 100)
		require.Greater(t, len(s.calls), 36*12, "at least every five minutes")
		require.Less(t, len(s.calls), 36*24+20, "at most every two and a half")
		for i := 1; i < len(s.calls); i++ {
			wait := s.calls[i].Sub(s.calls[i-1])
			full := min(time.Second<<min(i-1, 16), 5*time.Minute)
			require.GreaterOrEqual(t, wait, full/2, i)
			require.LessOrEqual(t, wait, full, i)
		}
	})
}

func TestTheTargetsOwnWaitIsHonoured(t *testing.T) {
	for asked, want := range map[time.Duration]time.Duration{
		17 * time.Second:    17 * time.Second,
		1000 * time.Hour:    time.Hour, // a server that errs must not stop it for weeks
		-5 * time.Second:    500 * time.Millisecond,
		time.Duration(1e18): time.Hour,
	} {
		synctest.Test(t, func(t *testing.T) {
			b := boxOf(3)
			s := &sink{fail: func(call int, _ []dust.Reading) error {
				if call == 0 {
					return answer{wait: asked}
				}
				return nil
			}}
			sum, err := forward.Run(t.Context(), b, s, forward.Options{Once: true})
			require.NoError(t, err)
			require.Equal(t, int64(1), sum.Retries)
			require.GreaterOrEqual(t, s.calls[1].Sub(s.calls[0]), want)
			require.LessOrEqual(t, s.calls[1].Sub(s.calls[0]), want+time.Second)
		})
	}
}

func TestOnceGivesUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, s := boxOf(3), &sink{fail: func(int, []dust.Reading) error { return errors.New("connection refused") }}
		_, err := forward.Run(t.Context(), b, s, forward.Options{Once: true})
		require.ErrorContains(t, err, "given up after 5 tries; what was not sent is still noted: connection refused")
		require.Len(t, b.ranges, 1)
	})
}

func TestABusyStoreIsTriedAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, s := boxOf(3), &sink{}
		b.busy = 3
		ctx, cancel := context.WithTimeout(t.Context(), time.Hour)
		defer cancel()
		_, err := forward.Run(ctx, b, s, forward.Options{})
		require.NoError(t, err)
		require.Len(t, s.got, 3)
		b.busy = 1
		_, err = forward.Run(t.Context(), b, s, forward.Options{Once: true})
		require.ErrorIs(t, err, dust.ErrStoreBusy)
	})
}

// TestBadPointsStandAlone: of 1000 readings three are refused, in one case
// without a word about how many.
func TestBadPointsStandAlone(t *testing.T) {
	for _, counts := range []bool{true, false} {
		b := boxOf(1000)
		bad := map[int64]bool{}
		for _, i := range []int{0, 500, 999} {
			bad[b.readings[i].Time.UnixMilli()] = true
		}
		s := &sink{fail: func(_ int, list []dust.Reading) error {
			n := 0
			for _, r := range list {
				if bad[r.Time.UnixMilli()] {
					n++
				}
			}
			switch {
			case n == 0:
				return nil
			case counts:
				return answer{refused: true, dropped: n}
			}
			return answer{refused: true}
		}}
		sum, err := forward.Run(t.Context(), b, s, forward.Options{Once: true})
		require.NoError(t, err)
		require.Equal(t, int64(3), sum.Refused)
		require.Len(t, s.got, 997)
		require.Less(t, len(s.calls), 3*2*10+2)
		require.Len(t, b.events, 1)
		require.Equal(t, "forward_refused", b.events[0].Kind)
		require.Equal(t, "bench", b.events[0].Sensor)
		require.Equal(t, "sink refused 3 reading(s) from 2026-03-02T08:00:00Z to 2026-03-02T08:16:39Z: the answer", b.events[0].Text)
		require.Equal(t, int64(3), b.done[0].Refused)
	}
}

// TestAllRefusedIsOneRequest: a server that keeps 30 days refuses older
// readings by the thousand.
func TestAllRefusedIsOneRequest(t *testing.T) {
	b := boxOf(1000)
	s := &sink{fail: func(_ int, list []dust.Reading) error { return answer{refused: true, dropped: len(list)} }}
	sum, err := forward.Run(t.Context(), b, s, forward.Options{Once: true})
	require.NoError(t, err)
	require.Equal(t, int64(1000), sum.Refused)
	require.Len(t, s.calls, 1)
	require.Empty(t, b.ranges)
}
