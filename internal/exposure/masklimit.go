package exposure

import (
	"maps"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure/group"
	"dustlog/internal/words"
)

// MaskLimit is the respirator question for one task and material against one
// limit. The mean of a run stands for what is breathed while the respirator would
// be worn; a factor is used where it may be.
type MaskLimit struct {
	LimitID    string     `json:"limit_id"`
	Label      string     `json:"limit"`
	LimitMgM3  float64    `json:"limit_mg_m3"`
	Averaging  Averaging  `json:"averaging"`
	Bearing    Bearing    `json:"bearing"`
	BearingWhy words.Text `json:"bearing_why,omitzero"`
	Governs    bool       `json:"governs"` // decides for the task: the strictest that may bear

	// Of the means of single runs, with the factor in the middle of what it may be.
	LowestMgM3  *float64 `json:"lowest_run_mean_mg_m3"`
	TypicalMgM3 *float64 `json:"mean_of_run_means_mg_m3"`
	HighestMgM3 *float64 `json:"highest_run_mean_mg_m3"`
	// UpperMgM3 is the level that, with 95 % confidence, 95 % of days stay below,
	// each counted by its highest run, with the most that the factor leaves.
	UpperMgM3 *float64   `json:"upper_95_95_mg_m3"`
	UpperWhy  words.Text `json:"upper_why,omitzero"` // why there is none

	// AtLeast: some run has no usable factor, so every number may be too low.
	AtLeast            bool     `json:"at_least"`
	HazardRatioAtLeast *float64 `json:"hazard_ratio_at_least"`
	HazardRatio        *float64 `json:"hazard_ratio"`
	HazardRatioAtMost  *float64 `json:"hazard_ratio_at_most"`
	// HazardRatioToCover is what a respirator has to cover: the upper level over
	// the limit, or the highest run's ratio where there is no upper level.
	HazardRatioToCover *float64   `json:"hazard_ratio_to_cover"`
	State              MaskState  `json:"state"`
	Why                words.Text `json:"why"`
}

// stricter reports whether l rather than m decides.
func (l MaskLimit) stricter(m MaskLimit) bool {
	if a, b := l.State.Strictness(), m.State.Strictness(); a != b {
		return a > b
	}
	return l.LimitMgM3 < m.LimitMgM3
}

// evidence is what runs show against one limit.
type evidence struct {
	*runsOf
	limit Limit
	ratio float64   // highest hazard ratio, factor used where it may be
	lower float64   // the same with the least that the factors leave
	most  float64   // and with the most
	means []float64 // of runs, mg/m³, like ratio
	byDay []float64 // highest well-measured run of each day, mg/m³, like most
	notes []words.Text
	plain bool // a run without a usable factor
	doubt bool // a run saturated, extrapolated or without stated spread

	upper    float64
	upperErr error
}

// against weighs the runs by one limit.
func (rs *runsOf) against(l Limit) MaskLimit {
	e := evidence{runsOf: rs, limit: l}
	e.weigh()
	e.raise()
	f := MaskLimit{LimitID: l.ID, Label: l.Label(), LimitMgM3: l.MgM3, Averaging: l.Averaging, AtLeast: e.plain}
	if finite(e.most) {
		lowest, highest := slices.Min(e.means), slices.Max(e.means)
		typical := 0.0
		for _, x := range e.means {
			typical += x / float64(len(e.means))
		}
		f.LowestMgM3, f.TypicalMgM3, f.HighestMgM3 = &lowest, &typical, &highest
		cover := e.most
		f.HazardRatioAtLeast, f.HazardRatioToCover = &e.lower, &cover
		if !e.plain {
			f.HazardRatio, f.HazardRatioAtMost = &e.ratio, &e.most
		}
		if e.upperErr == nil {
			cover = max(cover, e.upper/l.MgM3)
			f.UpperMgM3 = &e.upper
		} else {
			f.UpperWhy = words.OfError(e.upperErr)
		}
	}
	f.State, f.Why = e.decide()
	return f
}

// weigh goes through the runs.
func (e *evidence) weigh() {
	days := map[int]float64{}
	for i, r := range e.runs {
		c := calibrate(e.in.Factors[r.Sensor], factorUse{e.limit, r.channel, r.Start.Format(time.DateOnly), worked(r.Material), []string{r.Task}})
		x, low, high := *r.MeanMgM3, *r.MeanMgM3, *r.MeanMgM3
		if c.use {
			least, most := c.limits()
			net := c.net(*r.MeanMgM3, 1)
			x, low, high = net*c.Factor.Factor, net*least, net*most
		}
		e.means = append(e.means, x)
		e.ratio = max(e.ratio, x/e.limit.MgM3)
		e.lower = max(e.lower, low/e.limit.MgM3)
		e.most = max(e.most, high/e.limit.MgM3)
		if r.m.coverage() >= enoughCoverage {
			days[e.day[i]] = max(days[e.day[i]], high)
		}
		e.plain = e.plain || !c.use
		e.doubt = e.doubt || !c.stated() || Extrapolated(r.channel) || r.m.saturatedShare() > mostSaturated
		e.notes = append(e.notes, c.note)
		if !c.use {
			e.notes = append(e.notes, notLowerBound(r.channel, c))
		}
	}
	for _, day := range slices.Sorted(maps.Keys(days)) {
		e.byDay = append(e.byDay, days[day])
	}
}

// raise finds the upper level.
//
//	e^(ȳ + K·s), K for 95 % of days and 95 % confidence
//
// of the days' highest runs: runs of one day hang together, so the day is the
// unit. Source: Odeh and Owen 1980, as package group has it. It is never below
// the highest run seen. That the most of the factor goes in as well makes it more
// careful than 95 %.
func (e *evidence) raise() {
	fit, err := group.FitLognormal(e.byDay)
	if err == nil {
		e.upper, err = fit.UpperTolerance(0.95, 0.95)
	}
	if err == nil && !finite(e.upper) {
		err = words.Error(words.Of("the days are too different for an upper level"))
	}
	e.upper, e.upperErr = max(e.upper, e.most*e.limit.MgM3), err
}

// notLowerBound says why a plain reading may be above the truth.
func notLowerBound(channel dust.Channel, c calibration) words.Text {
	switch {
	case Extrapolated(channel):
		return words.Of("%s of an optical sensor is extrapolated from finer particles, so \"at least\" does not hold for it", ChannelText(channel))
	case c.overreads:
		return words.Of("the sensor's own factor is below 1: it over-reads, so \"at least\" does not hold for it")
	}
	return words.Of("uncalibrated reading, \"at least\" only if the sensor does not over-read")
}

func (e *evidence) decide() (MaskState, words.Text) {
	tail := slices.DeleteFunc(slices.Clone(e.notes), words.Text.IsZero)
	if e.earlier > 0 {
		tail = append(tail, words.Of("%d earlier runs under another setup are left out", e.earlier))
	}
	if e.ratio > 1 {
		times := words.Of("at least %s", number(e.lower))
		if e.lower <= 1 {
			times = words.Of("%s (%s to %s with the factor's spread or uncertainty)", number(e.ratio), number(e.lower), number(e.most))
		}
		why := words.Of("the highest run mean is %s times the limit of %s mg/m³", times, number(e.limit.MgM3))
		return KeepOn, sentence(append([]words.Text{why}, tail...))
	}
	if why := KeepsOn(e.task, e.runs[0].Material, e.in.Materials); !why.IsZero() {
		return KeepOn, sentence(append([]words.Text{why}, tail...))
	}
	if against := e.unsettled(); len(against) > 0 {
		return MaskCannotTell, sentence(append(append(against, tail...), words.Of("counts as keep it on")))
	}
	why := words.Of("from %d days: with 95 %% confidence 95 %% of days stay below %s times the limit, the factor's spread or uncertainty included",
		len(e.byDay), number(e.upper/e.limit.MgM3))
	return NotShownNeeded, sentence(append([]words.Text{why}, append(tail,
		words.Of("the air stays dusty for minutes after the task, and below a limit is not the goal for a carcinogen"))...))
}

// unsettled lists why low runs do not settle the question.
func (e *evidence) unsettled() []words.Text {
	var why []words.Text
	add := func(yes bool, text words.Text) {
		if yes {
			why = append(why, text)
		}
	}
	add(e.limit.Fraction.coarse(), words.Of("no optical sensor can show that a limit for %s dust is met", FractionText(e.limit.FractionPrinted)))
	add(e.plain, words.Of("without a factor for the limit's fraction a reading is at best a lower bound"))
	add(e.limit.Averaging == FifteenMinutes, words.Of("the highest 15 minutes of a run are above its mean, and only the mean is known"))
	add(!e.plain && e.most > 1, words.Of("with the factor's spread or uncertainty the highest run may be %s times the limit", number(e.most)))
	add(!e.plain && e.doubt, words.Of("a run was at the top of the sensor's range, or extrapolated, or the factor has no stated spread"))
	few := e.days < enoughDays
	add(few, words.Of("days with a run at least 75 %% measured: %d, the least is %d", e.days, enoughDays))
	if !few && !e.plain && e.most <= 1 {
		if e.upperErr != nil {
			why = append(why, words.Of("no upper level can be told: %s", words.OfError(e.upperErr)))
		}
		add(e.upperErr == nil && e.upper > e.limit.MgM3,
			words.Of("from %d days, the level that 95 %% of days stay below may with 95 %% confidence be %s times the limit; more days would narrow it", len(e.byDay), number(e.upper/e.limit.MgM3)))
	}
	return why
}
