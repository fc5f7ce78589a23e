package airflow

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// line is a least squares line y = a + b·x with what its uncertainty is made of.
type line struct {
	Intercept, Slope float64
	n                float64
	meanX, meanY     float64
	sxx, sxy, syy    float64 // Σ(x − x̄)², Σ(x − x̄)(y − ȳ), Σ(y − ȳ)²
	sd               float64 // of the residuals, n − 2 degrees of freedom
	x                []float64
}

// add takes a point in, by Welford's updates (Technometrics 4:419, 1962).
func (l *line) add(x, y float64) {
	l.x = append(l.x, x)
	l.n++
	dx, dy := x-l.meanX, y-l.meanY
	l.meanX += dx / l.n
	l.meanY += dy / l.n
	l.sxx += dx * (x - l.meanX)
	l.sxy += dx * (y - l.meanY)
	l.syy += dy * (y - l.meanY)
}

// pool adds the sums of another line, each about its own means: a slope common to
// both (analysis of covariance). n is left to the caller.
func (l *line) pool(other line) {
	l.sxx += other.sxx
	l.sxy += other.sxy
	l.syy += other.syy
	l.x = append(l.x, other.x...)
}

// settle works slope and spread out of the sums.
func (l *line) settle() {
	l.Slope = l.sxy / l.sxx
	l.Intercept = l.meanY - l.Slope*l.meanX
	l.sd = math.Sqrt(max(0, l.syy-l.Slope*l.sxy) / (l.n - 2))
}

func fitLine(x, y []float64) (line, error) {
	if len(x) < 3 || len(x) != len(y) {
		return line{}, fmt.Errorf("a line through %d points %w: it takes three", len(x), ErrInput)
	}
	var l line
	for i := range x {
		l.add(x[i], y[i])
	}
	if !(l.sxx > 0) || l.syy-l.syy != 0 {
		return line{}, fmt.Errorf("a line through points at one place, or that are no numbers, %w", ErrInput)
	}
	l.settle()
	return l, nil
}

func (l line) spanX() float64 { return slices.Max(l.x) - slices.Min(l.x) }

// t is Student's t for 95 %.
func (l line) t() float64 { return distuv.StudentsT{Sigma: 1, Nu: l.n - 2}.Quantile(0.975) }

func (l line) seSlope() float64 { return l.sd / math.Sqrt(l.sxx) }

// tSlope is half of the slope's 95 % interval.
func (l line) tSlope() float64 { return l.t() * l.seSlope() }

// reaches is where the line comes to a level, with the 95 % set of places whose
// confidence band holds the level (Fieller 1954, J. R. Stat. Soc. B 16:175; for a
// line, Draper and Smith, Applied Regression Analysis, inverse regression, from
// memory): all x with
//
//	(ȳ + b·(x − x̄) − L)² ≤ t²·s²·(1/n + (x − x̄)²/Sxx)
//
// ok is false where that is no interval, which is where the slope's own interval
// holds zero.
func (l line) reaches(level float64) (at, low, high float64, ok bool) {
	d := level - l.meanY
	ts := l.t() * l.sd
	a := l.Slope*l.Slope - ts*ts/l.sxx
	if !(a > 0) {
		return 0, 0, 0, false
	}
	root := math.Sqrt(math.Max(0, l.Slope*l.Slope*d*d-a*(d*d-ts*ts/l.n)))
	return l.meanX + d/l.Slope, l.meanX + (l.Slope*d-root)/a, l.meanX + (l.Slope*d+root)/a, true
}

// theilSen is the median of the slopes through all pairs of points with different x
// (Sen 1968, J. Am. Stat. Assoc. 63:1379): one wild reading does not move it much.
func theilSen(x, y []float64) float64 {
	var slopes []float64
	for i := range x {
		for j := range i {
			if x[i] != x[j] {
				slopes = append(slopes, (y[i]-y[j])/(x[i]-x[j]))
			}
		}
	}
	if len(slopes) == 0 {
		return math.NaN()
	}
	slices.Sort(slopes)
	n := len(slopes)
	return (slopes[n/2] + slopes[(n-1)/2]) / 2
}
