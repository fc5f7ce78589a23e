package group

import (
	"fmt"
	"math"
)

// Sample is one filter, or one stretch of measuring, within a shift.
type Sample struct {
	MgM3    float64
	Minutes float64
}

// OneDay is one measured shift against a limit with nothing admitted but the error
// of the measurement itself. It says nothing about other days.
type OneDay struct {
	Ratio float64 `json:"share_of_limit"`       // time-weighted average over limit
	Low   float64 `json:"share_of_limit_low95"` // one-sided 95 % confidence limits
	High  float64 `json:"share_of_limit_high95"`
}

// OneDayFinding is what one measured shift shows.
type OneDayFinding string

// The findings for one shift.
const (
	DayOver    OneDayFinding = "over that day"
	DayMayOver OneDayFinding = "may have been over that day"
	DayBelow   OneDayFinding = "below the limit that day"
	DayUntold  OneDayFinding = "no more than the measured part can tell"
)

// oneSided95 is z_0.95; printed as 1.645 in the manuals.
const oneSided95 = 1.6448536269514722

// OneDaySingle is one sample over the whole shift: with Y = x/L the limits are
// Y ± 1.645·CV. cv is the coefficient of variation of sampling and analysis; the
// sampling and analytical error SAE of a laboratory is 1.645·CV.
//
// Source: OSHA Technical Manual, section II chapter 1; NIOSH 77-173, 4.2.1.
func OneDaySingle(mgM3, limit, cv float64) (OneDay, error) {
	return OneDayUniform([]Sample{{mgM3, 1}}, limit, cv)
}

// OneDayUniform is several samples, one after the other, of work that stays the
// same: TWA = ΣTX/ΣT, limits TWA/L ± 1.645·CV·√ΣT²/ΣT.
//
// Source: NIOSH 77-173 (Leidel, Busch and Lynch 1977), 4.2.2.1.
func OneDayUniform(samples []Sample, limit, cv float64) (OneDay, error) {
	return oneDay(samples, limit, cv, func(s Sample, _ float64) float64 { return s.Minutes * limit })
}

// OneDayVarying is the same for work that changes between samples, so that each
// carries its own error: TWA/L ± 1.645·CV·√Σ(TX)² / (L·ΣT·√(1+CV²)).
//
// Source: NIOSH 77-173, 4.2.2.2 (from memory).
func OneDayVarying(samples []Sample, limit, cv float64) (OneDay, error) {
	return oneDay(samples, limit, cv, func(s Sample, cv float64) float64 { return s.Minutes * s.MgM3 / math.Sqrt(1+cv*cv) })
}

// oneDay adds up the samples; each one's standard error is cv·weight/ΣT in mg/m³.
func oneDay(samples []Sample, limit, cv float64, weight func(Sample, float64) float64) (OneDay, error) {
	if !positive(limit) || !(cv >= 0) || math.IsInf(cv, 1) {
		return OneDay{}, fmt.Errorf("limit %g mg/m³, coefficient of variation %g: %w or out of range", limit, cv, ErrNotPositive)
	}
	if len(samples) == 0 {
		return OneDay{}, TooFewError{Need: 1}
	}
	var minutes, dose, variance float64
	for _, s := range samples {
		if !positive(s.Minutes) || !(s.MgM3 >= 0) || math.IsInf(s.MgM3, 1) {
			return OneDay{}, fmt.Errorf("sample of %g mg/m³ over %g minutes: %w", s.MgM3, s.Minutes, ErrNotPositive)
		}
		minutes += s.Minutes
		dose += s.Minutes * s.MgM3
		w := weight(s, cv)
		variance += w * w
	}
	ratio := dose / minutes / limit
	error95 := oneSided95 * cv * math.Sqrt(variance) / (limit * minutes)
	return OneDay{Ratio: ratio, Low: ratio - error95, High: ratio + error95}, nil
}

// Finding is for samples that cover the whole shift.
func (d OneDay) Finding() OneDayFinding {
	switch {
	case d.Low > 1:
		return DayOver
	case d.High > 1:
		return DayMayOver
	}
	return DayBelow
}

// PartialFinding is for samples that cover only part of the shift: the rest is
// taken to be free of dust, so the day is over only if the measured part is above
// shift/measured times the limit. Source: NIOSH 77-173, 4.2.3; 8 h there.
func (d OneDay) PartialFinding(measuredHours, shiftHours float64) (OneDayFinding, error) {
	if !positive(measuredHours) || !(shiftHours >= measuredHours) || math.IsInf(shiftHours, 1) {
		return "", fmt.Errorf("%g of %g hours measured: the measured part must be above zero and no longer than the shift", measuredHours, shiftHours)
	}
	bound := shiftHours / measuredHours
	switch {
	case d.Low > bound:
		return DayOver, nil
	case d.Ratio > bound:
		return DayMayOver, nil
	}
	return DayUntold, nil
}
