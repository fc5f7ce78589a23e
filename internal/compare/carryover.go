package compare

import (
	"fmt"
	"math"
)

// NetDose is the dose of one run above the background.
type NetDose struct {
	Raw       float64 // Σ(C − Cbg)·Δt, concentration × time
	Corrected float64 // Raw without what the run before left in the air
	Mean      float64 // Corrected / run length
}

// CarryOver takes out of a run's dose the dust that was in the air when it began:
//
//	D = Σ(C − Cbg)·Δt − (C(0) − Cbg)·(1 − exp(−λT))/λ
//
// c are concentrations at equal steps dt, background in the same unit, lambda
// the room's clearance rate in 1/(unit of dt), T = n·dt. Source: mass balance of
// one mixed room, linear in its sources. Compare does the same with spans of any
// length over a run and its tail. Errors wrap ErrTooFew or ErrNotPositive.
func CarryOver(c []float64, background, lambda, dt float64) (NetDose, error) {
	if len(c) == 0 {
		return NetDose{}, fmt.Errorf("carry-over of an empty run: %w", ErrTooFew)
	}
	if !(lambda > 0 && dt > 0) {
		return NetDose{}, fmt.Errorf("carry-over with clearance rate %g and step %g: %w", lambda, dt, ErrNotPositive)
	}
	var raw float64
	for _, v := range c {
		raw += (v - background) * dt
	}
	length := float64(len(c)) * dt
	corrected := raw - (c[0]-background)*leftOver(lambda, length)
	return NetDose{Raw: raw, Corrected: corrected, Mean: corrected / length}, nil
}

// leftOver is (1 − exp(−λT))/λ: what a unit of level at the beginning adds to the
// dose over T. lambda is per the unit of T.
func leftOver(lambda, length float64) float64 { return -math.Expm1(-lambda*length) / lambda }
