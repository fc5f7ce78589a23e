package exposure

import (
	"dustlog/internal/dust"
	"dustlog/internal/exposure/group"
	"dustlog/internal/words"
)

// GroupResult is the shifts of one sensor under one setup, taken as days of one exposure
// group: the same person at the same kind of work. In a shop of one, the days are
// the sample.
type GroupResult struct {
	Sensor   string        `json:"sensor"`
	Position dust.Position `json:"position"`
	Setup    string        `json:"setup"`
	Values   words.Text    `json:"values"` // what stands for a shift
	group.Summary
}

// Groups asks what the shifts of the result say about other days, for every sensor
// at a place where someone breathes. Shifts count by the mean that the limit is
// made for, unmeasured time like the measured, with the sensor's factor where one
// was used in all of them.
func (r Result) Groups() []GroupResult {
	groups := []GroupResult{}
	index := map[[2]string]int{}
	var members [][]ShiftResult
	for _, s := range r.Shifts {
		if !breathes(s.Position) || len(s.Limits) == 0 {
			continue
		}
		key := [2]string{s.Sensor, s.Setup}
		i, known := index[key]
		if !known {
			i = len(members)
			index[key], members = i, append(members, nil)
		}
		members[i] = append(members[i], s)
	}
	for _, shifts := range members {
		groups = append(groups, groupOf(r, shifts))
	}
	return groups
}

// days are the shifts of a group as values: as read or with the factor, and with
// the ends of what the factor leaves open.
type days struct {
	mid, low, high []group.Value
	left           []group.Excluded
	factor         bool
}

func groupOf(r Result, shifts []ShiftResult) GroupResult {
	d := daysOf(r.Limit, shifts)
	g := GroupResult{Sensor: shifts[0].Sensor, Position: shifts[0].Position, Setup: shifts[0].Setup, Values: words.Of("the sensor's own reading")}
	if d.factor {
		g.Values = words.Of("the reading with the sensor's factor")
	}
	if r.Limit.Averaging == FifteenMinutes {
		g.Values = words.Of("%s, highest 15 min of the shift", g.Values)
	} else {
		g.Values = words.Of("%s, mean over %s, unmeasured time like the measured", g.Values, r.Limit.Averaging)
	}
	opts := group.Options{AtLeast: atLeast(r, shifts, d.factor)}
	g.Summary = group.Summarise(d.mid, r.Limit.MgM3, opts)
	g.Excluded = append(g.Excluded, d.left...)
	if d.factor {
		g.allowFor(d, r.Limit.MgM3, opts)
	} else if why := noLowerBound(r); !why.IsZero() && g.Finding == group.Over {
		g.Finding, g.Why = group.CannotTell, why
	}
	return g
}

// allowFor takes a finding back that the uncertainty of the factor may undo: it is
// shared by all days, so more days do not lessen it.
func (g *GroupResult) allowFor(d days, limit float64, opts group.Options) {
	undo := func(values []group.Value, doubt words.Text) {
		if group.Summarise(values, limit, opts).Finding != g.Finding {
			g.Why = words.Join(" ", words.Of("With the factor as it is: %s", g.Why), doubt)
			g.Finding = group.NotShown
		}
	}
	switch g.Finding {
	case group.ShownBelow:
		undo(d.high, words.Of("The factor may be so far too low that this does not hold."))
	case group.Over:
		undo(d.low, words.Of("The factor may be so far too high that this does not hold."))
	}
}

func daysOf(limit Limit, shifts []ShiftResult) (d days) {
	d.factor = true
	for _, s := range shifts {
		d.factor = d.factor && s.WithFactor != nil
	}
	for _, s := range shifts {
		first := s.Limits[0]
		if first.ComparedMgM3 == nil {
			d.left = append(d.left, group.Excluded{Label: s.Date, Why: words.Of("it has no mean to compare")})
			continue
		}
		if s.MinutesMeasured < enoughCoverage*s.Minutes {
			d.left = append(d.left, group.Excluded{Label: s.Date, Why: words.Of("only %.0f of %.0f min were measured", s.MinutesMeasured, s.Minutes)})
			continue
		}
		scale := s.Minutes / s.MinutesMeasured // of means that count unmeasured time as zero
		if limit.Averaging == FifteenMinutes {
			scale = 1
		}
		add := func(to *[]group.Value, x *float64) {
			if x != nil {
				*to = append(*to, group.Value{Label: s.Date, MgM3: *x * scale})
			}
		}
		if !d.factor {
			add(&d.mid, first.ComparedMgM3)
			continue
		}
		add(&d.mid, first.WithFactor)
		add(&d.low, first.WithFactorLow)
		add(&d.high, first.WithFactorHigh)
	}
	return d
}

// atLeast says why the days may be higher than their values.
func atLeast(r Result, shifts []ShiftResult, factor bool) words.Text {
	var why []words.Text
	add := func(yes bool, text words.Text) {
		if yes {
			why = append(why, text)
		}
	}
	add(!factor, words.Of("without a factor for the limit's fraction a reading is at best a lower bound"))
	add(factor && r.Limit.Fraction.coarse(), words.Of("no optical sensor can show that a limit for %s dust is met, even with a factor", FractionText(r.Limit.FractionPrinted)))
	add(shifts[0].Position != dust.BreathingZone, words.Of("area readings can be several times lower than what is breathed"))
	for _, s := range shifts {
		if s.SaturatedShare > mostSaturated {
			add(true, words.Of("on %s the sensor was at the top of its range", words.Day(s.Date)))
			break
		}
	}
	return words.Join("; ", why...)
}

// noLowerBound says why plain readings may lie above the exposure as well.
func noLowerBound(r Result) words.Text {
	if c, err := dust.ParseMetric(r.Metric); err == nil && Extrapolated(c) {
		return words.Of("%s of an optical sensor is extrapolated from finer particles, so it shows nothing above a limit by itself", ChannelText(c))
	}
	return words.Text{}
}
