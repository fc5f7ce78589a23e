package calibrate

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Errors of the statistics in this package.
var (
	// ErrTooFew: fewer values than the formula needs.
	ErrTooFew = errors.New("too few values")
	// ErrUnrelated: the two sensors do not vary together, so there is no line.
	ErrUnrelated = errors.New("the values do not vary together")
)

// confidence of every interval here.
const confidence = 0.95

// Line is y = Intercept + Slope·x, both with errors, and its 95 % intervals. The
// intercept is in the unit of y.
type Line struct {
	Slope         float64 `json:"slope"`
	SlopeSE       float64 `json:"slope_se"` // 0 where the method gives none
	SlopeLow      float64 `json:"slope_low"`
	SlopeHigh     float64 `json:"slope_high"`
	Intercept     float64 `json:"intercept_ug_m3"`
	InterceptSE   float64 `json:"intercept_se_ug_m3"`
	InterceptLow  float64 `json:"intercept_low_ug_m3"`
	InterceptHigh float64 `json:"intercept_high_ug_m3"`
	N             int     `json:"n"`
	DF            int     `json:"df"`
	// Covariance of slope and intercept, which a band takes; null where the method
	// gives none, and in records that are older than it.
	Covariance *float64 `json:"covariance_ug_m3"`
}

// Band is the 95 % interval of the line itself at x, in the unit of y:
//
//	a + b·x ± t(df)·√(SEa² + 2x·cov(a, b) + x²·SEb²)
//
// where the other sensor reads on average, not where its next mean will lie. ok is
// false where the covariance is not known.
func (l Line) Band(x float64) (low, high float64, ok bool) {
	if l.Covariance == nil || l.DF < 1 {
		return 0, 0, false
	}
	variance := square(l.InterceptSE) + 2*x**l.Covariance + square(x*l.SlopeSE)
	half := studentT(float64(l.DF)) * math.Sqrt(max(variance, 0))
	middle := l.Intercept + l.Slope*x
	return middle - half, middle + half, true
}

// moments of n pairs, with divisor n−1.
type moments struct {
	n                 int
	meanX, meanY      float64
	varX, varY, covXY float64
}

// momentsOf takes all pairs but number skip; −1 takes all. The means come first,
// so that nothing is lost where they are large beside the spread.
func momentsOf(x, y []float64, skip int) moments {
	var m moments
	for i := range x {
		if i != skip {
			m.n++
			m.meanX += x[i]
			m.meanY += y[i]
		}
	}
	m.meanX /= float64(m.n)
	m.meanY /= float64(m.n)
	for i := range x {
		if i != skip {
			dx, dy := x[i]-m.meanX, y[i]-m.meanY
			m.varX += dx * dx
			m.varY += dy * dy
			m.covXY += dx * dy
		}
	}
	d := float64(m.n - 1)
	m.varX, m.varY, m.covXY = m.varX/d, m.varY/d, m.covXY/d
	return m
}

// correlation is Pearson's r; 0 where one of the two does not vary.
func (m moments) correlation() float64 {
	if m.varX == 0 || m.varY == 0 {
		return 0
	}
	return m.covXY / math.Sqrt(m.varX) / math.Sqrt(m.varY)
}

// noRelation is the correlation below which only rounding is left.
const noRelation = 1e-12

func (m moments) related() bool { return math.Abs(m.correlation()) > noRelation }

// deming is the slope; the moments must be related.
func (m moments) deming(delta float64) float64 {
	d := m.varY - delta*m.varX
	root := math.Sqrt(d*d + 4*delta*m.covXY*m.covXY)
	if d < 0 { // the same number, without the difference of two that are nearly equal
		return 2 * delta * m.covXY / (root - d)
	}
	return (d + root) / (2 * m.covXY)
}

func checkPairs(x, y []float64) error {
	if len(x) != len(y) {
		return fmt.Errorf("%d values cannot be paired with %d", len(x), len(y))
	}
	for i := range x {
		if !finite(x[i]) || !finite(y[i]) {
			return fmt.Errorf("pair %d (%g, %g) is not two numbers", i+1, x[i], y[i])
		}
	}
	if len(x) < 3 {
		return fmt.Errorf("%w: %d pairs, a line with an interval needs 3", ErrTooFew, len(x))
	}
	return nil
}

func finite(x float64) bool { return x-x == 0 }

// Deming fits a line through pairs that both have errors:
//
//	b = [s²y − δs²x + √((s²y − δs²x)² + 4δs²xy)] / (2 sxy),  a = ȳ − b·x̄
//	δ = variance of the errors of y / variance of the errors of x
//
// Standard errors by the jackknife: pseudo-values n·θ − (n−1)·θ(−i), their sd/√n;
// intervals with t(n−2). δ = 1, right for two sensors of one model, is total
// least squares. Sources: Deming 1943; Linnet 1990, Stat. Med. 9:1463 (jackknife
// and its degrees of freedom). Pairs must be independent: successive minutes of
// one room are not (see Collocate). Errors wrap ErrTooFew or ErrUnrelated.
func Deming(x, y []float64, delta float64) (Line, error) {
	if err := checkPairs(x, y); err != nil {
		return Line{}, fmt.Errorf("deming regression: %w", err)
	}
	if !(delta > 0) || !finite(delta) {
		return Line{}, fmt.Errorf("deming regression: δ is %g: give the ratio of the error variances of y and x, above zero", delta)
	}
	n := len(x)
	all := momentsOf(x, y, -1)
	if !all.related() {
		return Line{}, fmt.Errorf("deming regression: %w", ErrUnrelated)
	}
	slope := all.deming(delta)
	intercept := all.meanY - slope*all.meanX
	slopes, intercepts := make([]float64, n), make([]float64, n)
	for i := range n {
		rest := momentsOf(x, y, i)
		if !rest.related() {
			return Line{}, fmt.Errorf("deming regression: without pair %d (%g, %g) %w: the line hangs on it alone", i+1, x[i], y[i], ErrUnrelated)
		}
		b := rest.deming(delta)
		slopes[i] = float64(n)*slope - float64(n-1)*b
		intercepts[i] = float64(n)*intercept - float64(n-1)*(rest.meanY-b*rest.meanX)
	}
	l := Line{Slope: slope, Intercept: intercept, N: n, DF: n - 2}
	l.SlopeSE, l.InterceptSE = standardError(slopes), standardError(intercepts)
	covariance := stat.Covariance(slopes, intercepts, nil) / float64(n)
	l.Covariance = &covariance
	t := studentT(float64(l.DF))
	l.SlopeLow, l.SlopeHigh = slope-t*l.SlopeSE, slope+t*l.SlopeSE
	l.InterceptLow, l.InterceptHigh = intercept-t*l.InterceptSE, intercept+t*l.InterceptSE
	return l, nil
}

// ReducedMajorAxis fits a line where the ratio of the errors is not known:
//
//	b = sign(r)·sy/sx,  a = ȳ − b·x̄
//	limits of b: b·(√(B+1) ± √B),  B = (1−r²)/(n−2)·F(0.95; 1, n−2)
//
// The limits of a are those of the lines with the limits of b. Sources: Ricker
// 1984, Can. J. Zool. 62:1897; McArdle 1988, Can. J. Zool. 66:2329. Errors as
// for Deming.
func ReducedMajorAxis(x, y []float64) (Line, error) {
	if err := checkPairs(x, y); err != nil {
		return Line{}, fmt.Errorf("reduced major axis: %w", err)
	}
	m := momentsOf(x, y, -1)
	if !m.related() {
		return Line{}, fmt.Errorf("reduced major axis: %w", ErrUnrelated)
	}
	r := m.correlation()
	l := Line{N: m.n, DF: m.n - 2}
	l.Slope = math.Copysign(math.Sqrt(m.varY)/math.Sqrt(m.varX), r)
	f := distuv.F{D1: 1, D2: float64(l.DF)}.Quantile(confidence)
	b := math.Max(0, 1-r*r) / float64(l.DF) * f
	at := func(slope float64) float64 { return m.meanY - slope*m.meanX }
	low, high := l.Slope*(math.Sqrt(b+1)-math.Sqrt(b)), l.Slope*(math.Sqrt(b+1)+math.Sqrt(b))
	l.SlopeLow, l.SlopeHigh = min(low, high), max(low, high)
	l.Intercept = at(l.Slope)
	l.InterceptLow, l.InterceptHigh = min(at(low), at(high)), max(at(low), at(high))
	return l, nil
}

// standardError is sd/√n.
func standardError(values []float64) float64 {
	_, sd := meanSD(values)
	return sd / math.Sqrt(float64(len(values)))
}

// meanSD has the divisor n−1; the sd of one value is 0.
func meanSD(values []float64) (mean, sd float64) {
	if len(values) == 0 {
		return 0, 0
	}
	for _, x := range values {
		mean += x
	}
	mean /= float64(len(values))
	if len(values) < 2 {
		return mean, 0
	}
	for _, x := range values {
		sd += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(sd / float64(len(values)-1))
}

// studentT is the two-sided 95 % point of Student's t.
func studentT(df float64) float64 {
	if math.IsInf(df, 1) {
		return distuv.UnitNormal.Quantile(0.5 + confidence/2)
	}
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.5 + confidence/2)
}
