package alternatives

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// BlockLength is how long a record remembers, for bootstraps of one record.
type BlockLength struct {
	LastLag    int     // m: the last lag with a correlation that counts
	Bandwidth  int     // M
	G          float64 // Σ w(k)·|k|·γ(k)
	LRV        float64 // Σ w(k)·γ(k): long-run variance
	Stationary float64 // mean block length of the stationary bootstrap, in samples
	Circular   float64 // block length of the circular bootstrap
}

// PolitisWhite chooses the block length from the autocovariances γ (divisor n):
//
//	K = max(5, ⌈log10 n⌉), m = smallest lag after which K correlations stay
//	inside ±2·√(log10 n / n), M = min(2·max(m,1), ⌈√n⌉+K), w = 1 up to M/2, then
//	2·(1−|k|/M), b = (2·G²/D)^⅓·n^⅓ with D = 2·LRV² (stationary) or 4/3·LRV²
//	(circular), at most ⌈min(3·√n, n/3)⌉
//
// Where no lag qualifies, m is the last lag ≤ ⌈√n⌉+K outside the band. Source:
// Politis & White 2004, Econometric Reviews 23:53, corrected by Patton, Politis &
// White 2009, 28:372. It needs 30 values. Errors wrap ErrTooFew or ErrNoSpread.
func PolitisWhite(x []float64) (BlockLength, error) {
	n := float64(len(x))
	if len(x) < 30 {
		return BlockLength{}, fmt.Errorf("block length of %d values, need 30: %w", len(x), ErrTooFew)
	}
	k := max(5, int(math.Ceil(math.Log10(n))))
	most := int(math.Ceil(math.Sqrt(n))) + k
	g := autocovariances(x, min(most+k, len(x)-1))
	if !(g[0] > 0) {
		return BlockLength{}, fmt.Errorf("block length: %w", ErrNoSpread)
	}
	b := BlockLength{LastLag: lastLag(g, k, most, 2*math.Sqrt(math.Log10(n)/n))}
	b.Bandwidth = min(2*max(b.LastLag, 1), most)
	b.LRV = g[0]
	for lag := 1; lag <= min(b.Bandwidth, len(g)-1); lag++ {
		share := float64(lag) / float64(b.Bandwidth)
		w := math.Min(1, 2*(1-share))
		b.LRV += 2 * w * g[lag]
		b.G += 2 * w * float64(lag) * g[lag]
	}
	cap := math.Ceil(math.Min(3*math.Sqrt(n), n/3))
	length := func(d float64) float64 {
		return math.Min(cap, math.Cbrt(2*b.G*b.G/(d*b.LRV*b.LRV))*math.Cbrt(n))
	}
	b.Stationary, b.Circular = length(2), length(4.0/3)
	return b, nil
}

// lastLag is m of PolitisWhite.
func lastLag(g []float64, run, most int, band float64) int {
	inside := func(lag int) bool { return lag >= len(g) || math.Abs(g[lag]/g[0]) < band }
	last := 0
	for m := range most {
		quiet := true
		for lag := m + 1; lag <= m+run && quiet; lag++ {
			quiet = inside(lag)
		}
		if quiet {
			return m
		}
		if !inside(m + 1) {
			last = m + 1
		}
	}
	return last
}

// autocovariances with divisor n, for lags 0 … most.
func autocovariances(x []float64, most int) []float64 {
	m := mean(x)
	g := make([]float64, most+1)
	for lag := range g {
		for i := lag; i < len(x); i++ {
			g[lag] += (x[i] - m) * (x[i-lag] - m)
		}
		g[lag] /= float64(len(x))
	}
	return g
}

// SerialMean is the mean of one record with a standard error that knows of its memory.
type SerialMean struct {
	Mean, SE float64
	LRV      float64 // long-run variance
	N        float64 // independent values that would be as good
}

// NeweyWest uses autocovariances γ (divisor n) up to lag with Bartlett's weights
// 1 − k/(lag+1): LRV = γ0 + 2·Σ w·γ(k), SE = √(LRV/n), N = n·γ0/LRV. Source:
// Newey & West 1987, Econometrica 55:703. It speaks of that record only: what
// differs from day to day is not in it. Errors wrap ErrTooFew or ErrNoSpread.
func NeweyWest(x []float64, lag int) (SerialMean, error) {
	if len(x) < 2 || lag < 0 || lag >= len(x) {
		return SerialMean{}, fmt.Errorf("lag %d in %d values: %w", lag, len(x), ErrTooFew)
	}
	g := autocovariances(x, lag)
	s := SerialMean{Mean: mean(x), LRV: g[0]}
	for k := 1; k <= lag; k++ {
		s.LRV += 2 * (1 - float64(k)/float64(lag+1)) * g[k]
	}
	if !(s.LRV > 0) {
		return s, fmt.Errorf("long-run variance: %w", ErrNoSpread)
	}
	n := float64(len(x))
	s.SE, s.N = math.Sqrt(s.LRV/n), n*g[0]/s.LRV
	return s, nil
}

// StationaryMeans draws the mean of one record again and again from blocks of
// geometric length around the given mean length, the record taken as a ring.
// Source: Politis & Romano 1994, J. Am. Stat. Assoc. 89:1303.
func StationaryMeans(rng *rand.Rand, x []float64, length float64, draws int) []float64 {
	out := make([]float64, draws)
	for d := range out {
		at := rng.IntN(len(x))
		var sum float64
		for range x {
			if rng.Float64()*length < 1 {
				at = rng.IntN(len(x))
			}
			sum += x[at]
			at = (at + 1) % len(x)
		}
		out[d] = sum / float64(len(x))
	}
	return out
}

// RecordRatio is a ratio new/old of two single records, each of one stretch of time.
type RecordRatio struct {
	Ratio                   float64
	BlockLow, BlockHigh     float64 // stationary bootstrap
	SerialLow, SerialHigh   float64 // Newey & West
	SecondsLow, SecondsHigh float64 // every value taken as independent: far too narrow
}

// OneRecordEach compares two single records by ln values, such as one-minute
// means. Its intervals describe only those stretches of time; what differs
// between days is not in them, so they claim a change in a quarter to a third of
// studies that have none. Never a verdict. lag is for NeweyWest, in samples.
func OneRecordEach(lnOld, lnNew []float64, lag, draws int, confidence float64) (RecordRatio, error) {
	var r RecordRatio
	var means [2][]float64
	var serial [2]SerialMean
	var plain [2]float64
	rng := rand.New(rand.NewPCG(seed, uint64(len(lnOld)+len(lnNew))))
	for i, x := range [][]float64{lnOld, lnNew} {
		b, err := PolitisWhite(x)
		if err != nil {
			return r, err
		}
		if serial[i], err = NeweyWest(x, lag); err != nil {
			return r, err
		}
		means[i] = StationaryMeans(rng, x, math.Max(1, b.Stationary), draws)
		plain[i] = autocovariances(x, 0)[0] / float64(len(x))
	}
	d := serial[1].Mean - serial[0].Mean
	r.Ratio = math.Exp(d)
	differences := make([]float64, draws)
	for i := range differences {
		differences[i] = means[1][i] - means[0][i]
	}
	slices.Sort(differences)
	r.BlockLow, r.BlockHigh = math.Exp(quantile(differences, (1-confidence)/2)), math.Exp(quantile(differences, 1-(1-confidence)/2))
	z := distuv.UnitNormal.Quantile(1 - (1-confidence)/2)
	around := func(variance float64) (low, high float64) {
		return math.Exp(d - z*math.Sqrt(variance)), math.Exp(d + z*math.Sqrt(variance))
	}
	r.SerialLow, r.SerialHigh = around(serial[0].SE*serial[0].SE + serial[1].SE*serial[1].SE)
	r.SecondsLow, r.SecondsHigh = around(plain[0] + plain[1])
	return r, nil
}
