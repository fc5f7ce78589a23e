package compare

import (
	"errors"
	"math"
	"slices"

	"dustlog/internal/compare/alternatives"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Outcome is a further quantity that the change may have moved. All of them are
// secondary: the outcome that decides was chosen before the data.
type Outcome struct {
	Effect
	// After less before, for what is a share of time and no level: the median of
	// all differences between sessions, with its exact interval.
	Difference     *float64   `json:"difference"`
	DifferenceLow  *float64   `json:"difference_ci_low"`
	DifferenceHigh *float64   `json:"difference_ci_high"`
	Method         words.Text `json:"method"`
}

// outcomes lists the further quantities that the readings allow.
func (st *study) outcomes(q quantity) []Outcome {
	list := []Outcome{}
	if st.noDiary {
		return list
	}
	list = append(list, st.dosePerTask(q), st.highest15min(q))
	if st.in.Level > 0 {
		list = append(list, st.timeAbove(q))
	}
	for _, found := range []*Outcome{st.clearance(q), st.exhaustToRoom(q)} {
		if found != nil {
			list = append(list, *found)
		}
	}
	return list
}

// ratioOutcome estimates a ratio from ln values of runs or sessions.
func (st *study) ratioOutcome(key, unit string, label, method words.Text, samples []sample) Outcome {
	e := estimateChange(samples, st.in.Confidence)
	a := analysis{estimate: e}
	a.readEstimate()
	o := Outcome{Effect: st.row(quantity{metric: key, label: label, unit: unit}, a), Method: method}
	o.Secondary = true
	switch {
	case errors.Is(e.trouble, ErrNoSpread):
		o.Note = words.Of("sessions do not differ at all: no interval")
	case !e.ok:
		o.Note = words.Of("too little data for an interval")
	}
	return o
}

// perSession makes one sample of each session that counts; ok is false to leave
// it out. Sessions have no task mix here, so all are of one task.
func (st *study) perSession(ln func(i int) (y float64, ok bool)) (samples []sample) {
	for i, x := range st.sessions {
		if !x.why.IsZero() {
			continue
		}
		if y, ok := ln(i); ok && isFinite(y) {
			samples = append(samples, sample{observation: observation{session: i, y: y}, side: x.side, day: x.day})
		}
	}
	return samples
}

// dosePerTask compares what one run of a task gives in all: net mean × length.
func (st *study) dosePerTask(q quantity) Outcome {
	nets, loq := st.netMeans(q, rules{})
	var samples []sample
	left := 0
	for i, r := range st.runs {
		if !st.takes(r, rules{}) || math.IsNaN(nets[i].value) {
			continue
		}
		if nets[i].value < loq {
			left++
			continue
		}
		samples = append(samples, st.sample(r, math.Log(nets[i].value)+math.Log(r.seconds()/60)))
	}
	o := st.ratioOutcome(q.metric+"_dose_per_task", q.unit+"·min", words.Of("dose per task, %s", q.label),
		words.Of("net mean of a run × its minutes, adjusted for tasks, by sessions"), samples)
	if left > 0 {
		o.Note = words.JoinSaid("; ", o.Note, words.Plural(left, "%d run not told from the background left out", "%d runs not told from the background left out", left))
	}
	return o
}

// alikeLength is how much longer the sessions of one setup may be than those of
// the other for their maxima to be compared.
const alikeLength = 1.25

// highest15min compares the sessions' highest 15-minute means as measured.
func (st *study) highest15min(q quantity) Outcome {
	var hours [sides][]float64
	samples := st.perSession(func(i int) (float64, bool) {
		x := st.sessions[i]
		var usable []dust.Span
		var minutes float64
		spiked := st.spikes.of(q.plus)
		for p := range q.plus.Spans(x.start, x.end) {
			if p.Unusable() == "" && !spiked.holds(p.From) {
				usable = append(usable, p)
				minutes += p.Seconds() / 60
			}
		}
		if minutes < leastMeasured*15 {
			return 0, false // no window can be measured well enough
		}
		peak, err := exposure.Max15min(usable, x.start, x.end)
		if err != nil || !(peak.Mean > 0) {
			return 0, false
		}
		hours[x.side] = append(hours[x.side], x.end.Sub(x.start).Hours())
		return math.Log(peak.Mean), true
	})
	o := st.ratioOutcome(q.metric+"_highest_15_min", q.unit, words.Of("highest 15 min, %s", q.label),
		words.Of("highest 15-minute mean of each session with 75 %% measured, by sessions"), samples)
	if old, new := median(hours[before]), median(hours[after]); math.Max(old/new, new/old) > alikeLength {
		o.CILow, o.CIHigh, o.PValue = nil, nil, nil
		o.Note = words.JoinSaid("; ", o.Note, words.Of("sessions of %.1f h before and %.1f h after: a maximum grows with time, so no interval", old, new))
	}
	return o
}

// timeAbove compares, by sessions, the share of the measured task time above a level.
func (st *study) timeAbove(q quantity) Outcome {
	samples := st.perSession(func(i int) (float64, bool) {
		var above, all float64
		for _, r := range st.runs {
			if r.session != i || !r.why.IsZero() {
				continue
			}
			spiked := st.spikes.of(q.plus)
			for p := range q.plus.Spans(r.start, r.stop) {
				if p.Unusable() != "" || spiked.holds(p.From) {
					continue
				}
				all += p.Seconds()
				if p.Value > st.in.Level {
					above += p.Seconds()
				}
			}
		}
		return 100 * above / all, all > 0
	})
	o := Outcome{Method: words.Of("share of the measured task time, median of all differences between sessions (Hodges and Lehmann), exact interval; p by relabelling")}
	o.Effect = Effect{Metric: q.metric + "_time_above", Label: words.Of("time above %g %s, %s", st.in.Level, q.unit, q.label), Unit: "%", Secondary: true, MeanKind: ArithmeticMean}
	e := estimateChange(samples, st.in.Confidence) // for its units only: shares have no logarithm to go back from
	units := e.units
	o.NBefore, o.NAfter = e.n[before], e.n[after]
	o.Before, o.After = ptr(e.mean[before]), ptr(e.mean[after])
	if min(o.NBefore, o.NAfter) < fewestSessions {
		o.Note = words.Of("too little data for an interval")
		return o
	}
	shift, perm, err := sessionShift(units, e.paired, st.in.Confidence)
	if err != nil {
		o.Note = words.OfError(err)
		return o
	}
	o.Difference, o.PValue = ptr(shift.Estimate), ptr(perm.P)
	o.DifferenceLow, o.DifferenceHigh = ptr(shift.Low), ptr(shift.High)
	if shift.Coverage < st.in.Confidence-0.005 {
		o.Note = words.Of("so few sessions give an interval of %.0f %% at most", 100*shift.Coverage)
	}
	return o
}

// sessionShift is the Hodges–Lehmann shift of the units with its permutation test.
func sessionShift(units [sides][]float64, paired bool, confidence float64) (alternatives.Shift, Permutation, error) {
	if !paired {
		shift, err := alternatives.HodgesLehmannTwo(units[before], units[after], confidence)
		if err != nil {
			return shift, Permutation{}, err
		}
		perm, err := PermutationTwoSample(units[before], units[after])
		return shift, perm, err
	}
	d := make([]float64, len(units[after]))
	for i := range d {
		d[i] = units[after][i] - units[before][i]
	}
	shift, err := alternatives.HodgesLehmannOne(d, confidence)
	if err != nil {
		return shift, Permutation{}, err
	}
	perm, err := PermutationSignFlip(d)
	return shift, perm, err
}

// clearance compares how fast the air clears after work; nil if no decay was seen.
func (st *study) clearance(q quantity) *Outcome {
	var decays []decay
	method := words.Of("rate of the falls after work above the background, geometric mean by session")
	if w := st.in.ClearanceWindow; w.High > 0 {
		decays = st.decaysInWindow(q, w)
		method = words.Of("slope of ln %s from %g down to %g %s after work, geometric mean by session", q.label, w.High, w.Low, q.unit)
	} else {
		decays = st.groundOf(q).decays
	}
	if len(decays) == 0 {
		return nil
	}
	samples := st.perSession(func(i int) (float64, bool) {
		var sum, n float64
		for _, d := range decays {
			if d.session == i {
				sum += math.Log(d.perHour)
				n++
			}
		}
		return sum / n, n > 0
	})
	o := st.ratioOutcome(q.metric+"_clearance", "1/h", words.Of("clearance rate, %s", q.label), method, samples)
	return &o
}

// exhaustToRoom compares what the outlet gives back against the air at the
// sensor, run by run; nil without a sensor at the outlet.
func (st *study) exhaustToRoom(q quantity) *Outcome {
	if st.in.Exhaust == nil || st.in.Exhaust.Len() == 0 {
		return nil
	}
	outlet := quantity{plus: st.in.Exhaust}
	var samples []sample
	for _, r := range st.runs {
		if !st.takes(r, rules{}) {
			continue
		}
		out := st.mean(outlet, r.start, r.stop, r.need, rules{})
		here := st.mean(q, r.start, r.stop, r.need, rules{})
		if out > 0 && here > 0 {
			samples = append(samples, st.sample(r, math.Log(out)-math.Log(here)))
		}
	}
	o := st.ratioOutcome(q.metric+"_exhaust_to_room", "1", words.Of("outlet ÷ here, %s", q.label),
		words.Of("mean at the outlet over mean here, run by run, adjusted for tasks, by sessions"), samples)
	o.Note = words.JoinSaid("; ", o.Note, words.Of("two sensors: exchange them for half of the runs, and the mean of the two ln ratios is free of their gains"))
	return &o
}

// adjustSecondary makes p values of all secondary rows together bear that so many
// questions were asked. The outcome that decides was chosen beforehand and is not
// among them.
func adjustSecondary(res *Result) {
	var rows []*Effect
	for i := range res.Bins {
		rows = append(rows, &res.Bins[i])
	}
	for i := range res.Outcomes {
		rows = append(rows, &res.Outcomes[i].Effect)
	}
	rows = slices.DeleteFunc(rows, func(e *Effect) bool { return !e.Secondary || e.PValue == nil })
	var p []float64
	for _, e := range rows {
		p = append(p, *e.PValue)
	}
	for i, adjusted := range Holm(p) {
		rows[i].PAdjusted = ptr(adjusted)
	}
}
