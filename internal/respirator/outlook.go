package respirator

import (
	"time"

	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Outlook is one sensor's day so far, and what another hour of a task would add.
type Outlook struct {
	Date            string         `json:"date"`
	Sensor          string         `json:"sensor"`
	MinutesSoFar    float64        `json:"minutes_so_far"` // of the shift
	MinutesMeasured float64        `json:"minutes_measured"`
	DoseMgMinM3     *float64       `json:"dose_mg_min_m3"` // ∫C dt of the sensor's own reading
	Task            string         `json:"task"`           // "" if no task was asked about
	Material        string         `json:"material"`
	Runs            int            `json:"runs"` // that the range rests on
	Limits          []OutlookLimit `json:"limits"`
}

// OutlookLimit is the day against one time-weighted limit.
type OutlookLimit struct {
	LimitID   string  `json:"limit_id"`
	LimitMgM3 float64 `json:"limit_mg_m3"`  // lowered for a long shift where that was asked for
	Over      float64 `json:"over_minutes"` // what doses are divided by
	// AtLeast: no usable factor for the limit's fraction, so the numbers may be too low.
	AtLeast    bool     `json:"at_least"`
	SoFarMgM3  *float64 `json:"twa_so_far_mg_m3"`
	SoFarShare *float64 `json:"share_so_far"`
	// SoFarHighMgM3 is the same with the most that the factor leaves; nil without one.
	SoFarHighMgM3 *float64 `json:"twa_so_far_high_mg_m3"`
	// After another hour like the lowest, the mean and the highest of the task's
	// past runs, the highest with the most that the factor leaves. nil without runs.
	LowMgM3     *float64 `json:"twa_after_an_hour_low_mg_m3"`
	TypicalMgM3 *float64 `json:"twa_after_an_hour_mg_m3"`
	HighMgM3    *float64 `json:"twa_after_an_hour_high_mg_m3"`
	LowShare    *float64 `json:"share_after_an_hour_low"`
	HighShare   *float64 `json:"share_after_an_hour_high"`
}

// Ahead works the outlook out:
//
//	TWA after the hour = TWA so far + C·60 min / T
//
// with C of past runs and T the limit's averaging time in minutes. The high end has the
// most that the factors leave, for the day and for the run. The dose so far
// counts unmeasured time as without dust. mask is the task's answer; nil: none.
// Limits over 15 min, and those that are not for the day's wood, are left out.
func Ahead(shift exposure.ShiftResult, mask *exposure.MaskResult, now time.Time) Outlook {
	end := shift.End
	if now.Before(end) {
		end = now
	}
	o := Outlook{Date: shift.Date, Sensor: shift.Sensor, MinutesSoFar: max(0, end.Sub(shift.Start).Minutes()), MinutesMeasured: shift.MinutesMeasured, Limits: []OutlookLimit{}}
	if shift.MeasuredMean != nil {
		dose := *shift.MeasuredMean * shift.MinutesMeasured
		o.DoseMgMinM3 = &dose
	}
	if mask != nil {
		o.Task, o.Material, o.Runs = mask.Task, mask.Material, mask.Runs
	}
	for _, l := range shift.Limits {
		if l.Averaging != exposure.FifteenMinutes && l.Bearing != exposure.DoesNotApply && l.ComparedOverMinutes > 0 {
			o.Limits = append(o.Limits, ahead(l, mask))
		}
	}
	return o
}

func ahead(l exposure.LimitFinding, mask *exposure.MaskResult) OutlookLimit {
	o := OutlookLimit{LimitID: l.LimitID, LimitMgM3: l.LimitMgM3, Over: l.ComparedOverMinutes, AtLeast: l.WithFactor == nil, SoFarMgM3: l.ComparedMgM3}
	if l.Adjusted != nil {
		o.LimitMgM3 = l.Adjusted.LimitMgM3
	}
	if l.WithFactor != nil {
		o.SoFarMgM3, o.SoFarHighMgM3 = l.WithFactor, l.WithFactorHigh
	}
	if o.SoFarMgM3 == nil {
		return o
	}
	share := *o.SoFarMgM3 / o.LimitMgM3
	o.SoFarShare = &share
	if mask == nil {
		return o
	}
	for _, past := range mask.Limits {
		if past.LimitID != l.LimitID || past.HighestMgM3 == nil {
			continue
		}
		o.AtLeast = o.AtLeast || past.AtLeast
		after := func(soFar, mgM3 float64) *float64 {
			x := soFar + mgM3*time.Hour.Minutes()/o.Over
			return &x
		}
		soFarHigh, most := *o.SoFarMgM3, *past.HighestMgM3
		if o.SoFarHighMgM3 != nil {
			soFarHigh = max(soFarHigh, *o.SoFarHighMgM3)
		}
		if past.HazardRatioAtMost != nil {
			most = max(most, *past.HazardRatioAtMost*past.LimitMgM3)
		}
		o.LowMgM3, o.TypicalMgM3, o.HighMgM3 = after(*o.SoFarMgM3, *past.LowestMgM3), after(*o.SoFarMgM3, *past.TypicalMgM3), after(soFarHigh, most)
		low, high := *o.LowMgM3/o.LimitMgM3, *o.HighMgM3/o.LimitMgM3
		o.LowShare, o.HighShare = &low, &high
	}
	return o
}

// Sentence says a limit's outlook in words.
func (o Outlook) Sentence(l OutlookLimit) words.Text {
	if l.SoFarMgM3 == nil {
		return words.Of("%s: nothing measured today that can be used", l.LimitID)
	}
	text := words.Of("%s: %s mg/m³ so far, %.0f %% of %g mg/m³", l.LimitID, l.atLeast(*l.SoFarMgM3), 100**l.SoFarShare, l.LimitMgM3)
	if l.SoFarHighMgM3 != nil && *l.SoFarHighMgM3 > *l.SoFarMgM3 {
		text = words.Of("%s (up to %s with the most that the factor leaves)", text, three(*l.SoFarHighMgM3))
	}
	if l.HighMgM3 != nil {
		name := exposure.MaskResult{Task: o.Task, Material: o.Material}.Label()
		text = words.Of("%s; another hour of %s would bring it to %s to %s mg/m³ (%.0f to %.0f %%), like the lowest and highest of its past runs (%d)",
			text, name, l.atLeast(*l.LowMgM3), three(*l.HighMgM3), 100**l.LowShare, 100**l.HighShare, o.Runs)
	}
	return text
}

// atLeast is a concentration, mg/m³, with what is to be said of it.
func (l OutlookLimit) atLeast(mgM3 float64) words.Text {
	if l.AtLeast {
		return words.Of("at least %s", three(mgM3))
	}
	return words.Of("%s", three(mgM3))
}

func three(x float64) words.Number { return words.Significant(x, 3) }
