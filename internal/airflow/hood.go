package airflow

import (
	"fmt"
	"math"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// Hood is an opening that air is sucked into.
type Hood struct {
	Face     units.Area
	Distance units.Length // from the face to where the dust is made
	Flanged  bool
}

// flangeGain is the share of the flow that a flanged opening needs. [IV]
const flangeGain = 0.75

// reach is A + 10·X², the area that the flow is spread over at the distance.
func (h Hood) reach() float64 {
	x := float64(h.Distance)
	a := float64(h.Face) + 10*x*x
	if h.Flanged {
		a *= flangeGain
	}
	return a
}

// CaptureVelocity is the velocity on the axis in front of an opening that stands free:
//
//	V = Q/(10·X² + A)             plain
//	V = Q/(0.75·(10·X² + A))      with a flange
//
// After Dalla Valle; [IV], [OTM], from memory. It holds to about one and a half
// diameters in front of it, in still air. The error wraps ErrInput.
func (h Hood) CaptureVelocity(q units.Flow) (units.Velocity, error) {
	if !(h.Face > 0 && h.Distance >= 0 && q >= 0) {
		return 0, fmt.Errorf("capture velocity %w: it takes a flow, the hood's face and the distance", ErrInput)
	}
	return units.Velocity(float64(q) / h.reach()), nil
}

// CaptureFlow is the flow that gives a capture velocity.
func (h Hood) CaptureFlow(v units.Velocity) units.Flow { return units.Flow(float64(v) * h.reach()) }

// Far reports whether the distance is beyond what the formula holds for.
func (h Hood) Far() bool {
	return float64(h.Distance) > 1.5*math.Sqrt(4/math.Pi*float64(h.Face))
}

// CaptureRange is a range of capture velocities. [IV], table of chapter 3, from memory.
type CaptureRange struct {
	What string         `json:"what"`
	Low  units.Velocity `json:"low"`
	High units.Velocity `json:"high"`
}

// RangeText says which dust a range is for.
func RangeText(what string) words.Text {
	switch what {
	case CaptureRanges[0].What:
		return words.Of("released with hardly any velocity into quiet air")
	case CaptureRanges[1].What:
		return words.Of("released at low velocity into moderately still air")
	case CaptureRanges[2].What:
		return words.Of("made actively where the air moves fast")
	case CaptureRanges[3].What:
		return words.Of("thrown at high velocity, as by grinding")
	}
	return words.Literal(what)
}

// CaptureRanges run from dust that is hardly moved to dust that is thrown.
var CaptureRanges = []CaptureRange{
	{"released with hardly any velocity into quiet air", units.FPM(50), units.FPM(100)},
	{"released at low velocity into moderately still air", units.FPM(100), units.FPM(200)},
	{"made actively where the air moves fast", units.FPM(200), units.FPM(500)},
	{"thrown at high velocity, as by grinding", units.FPM(500), units.FPM(2000)},
}

// HoodFlow is the flow that a hood's static pressure stands for, behind the hood where
// the air has settled:
//
//	Q = A·Ce·√(2·|SPh|/ρ)
//
// Ce, the coefficient of entry, is the hood's. [IV]: Q = 4005·A·Ce·√(SPh/df). The
// error wraps ErrInput.
func HoodFlow(duct units.Area, ce float64, sph units.Pressure, rho units.Density) (units.Flow, error) {
	if !(ce > 0 && ce <= 1 && duct > 0) {
		return 0, fmt.Errorf("flow from the hood's static pressure %w: it takes the duct's area and a coefficient of entry above 0, at most 1", ErrInput)
	}
	v, err := VelocityOf(units.Pressure(math.Abs(float64(sph))), rho)
	return units.Flow(ce * float64(Flow(v, duct))), err
}
