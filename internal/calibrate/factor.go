package calibrate

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"dustlog/internal/exposure"
)

// FewestPairs is the least number of pairs of filter and sensor for a factor
// that findings may rest on (common practice, no source).
const FewestPairs = 3

// LastDay is the last day a factor is used if nothing else is said: a year after
// its last pair, since dust, sensor and season change (common practice, no source).
func LastDay(lastPair time.Time) time.Time { return lastPair.AddDate(1, 0, 0) }

// ErrMixed says that samples do not belong into one factor.
var ErrMixed = errors.New("samples do not belong together")

// Pairable is a filter sample with its number in the store.
type Pairable struct {
	ID int64
	FilterSample
}

// Fit is a factor worked out from filter samples with the sensor beside them.
type Fit struct {
	Metric   string            `json:"metric"`
	Fraction exposure.Fraction `json:"fraction"`
	Source   string            `json:"source"` // methods of the filters
	Factor   float64           `json:"factor"`
	// Low and High hold, with 95 % confidence, the factor of one new shift:
	// Factor divided by and times (1 + UncertaintyPercent/100).
	Low                float64 `json:"factor_low"`
	High               float64 `json:"factor_high"`
	UncertaintyPercent float64 `json:"uncertainty_percent"`
	SpreadPercent      float64 `json:"spread_percent"` // of the pair furthest from the factor

	Pairs       int       `json:"pairs"`
	PairFactors []float64 `json:"pair_factors"`
	Samples     []int64   `json:"samples"` // those that make the pairs
	LeftOut     []LeftOut `json:"left_out"`
	ScatterLn   float64   `json:"scatter_ln"`        // sd of the pairs about the factor
	MethodU     float64   `json:"u_method_ln"`       // weighing and flow, common to all pairs
	Zero        float64   `json:"zero_offset_ug_m3"` // taken off a reading before the factor

	Usable   bool     `json:"usable"` // findings may rest on it
	Why      string   `json:"why,omitempty"`
	Warnings []string `json:"warnings"`
}

// LeftOut is a sample that makes no pair.
type LeftOut struct {
	ID  int64  `json:"sample"`
	Why string `json:"why"`
}

// FitFactor works out the factor of one sensor for one dust:
//
//	F = ΣC_f / ΣC_s                             ratio of means
//	s² = Σ(ln fᵢ − ln F)²/(n−1)                 scatter of the pairs
//	u_m² = 0.05² + Σ(1000·u(net)ᵢ/Vᵢ)²/(ΣC_f)²  pump and weighing
//	U² = [t(n−1)·s·√(1 + Σwᵢ²)]² + (1.96·u_m)²,  wᵢ = C_s,ᵢ/ΣC_s
//	F·exp(±U)                                   95 % for one new shift
//
// 1 is for the new shift's own scatter, Σw² for that of F: 1/n if all samples
// are equally dusty, more if one outweighs the others. Logarithms because a factor
// cannot be below zero and is off by shares, not by amounts. The pump's part is
// not divided by n: it is the same pump and flow meter in every sample. The two
// parts are expanded before they are added: with three pairs the degrees of
// freedom of Welch–Satterthwaite would cover 93 % of new shifts only, this covers
// 95 to 99 % (own simulation, see the test).
//
// A sample below its detection limit makes no pair, but leaving it out alone
// would favour the high ones. The interval therefore also covers the two ratios
// over all samples, with those filters at nothing and at their "at most".
//
// Fewer than FewestPairs pairs give a factor that is not usable. The error wraps
// ErrMixed if the samples are of different fractions or channels, and ErrTooFew
// if there is no pair.
func FitFactor(samples []Pairable) (Fit, error) {
	f := Fit{PairFactors: []float64{}, Samples: []int64{}, LeftOut: []LeftOut{}, Warnings: []string{}}
	if err := f.belong(samples); err != nil {
		return f, fmt.Errorf("factor: %w", err)
	}
	var filters, sensors, squares, zeros, weighing float64
	var missed, missedSensors float64 // samples below the detection limit
	for _, s := range samples {
		if s.Sensor.Pair == nil {
			f.LeftOut = append(f.LeftOut, LeftOut{s.ID, s.Sensor.Why})
			if !s.Detected && s.AtMost != nil && s.sensorFit() {
				missed += *s.AtMost
				missedSensors += s.Sensor.Net()
			}
			continue
		}
		f.Samples = append(f.Samples, s.ID)
		if !strings.Contains(f.Source, s.Method.Source) {
			f.Source = strings.TrimPrefix(f.Source+"; "+s.Method.Source, "; ")
		}
		f.PairFactors = append(f.PairFactors, *s.Sensor.Pair)
		filters += *s.Concentration
		sensors += s.Sensor.Net()
		squares += square(s.Sensor.Net())
		zeros += s.Sensor.Zero
		weighing += square(1000 * s.WeighingSD / s.Volume)
	}
	f.Pairs = len(f.PairFactors)
	if f.Pairs == 0 {
		return f, fmt.Errorf("factor: %w: none of %d samples makes a pair: %s", ErrTooFew, len(samples), f.LeftOut[0].Why)
	}
	f.Factor, f.Zero = filters/sensors, zeros/float64(f.Pairs)
	f.MethodU = math.Sqrt(square(pumpError) + weighing/square(filters))
	f.interval(squares / square(sensors))
	if missedSensors > 0 {
		all := sensors + missedSensors
		f.cover(filters/all, (filters+missed)/all)
	}
	f.judge()
	return f, nil
}

// sensorFit reports whether only the filter keeps a sample from being a pair.
func (s *FilterSample) sensorFit() bool {
	b := s.Sensor
	return b.MeasuredShare >= enoughMeasured && b.SaturatedShare <= mostSaturated && b.Net() > 0
}

// belong checks that the samples are of one fraction and one channel.
func (f *Fit) belong(samples []Pairable) error {
	if len(samples) == 0 {
		return fmt.Errorf("%w: no filter sample", ErrTooFew)
	}
	for i, s := range samples {
		if s.Sensor == nil {
			return fmt.Errorf("%w: sample %d has no sensor beside it", ErrMixed, s.ID)
		}
		if i == 0 {
			f.Metric, f.Fraction = s.Sensor.Metric, s.Fraction
		}
		if s.Fraction != f.Fraction || s.Sensor.Metric != f.Metric {
			return fmt.Errorf("%w: sample %d is of the %s fraction beside %s, sample %d of %s beside %s", ErrMixed,
				samples[0].ID, f.Fraction, f.Metric, s.ID, s.Fraction, s.Sensor.Metric)
		}
	}
	return nil
}

// interval sets scatter, uncertainty and limits. weights is Σw².
func (f *Fit) interval(weights float64) {
	n := float64(f.Pairs)
	sum := 0.0
	for _, pair := range f.PairFactors {
		sum += square(math.Log(pair / f.Factor))
		f.SpreadPercent = max(f.SpreadPercent, 100*math.Abs(pair/f.Factor-1))
	}
	method := studentT(math.Inf(1)) * f.MethodU
	if f.Pairs < 2 { // nothing is known of the scatter
		f.setLimits(method)
		return
	}
	f.ScatterLn = math.Sqrt(sum / (n - 1))
	f.setLimits(math.Hypot(studentT(n-1)*f.ScatterLn*math.Sqrt(1+weights), method))
}

func (f *Fit) setLimits(ln float64) {
	f.Low, f.High = f.Factor*math.Exp(-ln), f.Factor*math.Exp(ln)
	f.UncertaintyPercent = 100 * math.Expm1(ln)
}

// cover widens the interval, evenly, until it holds two more factors.
func (f *Fit) cover(low, high float64) {
	ln := math.Log(f.High / f.Factor)
	f.setLimits(max(ln, math.Log(f.Factor/low), math.Log(high/f.Factor)))
}

func (f *Fit) judge() {
	f.Usable = f.Pairs >= FewestPairs
	if !f.Usable {
		f.Why = fmt.Sprintf("%d of at least %d pairs", f.Pairs, FewestPairs)
	}
	if n := len(f.LeftOut); n > 0 {
		f.warn("%d of %d samples make no pair", n, n+f.Pairs)
	}
	if f.Usable && f.High > 2*f.Factor {
		f.warn("one new shift may be off by more than a factor of 2: more pairs of the same work narrow that")
	}
	if low, high := slices.Min(f.PairFactors), slices.Max(f.PairFactors); high > 2*low {
		f.warn("the pairs run from %.2f to %.2f: this is more than one dust, task or position", low, high)
	}
}

func (f *Fit) warn(format string, args ...any) {
	f.Warnings = append(f.Warnings, fmt.Sprintf(format, args...))
}
