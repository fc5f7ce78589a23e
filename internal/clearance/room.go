package clearance

import (
	"fmt"
	"math"

	"dustlog/internal/units"
)

// ParseVolume reads a room's volume with its unit, m³ or ft³, as in "120m3" or
// "4200 ft3", and returns m³. A bare number is refused: a factor of 35 hides in it.
func ParseVolume(s string) (m3 float64, err error) {
	v, err := units.ParseVolume(s)
	return float64(v), err
}

// RemovalMinutes is how long a share of the dust above the background takes to
// leave a mixed room at a rate in 1/h, where all rates work like air changes:
//
//	t = −ln(1 − share)·60/λ
//
// Source: CDC, Guidelines for Environmental Infection Control in Health-Care
// Facilities 2003, table B.1. Where air is badly mixed the true time is longer,
// up to tenfold by the same table's note.
func RemovalMinutes(share, perHour float64) float64 {
	return -math.Log1p(-share) * 60 / perHour
}

// CleanAir is the flow of clean air that would clear the room as fast, V·λ in m³/h.
func CleanAir(volumeM3, perHour float64) float64 { return volumeM3 * perHour }

// Delivery is a clean-air delivery rate with its 95 % limits in m³/h; they are
// NaN with fewer than two runs in either state, or where runs do not differ at all.
type Delivery struct {
	M3PerHour, Low, High float64
	RunsOn, RunsOff      int
}

// CADR is what an air cleaner adds: V·(λ on − λ off), with means over runs and
// Welch's interval (Welch 1947, Biometrika 34:28). perHour in 1/h, volume in m³.
// The decay principle is that of ANSI/AHAM AC-1. Errors wrap ErrTooFew or
// ErrBadInput.
func CADR(volumeM3 float64, on, off []float64) (Delivery, error) {
	if len(on) == 0 || len(off) == 0 {
		return Delivery{}, fmt.Errorf("clean-air delivery: %d decays with the cleaner on and %d off, need one of each: %w", len(on), len(off), ErrTooFew)
	}
	if !(volumeM3 > 0) || !finite(volumeM3) {
		return Delivery{}, fmt.Errorf("clean-air delivery: volume %g m³: %w", volumeM3, ErrBadInput)
	}
	meanOn, sdOn := meanSD(on)
	meanOff, sdOff := meanSD(off)
	difference := meanOn - meanOff
	if !finite(difference) {
		return Delivery{}, fmt.Errorf("clean-air delivery: rates %v and %v: %w", on, off, ErrBadInput)
	}
	d := Delivery{M3PerHour: volumeM3 * difference, Low: math.NaN(), High: math.NaN(), RunsOn: len(on), RunsOff: len(off)}
	if len(on) < 2 || len(off) < 2 {
		return d, nil
	}
	nOn, nOff := float64(len(on)), float64(len(off))
	vOn, vOff := sdOn*sdOn/nOn, sdOff*sdOff/nOff
	v := vOn + vOff
	if !(v > 0) {
		return d, nil
	}
	half := tQuantile(0.975, v*v/(vOn*vOn/(nOn-1)+vOff*vOff/(nOff-1))) * math.Sqrt(v)
	d.Low, d.High = volumeM3*(difference-half), volumeM3*(difference+half)
	return d, nil
}

// Emission is the mass that sources gave off into one mixed room, in the mass
// unit of c, from values at times in hours (trapezoid rule):
//
//	M = V·[C(T) − C(0) + λ·∫(C − Cbg) dt]
//
// perHour is λ in 1/h, V in m³. Source: mass balance. Errors wrap ErrTooFew or
// ErrBadInput.
func Emission(hours, c []float64, volumeM3, perHour, background float64) (mass float64, err error) {
	if len(c) < 2 || len(hours) != len(c) {
		return 0, fmt.Errorf("emission: %d values at %d times, need two: %w", len(c), len(hours), ErrTooFew)
	}
	if !(volumeM3 > 0 && perHour > 0) {
		return 0, fmt.Errorf("emission: volume %g m³, rate %g 1/h: %w", volumeM3, perHour, ErrBadInput)
	}
	var integral float64
	for i := 1; i < len(c); i++ {
		step := hours[i] - hours[i-1]
		if !(step > 0) {
			return 0, fmt.Errorf("emission: time %g h after %g h: %w", hours[i], hours[i-1], ErrBadInput)
		}
		integral += ((c[i]+c[i-1])/2 - background) * step
	}
	mass = volumeM3 * (c[len(c)-1] - c[0] + perHour*integral)
	if !finite(mass) {
		return 0, fmt.Errorf("emission: a value is no number: %w", ErrBadInput)
	}
	return mass, nil
}
