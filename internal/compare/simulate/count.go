package simulate

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"

	"dustlog/internal/compare"
)

// Count is what many studies of one kind gave.
type Count struct {
	Studies  int
	Verdicts map[compare.Verdict]int
	Judged   int // with an interval
	Covered  int // of them, with the truth in it
	// By the interval alone, without the permutation guard and the look at trends.
	Reduced, Enough, Increased int
	SmallP                     int // permutation p ≤ 0.05
}

// Ask simulates studies and asks about each.
func Ask(m Model, d Design, ratio float64, studies int, seed uint64) (Count, error) {
	return ask(studies, seed, ratio, func(rng *rand.Rand) (compare.Result, error) {
		return compare.Compare(m.Study(rng, d, ratio))
	})
}

// ask counts the answers to studies, each with random numbers of its own.
func ask(studies int, seed uint64, ratio float64, one func(rng *rand.Rand) (compare.Result, error)) (Count, error) {
	total := Count{Verdicts: map[compare.Verdict]int{}}
	var lock sync.Mutex
	var group sync.WaitGroup
	var failed error
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		group.Go(func() {
			own := Count{Verdicts: map[compare.Verdict]int{}}
			for i := w; i < studies; i += workers {
				res, err := one(generator(seed, i))
				if err != nil {
					lock.Lock()
					failed = err
					lock.Unlock()
					return
				}
				own.add(res, ratio)
			}
			lock.Lock()
			defer lock.Unlock()
			total.merge(own)
		})
	}
	group.Wait()
	return total, failed
}

// generator gives each study random numbers of its own. Neighbouring seeds of a
// simpler generator gave studies that resembled each other.
func generator(seed uint64, study int) *rand.Rand {
	var key [32]byte
	binary.LittleEndian.PutUint64(key[:], seed)
	binary.LittleEndian.PutUint64(key[8:], uint64(study))
	return rand.New(rand.NewChaCha8(key))
}

func (c *Count) add(r compare.Result, truth float64) {
	c.Studies++
	c.Verdicts[r.Verdict]++
	if r.CILow == nil || r.CIHigh == nil {
		return
	}
	c.Judged++
	if *r.CILow <= truth && truth <= *r.CIHigh {
		c.Covered++
	}
	switch compare.VerdictFor(*r.CILow, *r.CIHigh, r.SmallestChange/100) {
	case compare.Increased:
		c.Increased++
	case compare.ReducedEnough:
		c.Enough++
		c.Reduced++
	case compare.ReducedLess, compare.ReducedUncertain:
		c.Reduced++
	}
	if r.PermutationP != nil && *r.PermutationP <= 0.05+1e-9 {
		c.SmallP++
	}
}

func (c *Count) merge(o Count) {
	c.Studies += o.Studies
	c.Judged += o.Judged
	c.Covered += o.Covered
	c.Reduced += o.Reduced
	c.Enough += o.Enough
	c.Increased += o.Increased
	c.SmallP += o.SmallP
	for v, n := range o.Verdicts {
		c.Verdicts[v] += n
	}
}

// SaysReduced counts the verdicts that a reduction of any size is shown.
func (c Count) SaysReduced() int {
	return c.Verdicts[compare.ReducedEnough] + c.Verdicts[compare.ReducedLess] + c.Verdicts[compare.ReducedUncertain]
}

// Share is a share of studies with its standard error.
func Share(n, of int) (share, se float64) {
	if of == 0 {
		return math.NaN(), math.NaN()
	}
	share = float64(n) / float64(of)
	return share, math.Sqrt(share * (1 - share) / float64(of))
}
