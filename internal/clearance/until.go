package clearance

import (
	"math"

	"dustlog/internal/words"
)

// Rate is what MinutesUntil needs to know of a room: from one decay that is under
// way, or from several for the next one. Levels are in one unit.
type Rate struct {
	PerHour        float64 // λ
	LowPerHour     float64 // one-sided 95 % lower limit of λ; 0: not known
	Background     float64
	BackgroundHigh float64 // one-sided 95 % upper limit
	Hours          float64 // the longest record it rests on
}

// Rate is the rate of this very decay.
func (f Fit) Rate() Rate {
	return Rate{f.PerHour, f.LowOne, f.Background, f.backgroundHigh(), f.Hours}
}

// Wait is how long to wait, in minutes from now. Nil is "cannot tell", with the
// reason in Why. Upper, not Estimate, answers how long a respirator stays on.
type Wait struct {
	Estimate     *float64   `json:"minutes"`
	Upper        *float64   `json:"minutes_upper_bound"`
	BeyondRecord bool       `json:"beyond_record"` // no decay was watched for so long
	Why          words.Text `json:"why"`
}

// MinutesUntil is how long the air takes from a level now to a lower one once no
// source is on:
//
//	t = ln[(now − Cbg)/(L − Cbg)]/λ
//
// Upper uses the lower limit of λ and the upper limit of Cbg together, which is
// more careful than 95 %. It does not know of new dust: a source, a draught or
// sweeping starts it afresh. What a sensor does not see may clear slower.
func MinutesUntil(level, now float64, r Rate) Wait {
	switch {
	case !(finite(level) && finite(now) && level > 0 && r.PerHour > 0):
		return Wait{Why: words.Of("the level, the reading or the rate is not known")}
	case now <= level:
		zero := 0.0
		return Wait{Estimate: &zero, Upper: &zero, Why: words.Of("the reading is at or below the level now")}
	case level <= r.Background:
		return Wait{Why: words.Of("the background is %.3g, so clearing does not go below %.3g", r.Background, level)}
	}
	until := func(background, perHour float64) float64 {
		return 60 * math.Log((now-background)/(level-background)) / perHour
	}
	estimate := until(r.Background, r.PerHour)
	w := Wait{Estimate: &estimate, BeyondRecord: estimate > 60*r.Hours}
	switch {
	case level <= r.BackgroundHigh:
		w.Why = words.Of("the background may be as high as %.3g, so there is no upper bound", r.BackgroundHigh)
	case !(r.LowPerHour > 0):
		w.Why = words.Of("the rate has no lower limit, so there is no upper bound")
	default:
		upper := until(r.BackgroundHigh, r.LowPerHour)
		w.Upper = &upper
		w.BeyondRecord = upper > 60*r.Hours
	}
	return w
}
