package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/exposure"
)

// pair is a filter of c mg/m³ (by 0600, 820 L, two blanks) beside a sensor that
// read s mg/m³.
func pair(id int64, c, s float64) Pairable {
	p := Pairable{ID: id, FilterSample: FilterSample{
		Method: Method{ID: "0600", Fraction: exposure.RespirableFraction, Source: "NIOSH 0600"}, Volume: 820, WeighingSD: 0.01 * math.Sqrt(1.5),
		LOD: 0.03, Detected: true, Concentration: &c, Uncertainty: new(12.0),
	}}
	p.PairWith(SensorBeside{Metric: "pm2_5", SensorMean: SensorMean{Mean: 1000 * s, MeasuredShare: 1}, ZeroID: 1})
	return p
}

// missed is a sample below its detection limit.
func missed(id int64, atMost, s float64) Pairable {
	p := pair(id, 1, s)
	p.Detected, p.Concentration, p.Uncertainty, p.AtMost = false, nil, nil, &atMost
	p.PairWith(*p.Sensor)
	return p
}

func fit(t *testing.T, samples ...Pairable) Fit {
	t.Helper()
	f, err := FitFactor(samples)
	require.NoError(t, err)
	return f
}

var threePairs = []Pairable{pair(1, 0.42, 0.13), pair(2, 0.61, 0.17), pair(3, 0.35, 0.10)}

// Ratio of means and pairs by hand: 1.38/0.40, 0.42/0.13, 0.61/0.17, 0.35/0.10. The
// rest: R 4.2.2, with the formula of FitFactor (qt, expm1).
func TestFactor(t *testing.T) {
	f := fit(t, threePairs...)
	require.InDelta(t, 3.45, f.Factor, 1e-12)
	for i, want := range []float64{3.2307692307692, 3.5882352941176, 3.5} {
		require.InDelta(t, want, f.PairFactors[i], 1e-9)
	}
	require.InDelta(t, 0.0550494871933, f.ScatterLn, 1e-12)
	require.InDelta(t, 0.0533986903484, f.MethodU, 1e-12)
	require.InEpsilon(t, 34.22066459493, f.UncertaintyPercent, 1e-7)
	require.InEpsilon(t, 2.57039406742, f.Low, 1e-7)
	require.InEpsilon(t, 4.63061292853, f.High, 1e-7)
	require.InDelta(t, 100*(1-3.2307692307692/3.45), f.SpreadPercent, 1e-9)
	require.True(t, f.Usable)
	require.Equal(t, []int64{1, 2, 3}, f.Samples)
	require.Empty(t, f.LeftOut)
}

func TestLawsOfAFactor(t *testing.T) {
	f := fit(t, threePairs...)
	var other []Pairable
	for i, p := range threePairs { // a sensor that reads half as much
		other = append(other, pair(int64(i), *p.Concentration, p.Sensor.Net()/2))
	}
	half := fit(t, other...)
	require.InEpsilon(t, 2*f.Factor, half.Factor, 1e-12)
	require.InEpsilon(t, f.UncertaintyPercent, half.UncertaintyPercent, 1e-9)
	turned := fit(t, threePairs[2], threePairs[0], threePairs[1])
	require.InEpsilon(t, f.Factor, turned.Factor, 1e-12)
	require.InEpsilon(t, f.High, turned.High, 1e-12)
	require.InEpsilon(t, f.Factor*f.Factor, f.Low*f.High, 1e-12, "even on the scale of ratios")

	// Pairs that agree to the last digit leave pump and weighing, never nothing.
	same := fit(t, pair(1, 0.69, 0.2), pair(2, 0.69, 0.2), pair(3, 0.69, 0.2))
	require.InDelta(t, 0, same.ScatterLn, 1e-9)
	require.Greater(t, same.UncertaintyPercent, 100*math.Expm1(1.959*pumpError))
}

// In nineteen of twenty shops the next shift's own factor lies between Low and
// High. Shops: factor 3, shift to shift sd 0.25 in ln, weighing as in pair, the
// pump off by 5 % in all samples of a shop. One standard error of 4000 shops is
// 0.3 %; more than 95 % is expected, since weighing is also in the scatter.
func TestOneNewShiftIsCovered(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, n := range []int{3, 6, 12} {
		hits := 0
		const shops = 4000
		for range shops {
			pump := 1 + pumpError*r.NormFloat64()
			var samples []Pairable
			for i := range n {
				sensor := 0.1 * math.Exp(0.5*r.NormFloat64())
				truth := 3 * math.Exp(0.25*r.NormFloat64()) * sensor
				samples = append(samples, pair(int64(i), truth*pump+0.01*math.Sqrt(1.5)/0.82*r.NormFloat64(), sensor))
			}
			f := fit(t, samples...)
			if next := 3 * math.Exp(0.25*r.NormFloat64()); f.Low <= next && next <= f.High {
				hits++
			}
		}
		share := float64(hits) / shops
		require.Greater(t, share, 0.94, "%d pairs", n)
		require.Less(t, share, 0.98, "%d pairs: far too wide", n)
	}
}

func TestFewPairsAreKeptButNotUsed(t *testing.T) {
	for n := 1; n <= 2; n++ {
		f := fit(t, threePairs[:n]...)
		require.False(t, f.Usable)
		require.Contains(t, f.Why, "of at least 3")
		require.Positive(t, f.UncertaintyPercent)
	}
}

// Leaving a non-detect out alone would favour the high ones: the interval holds
// what the factor comes to with it at nothing and at its "at most".
func TestNonDetectsWiden(t *testing.T) {
	samples := append(append([]Pairable{}, threePairs...), missed(4, 0.04, 0.2))
	f := fit(t, samples...)
	require.Equal(t, 3, f.Pairs)
	require.InDelta(t, 3.45, f.Factor, 1e-12)
	require.Equal(t, []LeftOut{{4, "the filter is below its detection limit"}}, f.LeftOut)
	require.LessOrEqual(t, f.Low, 1.38/0.60*(1+1e-12))
	require.Greater(t, f.UncertaintyPercent, fit(t, threePairs...).UncertaintyPercent)
	require.Contains(t, f.Warnings[0], "1 of 4")
}

func TestSensorsThatMakeNoPair(t *testing.T) {
	for text, b := range map[string]SensorBeside{
		"74 % of the filter's time": {SensorMean: SensorMean{Mean: 100, MeasuredShare: 0.74}},
		"at the top":                {SensorMean: SensorMean{Mean: 100, MeasuredShare: 1, SaturatedShare: 0.02}},
		"not above its floor":       {SensorMean: SensorMean{Mean: 2, MeasuredShare: 1}, ZeroID: 1, Zero: 1, Floor: 2},
		"read no dust":              {SensorMean: SensorMean{Mean: 0, MeasuredShare: 1}, Floor: -1},
	} {
		p := pair(1, 1, 0.1)
		p.PairWith(b)
		require.Nil(t, p.Sensor.Pair)
		require.Contains(t, p.Sensor.Why, text)
	}
	p := pair(1, 1, 0.1)
	p.PairWith(SensorBeside{SensorMean: SensorMean{Mean: 101, MeasuredShare: 1, HumidShare: 0.5}, Zero: 1})
	require.InDelta(t, 10, *p.Sensor.Pair, 1e-12, "the zero is taken off")
	require.Contains(t, join(p.Warnings), "no zero check")
	require.Contains(t, join(p.Warnings), "for 50 % of the time")
}

func TestSamplesThatDoNotBelongTogether(t *testing.T) {
	_, err := FitFactor(nil)
	require.ErrorIs(t, err, ErrTooFew)
	other := pair(9, 1, 0.1)
	other.Fraction = exposure.TotalFraction
	_, err = FitFactor([]Pairable{threePairs[0], other})
	require.ErrorIs(t, err, ErrMixed)
	other = pair(9, 1, 0.1)
	other.Sensor.Metric = "pm10"
	_, err = FitFactor([]Pairable{threePairs[0], other})
	require.ErrorIs(t, err, ErrMixed)
	other.Sensor = nil
	_, err = FitFactor([]Pairable{other})
	require.ErrorIs(t, err, ErrMixed)
	_, err = FitFactor([]Pairable{missed(1, 0.1, 0.1)})
	require.ErrorIs(t, err, ErrTooFew)
	f := fit(t, pair(1, 1, 0.1), pair(2, 1, 0.3), pair(3, 1, 0.2))
	require.Contains(t, join(f.Warnings), "more than one dust")
	require.Contains(t, join(f.Warnings), "more than a factor of 2")
}

// κ = 0.4, from the formula (by hand): 1 + 0.4/1.65/(1/a_w − 1).
func TestGrowth(t *testing.T) {
	for rh, want := range map[float64]float64{0: 1, 50: 1.242, 70: 1.566, 80: 1.970, 85: 2.374, 90: 3.182} {
		got, err := Growth(0.4, rh)
		require.NoError(t, err)
		require.InDelta(t, want, got, 0.0005)
		dry, err := Growth(0, rh)
		require.NoError(t, err)
		require.InDelta(t, 1, dry, 0, "dust that takes up no water reads true at any humidity")
	}
	for _, bad := range [][2]float64{{-0.1, 50}, {3, 50}, {math.NaN(), 50}, {0.4, 100}, {0.4, -1}, {0.4, math.NaN()}} {
		_, err := Growth(bad[0], bad[1])
		require.Error(t, err, bad)
	}
}

// Köhler theory says it another way: water takes κ·a_w/(1−a_w) times the dry
// volume (Petters & Kreidenweis 2007, eq. 2 and 3, without curvature).
func TestGrowthIsKohlers(t *testing.T) {
	for _, rh := range []float64{10, 55, 94} {
		aw := rh / 100
		water := 0.25 * aw / (1 - aw) // volumes of the dry particle
		got, err := Growth(0.25, rh)
		require.NoError(t, err)
		require.InEpsilon(t, (1.65+water)/1.65, got, 1e-12)
	}
}

func at(s float64) time.Time { return start.Add(time.Duration(s * float64(time.Second))) }
