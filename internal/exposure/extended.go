package exposure

import (
	"fmt"
	"time"

	"dustlog/internal/words"
)

// BriefScalaDaily is the reduction factor for shifts of h hours (8 < h < 24):
//
//	RF = (8/h)·(24 − h)/16
//
// the first part for the longer intake, the second for the shorter rest. The
// average over the whole shift is compared with RF times the limit. At 8 h or
// less it is 1. Source: Brief and Scala 1975 (AIHA Journal 36, 467), formula as
// printed in "Extrapolating airborne contaminant results to longer shifts";
// example 12 h → 0.5.
func BriefScalaDaily(h float64) (float64, error) {
	if !(h > 0 && h < 24) {
		return 0, fmt.Errorf("Brief and Scala: a shift of %g h: give more than 0 and less than 24 h", h) //nolint:staticcheck // names
	}
	if h <= 8 {
		return 1, nil
	}
	return 8 / h * (24 - h) / 16, nil
}

// BriefScalaWeekly is the reduction factor for H hours of work a week
// (40 < H < 168):
//
//	RF = (40/H)·(168 − H)/128
//
// At 40 h or less it is 1. Source as for BriefScalaDaily; 56 h → 0.625.
func BriefScalaWeekly(h float64) (float64, error) {
	if !(h > 0 && h < 168) {
		return 0, fmt.Errorf("Brief and Scala: a week of %g h: give more than 0 and less than 168 h", h) //nolint:staticcheck // names
	}
	if h <= 40 {
		return 1, nil
	}
	return 40 / h * (168 - h) / 128, nil
}

// ShiftAdjustment is the choice what to do with limits in shifts above 8 h.
type ShiftAdjustment string

// The choices. Without one the dose is divided by 8 h, which lowers the limit in
// proportion to the shift's length already.
const (
	NoAdjustment ShiftAdjustment = ""
	BriefScala   ShiftAdjustment = "brief_scala"
)

// ParseShiftAdjustment reads a choice; "none" is NoAdjustment.
func ParseShiftAdjustment(s string) (ShiftAdjustment, error) {
	switch s {
	case "", "none":
		return NoAdjustment, nil
	case string(BriefScala):
		return BriefScala, nil
	}
	return "", fmt.Errorf("unknown adjustment for long shifts %q: use \"none\" or %q", s, BriefScala)
}

// Adjusted is a limit lowered for a long shift or week. The average over the
// shift's whole length is compared with it, not the 8-h TWA.
type Adjusted struct {
	Rule         ShiftAdjustment `json:"rule"`
	ShiftHours   float64         `json:"shift_h"`
	WeekHours    float64         `json:"week_h"` // shifts begun in the same ISO week
	DailyFactor  float64         `json:"daily_factor"`
	WeeklyFactor float64         `json:"weekly_factor"`
	Factor       float64         `json:"factor"` // the smaller of the two
	LimitMgM3    float64         `json:"limit_mg_m3"`
	MeanMgM3     *float64        `json:"shift_twa_mg_m3"` // ΣC·Δt / shift length, with the factor for the sensor if one was used
}

// stretchable says why a limit may not be lowered for long shifts; nothing if it may.
// The rule is made for 8-h averages.
func (l Limit) stretchable() words.Text {
	switch {
	case l.Averaging == TenHours:
		return words.Of("it is made for workdays of up to 10 h")
	case l.Averaging != EightHours:
		return words.Of("it is no 8-h limit")
	case l.AveragingPrinted == "8 h and 12 h":
		return words.Of("its source says that it holds for shifts of 12 h too")
	}
	return words.Text{}
}

// adjust lowers the limit for a shift; nil if there is nothing to lower.
func (l Limit) adjust(rule ShiftAdjustment, shift, week time.Duration) *Adjusted {
	if rule != BriefScala || !l.stretchable().IsZero() || (shift <= eightHours && week <= fortyHours) {
		return nil
	}
	daily, err1 := BriefScalaDaily(shift.Hours())
	weekly, err2 := BriefScalaWeekly(week.Hours())
	if err1 != nil || err2 != nil { // no such shift or week leaves time to rest
		return nil
	}
	factor := min(daily, weekly)
	return &Adjusted{Rule: rule, ShiftHours: shift.Hours(), WeekHours: week.Hours(), DailyFactor: daily, WeeklyFactor: weekly,
		Factor: factor, LimitMgM3: factor * l.MgM3}
}

const (
	eightHours = 8 * time.Hour
	fortyHours = 40 * time.Hour
)

// longShifts says what long shifts do to the limits; at most one sentence for each.
func longShifts(limits []Limit, rule ShiftAdjustment, longest time.Duration) (warnings []words.Text) {
	if longest <= eightHours {
		return nil
	}
	if rule == NoAdjustment {
		return []words.Text{words.Of("the longest shift is %s h: its dose is divided by 8 h all the same; some rules lower the limit further for the shorter rest (shop.long_shifts = %q)", number(longest.Hours()), string(BriefScala))}
	}
	for _, l := range limits {
		if why := l.stretchable(); !why.IsZero() {
			warnings = append(warnings, words.Of("limit %s is not lowered for long shifts: %s", l.ID, why))
			continue
		}
		warnings = append(warnings, words.Of("limit %s is lowered for long shifts and weeks by Brief and Scala's rule, a cautious one that some codes demand and others do not know: ask which holds where you work", l.ID))
	}
	return warnings
}
