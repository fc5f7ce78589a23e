package airflow

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// SystemPoint is a flow and the static pressure it took, measured together.
type SystemPoint struct {
	Flow     units.Flow     `json:"flow"`
	Static   units.Pressure `json:"static_pressure"`
	Residual float64        `json:"off_the_curve_percent"` // pressure above k·Q²
}

// System is a system's curve ΔP = k·Q², k in Pa/(m³/s)².
type System struct {
	K        float64       `json:"k_pa_s2_m6"`
	Low      *float64      `json:"k_low"` // 95 %; nil with fewer than two points
	High     *float64      `json:"k_high"`
	Points   []SystemPoint `json:"points"`
	Exponent *float64      `json:"exponent"` // of ΔP ~ Q^b, where the flows differ enough to tell
	ExpLow   *float64      `json:"exponent_low"`
	ExpHigh  *float64      `json:"exponent_high"`
	Note     words.Text    `json:"note"`
}

const (
	fewestForExponent = 4
	spreadForExponent = 1.3 // highest flow over lowest
)

// FitSystem fits k through points of one state of gates and filter, errors being
// relative: k = exp(mean ln(ΔP/Q²)), its interval from Student's t. Turbulent losses
// go with the square ([IV]); cloth alone with the first power, so a system that is
// mostly filter has an exponent below 2. The error wraps ErrInput.
func FitSystem(points []SystemPoint) (System, error) {
	if len(points) == 0 {
		return System{}, fmt.Errorf("system curve %w: no flow and static pressure were measured together", ErrInput)
	}
	var lnK, lnQ, lnP []float64
	for _, p := range points {
		if !(p.Flow > 0 && p.Static > 0) {
			return System{}, fmt.Errorf("system curve %w: %s and %s, both must be above zero", ErrInput, p.Flow, p.Static)
		}
		lnQ, lnP = append(lnQ, math.Log(float64(p.Flow))), append(lnP, math.Log(float64(p.Static)))
		lnK = append(lnK, lnP[len(lnP)-1]-2*lnQ[len(lnQ)-1])
	}
	m, sd := stat.MeanStdDev(lnK, nil)
	s := System{K: math.Exp(m)}
	for i, p := range points {
		p.Residual = 100 * math.Expm1(lnK[i]-m)
		s.Points = append(s.Points, p)
	}
	if n := float64(len(points)); n >= 2 {
		half := distuv.StudentsT{Sigma: 1, Nu: n - 1}.Quantile(0.975) * sd / math.Sqrt(n)
		s.Low, s.High = ptr(math.Exp(m-half)), ptr(math.Exp(m+half))
	} else {
		s.Note = words.Of("one point: how well k is known cannot be told")
	}
	s.fitExponent(lnQ, lnP)
	return s, nil
}

func (s *System) fitExponent(lnQ, lnP []float64) {
	line, err := fitLine(lnQ, lnP)
	if err != nil || len(lnQ) < fewestForExponent || line.spanX() < math.Log(spreadForExponent) {
		return
	}
	half := line.tSlope()
	s.Exponent, s.ExpLow, s.ExpHigh = ptr(line.Slope), ptr(line.Slope-half), ptr(line.Slope+half)
	if line.Slope-half > 2 || line.Slope+half < 2 {
		s.Note = words.Of("the points follow Q^%.1f (%.1f to %.1f) rather than Q²: gates or filter were not alike, or cloth takes most of the pressure", line.Slope, line.Slope-half, line.Slope+half)
	}
}

// Pressure is what the system takes at a flow.
func (s System) Pressure(q units.Flow) units.Pressure {
	return units.Pressure(s.K * float64(q) * float64(q))
}
