package clearance

import (
	"fmt"
	"math"
)

// Pooled is one rate for a room in one state, from several decays.
type Pooled struct {
	Runs      int
	PerHour   float64 // geometric mean of λ, 1/h
	Low, High float64 // 95 % confidence limits of it; NaN for one run
	NextLow   float64 // one-sided 95 % lower limit for the next decay; NaN for one run
	SpreadLn  float64 // standard deviation of ln λ between runs; NaN for one run

	Background     float64 // mean of the runs'
	BackgroundHigh float64 // one-sided 95 % upper limit for the next decay; NaN for one run
	Hours          float64 // the longest record
}

// Pool takes the run as the unit:
//
//	m = mean of ln λ, s = SD (n − 1);  λ = exp(m), limits exp(m ± t(0.975, n−1)·s/√n)
//	next decay, lower limit: exp(m − t(0.95, n−1)·s·√(1 + 1/n))
//
// The scatter within each run is in s already. Source: Student's t on logarithms;
// prediction limit as in ISO 16269-8:2004 (from memory) for one further value.
// Errors wrap ErrTooFew (no run) or ErrBadInput.
func Pool(runs []Fit) (Pooled, error) {
	n := float64(len(runs))
	if len(runs) == 0 {
		return Pooled{}, fmt.Errorf("pooling: no decay: %w", ErrTooFew)
	}
	ln, background := make([]float64, len(runs)), make([]float64, len(runs))
	p := Pooled{Runs: len(runs)}
	for i, f := range runs {
		if !(f.PerHour > 0) || !finite(f.PerHour) || !finite(f.Background) {
			return Pooled{}, fmt.Errorf("pooling: run %d has rate %g 1/h: %w", i+1, f.PerHour, ErrBadInput)
		}
		ln[i], background[i] = math.Log(f.PerHour), f.Background
		p.Hours = max(p.Hours, f.Hours)
	}
	mean, sd := meanSD(ln)
	p.PerHour, p.SpreadLn = math.Exp(mean), sd
	level, levelSD := meanSD(background)
	p.Background = level
	p.Low, p.High, p.NextLow, p.BackgroundHigh = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	if len(runs) == 1 {
		return p, nil
	}
	half := tQuantile(0.975, n-1) * sd / math.Sqrt(n)
	p.Low, p.High = math.Exp(mean-half), math.Exp(mean+half)
	next := tQuantile(0.95, n-1) * math.Sqrt(1+1/n)
	p.NextLow = math.Exp(mean - next*sd)
	p.BackgroundHigh = level + next*levelSD
	return p, nil
}

// Rate is the rate to expect of the next decay. From one run there is no lower
// limit: how much runs differ is not known.
func (p Pooled) Rate() Rate {
	r := Rate{PerHour: p.PerHour, LowPerHour: p.NextLow, Background: p.Background, BackgroundHigh: p.BackgroundHigh, Hours: p.Hours}
	if p.Runs == 1 {
		r.LowPerHour, r.BackgroundHigh = 0, p.Background
	}
	return r
}

// meanSD is the mean and the standard deviation (divisor n − 1; NaN for one value).
func meanSD(x []float64) (mean, sd float64) {
	n := float64(len(x))
	for _, v := range x {
		mean += v / n
	}
	if len(x) < 2 {
		return mean, math.NaN()
	}
	for _, v := range x {
		sd += (v - mean) * (v - mean) / (n - 1)
	}
	return mean, math.Sqrt(sd)
}
