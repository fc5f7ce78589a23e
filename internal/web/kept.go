package web

import (
	"context"
	"sync"
	"time"
)

// kept is an answer that is worked out once for all who ask. One that has grown
// old is given once more while a new one is worked out.
type kept[T any] struct {
	mu    sync.Mutex // not held while working
	at    time.Time
	value T
	err   error
	busy  chan struct{} // closed when the work in hand is done; nil: there is none
}

// keep says up to which age an answer is given as it is, and up to which age it is
// given while a new one is made.
type keep struct{ fresh, old time.Duration }

// get returns the answer. Work runs by run, so that it outlives who asked first.
func (k *kept[T]) get(ctx context.Context, now time.Time, keep keep, run func(func(context.Context)), work func(context.Context) (T, error)) (T, error) {
	k.mu.Lock()
	age := now.Sub(k.at)
	if !k.at.IsZero() && age < keep.fresh {
		defer k.mu.Unlock()
		return k.value, k.err
	}
	if k.busy == nil {
		k.busy = make(chan struct{})
		run(func(ctx context.Context) {
			value, err := work(ctx)
			k.mu.Lock()
			defer k.mu.Unlock()
			k.at, k.value, k.err = now, value, err
			close(k.busy)
			k.busy = nil
		})
	}
	busy := k.busy
	if !k.at.IsZero() && age < keep.old && k.err == nil {
		defer k.mu.Unlock()
		return k.value, nil
	}
	k.mu.Unlock()
	var none T
	select {
	case <-busy:
	case <-ctx.Done():
		return none, ctx.Err()
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.value, k.err
}

// stale lets the next who asks wait for a new answer.
func (k *kept[T]) stale() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.at = time.Time{}
}

// shelf is some kept answers by their questions.
type shelf[K comparable, T any] struct {
	mu  sync.Mutex
	all map[K]*kept[T]
}

// shelfRoom is how many answers a shelf holds. A full one is cleared: that costs
// some work again, and needs no thought about what is used least.
const shelfRoom = 128

func (s *shelf[K, T]) of(question K) *kept[T] {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil || len(s.all) >= shelfRoom && s.all[question] == nil {
		s.all = map[K]*kept[T]{}
	}
	if s.all[question] == nil {
		s.all[question] = &kept[T]{}
	}
	return s.all[question]
}
