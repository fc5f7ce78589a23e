package group

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

// welding is the example of a course on lognormal statistics (2007): six shifts of
// welding fume, mg/m³, limit 5.
var welding = []float64{0.84, 0.98, 0.42, 1.16, 1.36, 2.66}

// chromium is the example of EPA 9285.7-08I (1992), mg/kg.
var chromium = []float64{10, 13, 20, 36, 41, 59, 67, 110, 110, 136, 140, 160, 200, 230, 1300}

func fitted(t *testing.T, x []float64) Lognormal {
	t.Helper()
	d, err := FitLognormal(x)
	require.NoError(t, err)
	return d
}

// value takes a number that must be there.
func value(t *testing.T) func(float64, error) float64 {
	return func(x float64, err error) float64 {
		t.Helper()
		require.NoError(t, err)
		return x
	}
}

// valuesOf are detected shifts.
func valuesOf(mgM3 ...float64) (values []Value) {
	for i, x := range mgM3 {
		values = append(values, Value{Label: strconv.Itoa(i + 1), MgM3: x})
	}
	return values
}

func TestPublishedToleranceFactors(t *testing.T) {
	f, err := os.Open("testdata/tolerance-factors.csv")
	require.NoError(t, err)
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 1+32*9)
	var published, got []float64
	for _, row := range rows[1:] {
		var x [4]float64
		for i := range x {
			x[i], err = strconv.ParseFloat(row[i], 64)
			require.NoError(t, err)
		}
		k, err := ToleranceFactor(int(x[0]), x[1], x[2])
		require.NoError(t, err)
		published, got = append(published, x[3]), append(got, k)
	}
	validation.CheckAll(t, "K, n = 2 to 100, shares and confidences 90, 95, 99 %",
		"Montgomery and Runger 2018, Applied Statistics and Probability for Engineers, table XII", published, got, 0.000501)
}

// Integrals of the definition with 30 digits.
func TestPublishedNoncentralT(t *testing.T) {
	var published, got []float64
	for _, c := range []struct{ df, t, delta, p float64 }{
		{2, 3, 1, 0.833559426337135}, {5, 10, 30, 3.6065345186103e-8}, {5, -5, 3, 1.42009307473615e-7}, {9, 9, 5, 0.953359255853743},
		{29, 12, 9, 0.942633455544889}, {1, -20, 2, 0.000338639589486582}, {4.5, 1.2, -1.5, 0.993291068577551}, {99, 20, 16.4485, 0.979179507026159},
	} {
		d := NoncentralT{c.df, c.delta}
		require.InEpsilon(t, c.p, d.CDF(c.t), 1e-10)
		require.InEpsilon(t, 1-c.p, d.Survival(c.t), 1e-9)
		published, got = append(published, c.p), append(got, d.CDF(c.t))
	}
	validation.CheckAll(t, "noncentral t, P(T ≤ t)", "mpmath 1.2.1, 30 digits (computed)", published, got, 1e-11)
}

func TestPublishedWelding(t *testing.T) {
	const course = "Review of lognormal statistics, course notes 2007"
	d := fitted(t, welding)
	validation.Check(t, "welding fume, n = 6: mean of logarithms", course, 0.0620, d.Mean, 0.00005)
	validation.Check(t, "welding fume, n = 6: GM, mg/m³", course, 1.06, d.GM(), 0.005)
	validation.Check(t, "welding fume, n = 6: GSD", course, 1.83, d.GSD(), 0.005)
	s := Summarise(valuesOf(welding...), 5, Options{})
	validation.Check(t, "welding fume, n = 6: arithmetic mean, mg/m³", course, 1.24, *s.Mean, 0.005)

	const computed = "same data; lognormal formulas in Python (computed)"
	validation.Check(t, "welding fume, n = 6: 95th percentile, mg/m³", computed, 2.88, d.Percentile(0.95), 0.005)
	validation.Check(t, "welding fume, n = 6: UTL 95/95, mg/m³", computed, 10.05, *s.UTL95_95, 0.005)
	validation.Check(t, "welding fume, n = 6: UTL 95/70, mg/m³", computed, 4.00, *s.UTL95_70, 0.005)
	validation.Check(t, "welding fume, n = 6: exceedance of 5 mg/m³, %", computed, 0.53, 100**s.Exceedance, 0.005)
	validation.Check(t, "welding fume, n = 6: exceedance, lower 95 % limit, %", computed, 0.004, 100**s.ExceedanceLow, 0.0005)
	validation.Check(t, "welding fume, n = 6: exceedance, upper 95 % limit, %", computed, 14.9, 100**s.ExceedanceHigh, 0.05)
	validation.Check(t, "welding fume, n = 6: 95th percentile over limit", computed, 0.58, *s.P95/5, 0.005)
	validation.Check(t, "welding fume, n = 6: AIHA category", computed, 3, float64(*s.Category), 0)
	validation.Check(t, "welding fume, n = 6: MVUE of the mean, mg/m³", computed, 1.2357, *s.MeanUnbiased, 0.00005)
	validation.Check(t, "welding fume, n = 6: Land, lower 95 % limit, mg/m³", computed, 0.834, *s.MeanLow, 0.0005)
	validation.Check(t, "welding fume, n = 6: Land, upper 95 % limit, mg/m³", computed, 2.81, *s.MeanHigh, 0.005)
}

func TestPublishedLand(t *testing.T) {
	var published, got []float64
	for _, c := range []struct {
		n        int
		s, h, to float64 // to: what the table is printed to
	}{
		{3, 0.1, 2.75, 0.005}, {5, 0.1, 2.035, 0.0005}, {7, 0.5, 2.465, 0.0005}, {10, 0.5, 2.22, 0.005}, {10, 1, 3.103, 0.0005}, {12, 0.8, 2.57, 0.005},
		{15, 0.4, 1.968, 0.0005}, {15, 2, 4.564, 0.0005}, {21, 1, 2.564, 0.0005}, {31, 1.5, 3.077, 0.0005}, {5, 1, 4.905, 0.0005}, {3, 1, 13.05, 0.005},
	} {
		h := value(t)(LandH(c.n, c.s, 0.95))
		require.InDelta(t, c.h, h, c.to)
		published, got = append(published, c.h), append(got, h)
	}
	validation.CheckAll(t, "Land H 95 %, n = 3 to 31, s = 0.1 to 2", "Gilbert 1987, Statistical Methods for Environmental Pollution Monitoring, table A12", published, got, 0.005)

	// The document prints H for the rounded s of 1.25 and goes on with rounded numbers.
	const epa = "EPA 9285.7-08I, 1992 (from memory)"
	h := value(t)(LandH(15, 1.25, 0.95))
	validation.Check(t, "chromium, n = 15, s = 1.25: Land H 95 %", epa, 3.163, h, 0.0005)
	validation.Check(t, "chromium, n = 15: upper 95 % limit from rounded ȳ and s, mg/kg", epa, 502, math.Exp(4.38+1.25*1.25/2+h*1.25/math.Sqrt(14)), 0.5)
	d := fitted(t, chromium)
	validation.Check(t, "chromium, n = 15: mean of logarithms", epa, 4.38, d.Mean, 0.005)
	validation.Check(t, "chromium, n = 15: standard deviation of logarithms", epa, 1.25, d.SD, 0.005)
	_, high, err := d.LandMean(0.95)
	require.NoError(t, err)
	validation.Check(t, "chromium, n = 15: upper 95 % limit, unrounded, mg/kg", "same data; Land 1971 by integration in Python (computed)", 496.6, high, 0.05)
}

// Printed from tables, between whose lines it was interpolated: hence the tolerances.
func TestPublishedLandByTables(t *testing.T) {
	box := []float64{8.12, 7.32, 4.82, 6.52, 7.8, 11.89, 12.94, 7.51, 18.14, 4.09, 5.7, 15.57, 6.68, 8.15, 5.56}
	_, high, err := fitted(t, box).LandMean(0.95)
	require.NoError(t, err)
	validation.Check(t, "Box 3-12, n = 15: Land, upper 95 % limit, by an interpolated H", "EPA QA/G-9, 2000, Box 3-12", 10.97, high, 0.02)

	const question = "stats.stackexchange.com 108909"
	d := fitted(t, []float64{0.043, 0.236, 0.057, 0.016})
	low, high, err := d.LandMean(0.95)
	require.NoError(t, err)
	validation.Check(t, "very skewed, n = 4: Land, lower 95 % limit", question, 0.039, low, 0.001)
	validation.Check(t, "very skewed, n = 4: Land, upper 95 % limit", question, 11.6, high, 0.1)
	validation.Check(t, "very skewed, n = 4: GM", question, 0.0552, d.GM(), 0.00005)
	validation.Check(t, "very skewed, n = 4: GSD", question, 3.04, d.GSD(), 0.005)
	validation.Check(t, "very skewed, n = 4: 95th percentile", question, 0.343, d.Percentile(0.95), 0.0005)
	validation.Check(t, "very skewed, n = 4: MVUE of the mean", question, 0.085, value(t)(d.MeanMVUE()), 0.0005)
	validation.Check(t, "very skewed, n = 4: upper tolerance limit 95/95", question, 16.8, value(t)(d.UpperTolerance(0.95, 0.95)), 0.05)
}

func TestPublishedEN689(t *testing.T) {
	shifts := []float64{0.45, 0.62, 0.38, 0.91, 0.55, 0.70}
	const source = "EN 689:2018 Annex F (from memory), in Python (computed); invented data"
	d := fitted(t, shifts)
	validation.Check(t, "EN 689, n = 6: GM, mg/m³", source, 0.5776, d.GM(), 0.00005)
	validation.Check(t, "EN 689, n = 6: GSD", source, 1.3670, d.GSD(), 0.00005)
	validation.Check(t, "EN 689, n = 6: U_R, limit 2 mg/m³", source, 3.973, value(t)(d.UR(2)), 0.0005)
	validation.Check(t, "EN 689, n = 6: U_R, limit 1 mg/m³", source, 1.756, value(t)(d.UR(1)), 0.0005)
	require.Equal(t, ShownBelow, Summarise(valuesOf(shifts...), 2, Options{}).Finding)
	require.Equal(t, NotShown, Summarise(valuesOf(shifts...), 1, Options{}).Finding)
}

// The nine values and nine numbers that the documentation of R's NADA package prints.
func TestPublishedNonDetects(t *testing.T) {
	const nada = "documentation of R package NADA, censtats"
	var values []Value
	for _, v := range []struct {
		x     float64
		below bool
	}{{20, false}, {10, true}, {10, true}, {10, true}, {10, true}, {7, false}, {3, false}, {3, true}, {3, true}} {
		values = append(values, Value{MgM3: v.x, Below: v.below})
	}
	validation.Check(t, "nine values, six below detection: Kaplan–Meier mean", nada, 5.777778, NewKaplanMeier(values).Mean(), 5e-7)
	r, err := FitROS(values)
	require.NoError(t, err)
	mean, sd := r.Mean()
	validation.Check(t, "nine values, six below detection: ROS mean", nada, 4.667484, mean, 5e-7)
	validation.Check(t, "nine values, six below detection: ROS standard deviation", nada, 6.138230, sd, 5e-7)
	validation.Check(t, "nine values, six below detection: ROS median", nada, 2.763843, r.Median(), 5e-7)
	m, err := FitMLE(values)
	require.NoError(t, err)
	validation.Check(t, "nine values, six below detection: MLE mean", nada, 5.211599, m.Mean(), 2e-6)
	validation.Check(t, "nine values, six below detection: MLE standard deviation", nada, 6.931668, m.StdDev(), 2e-6)
	validation.Check(t, "nine values, six below detection: MLE median", nada, 3.131899, math.Exp(m.Mu), 2e-6)
	validation.Check(t, "nine values, six below detection: MLE µ", "same data, in Python (computed)", 1.14164, m.Mu, 5e-6)
	validation.Check(t, "nine values, six below detection: MLE σ", "same data, in Python (computed)", 1.00920, m.Sigma, 5e-6)
}

func TestPublishedShapiroWilk(t *testing.T) {
	men := []float64{148, 154, 158, 160, 161, 162, 166, 170, 182, 195, 236}
	w, _, err := ShapiroWilk(men)
	require.NoError(t, err)
	validation.Check(t, "Shapiro–Wilk W, weights of eleven men", "Shapiro and Wilk 1965, Biometrika 52:591 (from memory)", 0.79, w, 0.005)
	logs := func(x []float64) (y []float64) {
		for _, v := range x {
			y = append(y, math.Log(v))
		}
		return y
	}
	for _, c := range []struct {
		name string
		x    []float64
		w, p float64
	}{
		{"n = 3", []float64{1, 2, 4}, 0.964285714286, 0.636886845029},
		{"n = 4", []float64{1, 2, 4, 4.5}, 0.915686067343, 0.513040086638},
		{"n = 5", []float64{1, 2, 4, 4.5, 9}, 0.917604378291, 0.514604694136},
		{"n = 6, logarithms of welding fume", logs(welding), 0.974627014859, 0.921947601521},
		{"n = 11, weights of eleven men", men, 0.788814694835, 0.0067038140565},
		{"n = 15, logarithms of chromium", logs(chromium), 0.960717906395, 0.704874656377},
	} {
		w, p, err := ShapiroWilk(c.x)
		require.NoError(t, err)
		validation.CheckSet(t, "Shapiro–Wilk, "+c.name, "shapiro.test of R 4.2.2 (computed)",
			map[string]float64{"W": c.w, "p": c.p}, map[string]float64{"W": w, "p": p}, 1e-8, 0)
	}
}

func TestPublishedOneDay(t *testing.T) {
	const osha = "OSHA Technical Manual, section II chapter 1, as printed in Air Sampling and Industrial Hygiene Engineering, chapter 4"
	day, err := OneDaySingle(6.07, 5, 0.23/oneSided95) // printed as SAE
	require.NoError(t, err)
	validation.Check(t, "carbaryl, one sample: share of the limit", osha, 1.21, day.Ratio, 0.005)
	validation.Check(t, "carbaryl, one sample: lower 95 % limit", osha, 0.98, day.Low, 0.005)
	validation.Check(t, "carbaryl, one sample: upper 95 % limit", osha, 1.44, day.High, 0.005)
	require.Equal(t, DayMayOver, day.Finding())

	const niosh = "NIOSH 77-173, 4.2.2.1 (inputs from memory; results read in a translation)"
	day, err = OneDayUniform([]Sample{{90, 150}, {140, 100}, {110, 230}}, 100, 0.08)
	require.NoError(t, err)
	validation.Check(t, "isoamyl alcohol, three samples: share of the limit", niosh, 1.10, day.Ratio, 0.005)
	validation.Check(t, "isoamyl alcohol, three samples: lower 95 % limit", niosh, 1.02, day.Low, 0.005)
	require.Equal(t, DayOver, day.Finding())
}
