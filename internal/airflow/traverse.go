package airflow

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// Traverse is the mean of several points of one cross-section.
type Traverse struct {
	Velocity units.Velocity  `json:"velocity"`
	Low      *units.Velocity `json:"velocity_low"` // see mean
	High     *units.Velocity `json:"velocity_high"`
	Points   int             `json:"points"`
	Backward int             `json:"points_below_zero"`
	Spread   *float64        `json:"spread_percent"` // standard deviation of the points over their mean
	Uneven   bool            `json:"uneven"`
	Note     words.Text      `json:"note"`
}

// Of a single point in the middle: the mean velocity is about 0.9 of it ([OTM], from
// memory); 0.817 in a long smooth duct by the 1/7 power law; never above it.
const (
	ofCentre    = 0.9
	ofCentreLow = 0.8
)

// MeanOfPressures averages velocities, not pressures: V = √(2/ρ)·mean √VP, as
// [EPA2] does (equation 2-7, from memory): the mean pressure would give too much.
// A pressure below zero is air going backwards; it counts as no flow (ASHRAE 111,
// from memory) and is told. One point is taken for the middle of the duct. The error
// wraps ErrInput.
func MeanOfPressures(vp []units.Pressure, rho units.Density) (Traverse, error) {
	var v []units.Velocity
	backward := 0
	for _, p := range vp {
		if p < 0 {
			backward++
			p = 0
		}
		one, err := VelocityOf(p, rho)
		if err != nil {
			return Traverse{}, err
		}
		v = append(v, one)
	}
	return mean(v, backward)
}

// MeanOfVelocities averages the points of a traverse with an anemometer.
func MeanOfVelocities(v []units.Velocity) (Traverse, error) { return mean(v, 0) }

// mean is the plain mean with a 95 % interval from Student's t on the points' spread.
// The points are laid out so that their plain mean is the duct's, so the interval is
// wide rather than narrow; it knows nothing of the gauge.
//
// Uneven: fewer than three points in four show a tenth of the highest velocity
// pressure ([AMCA] 203, from memory): measure in a straighter place.
func mean(v []units.Velocity, backward int) (Traverse, error) {
	if len(v) == 0 {
		return Traverse{}, fmt.Errorf("mean velocity %w: no point was measured", ErrInput)
	}
	x := make([]float64, len(v))
	for i := range v {
		x[i] = float64(v[i])
	}
	t := Traverse{Points: len(v), Backward: backward}
	if len(v) == 1 {
		low, high := ofCentreLow*v[0], v[0]
		t.Velocity, t.Low, t.High = ofCentre*v[0], &low, &high
		t.Note = words.Of("one point, taken for the middle of the duct: the mean is about 0.9 of it, 0.8 to 1")
		if backward > 0 {
			t.Note = words.Of("the only point shows air going backwards: turn the probe, or measure elsewhere")
		}
		return t, nil
	}
	m, sd := stat.MeanStdDev(x, nil)
	t.Velocity = units.Velocity(m)
	if m > 0 {
		t.Spread = ptr(100 * sd / m)
	}
	half := distuv.StudentsT{Sigma: 1, Nu: float64(len(x) - 1)}.Quantile(0.975) * sd / math.Sqrt(float64(len(x)))
	low, high := units.Velocity(max(0, m-half)), units.Velocity(m+half)
	t.Low, t.High = &low, &high
	highest := slices.Max(x)
	fair := 0
	for _, one := range x {
		if one*one >= highest*highest/10 {
			fair++
		}
	}
	t.Uneven = backward > 0 || 4*fair < 3*len(x)
	switch {
	case backward > 0:
		t.Note = words.Of("%d of %d points show air going backwards, counted as no flow: measure in a straighter place", backward, len(x))
	case t.Uneven:
		t.Note = words.Of("only %d of %d points show a tenth of the highest velocity pressure: measure in a straighter place", fair, len(x))
	case len(x) < fewPoints:
		t.Note = words.Of("%d points: a traverse of a round duct takes %d along each of two diameters", len(x), fewPoints/2)
	}
	return t, nil
}

// fewPoints is the fewest of a whole traverse: two diameters of six.
const fewPoints = 12
