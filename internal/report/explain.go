package report

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/compare"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// ErrNoResult says that no number has the ID asked about.
var ErrNoResult = errors.New("no result")

// Explanations says of every number in the report where it comes from: formula,
// inputs, source, readings.
func Explanations(in Input) []exposure.Explanation {
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	all := in.Exposure.Explanations()
	all = append(all, explainGroups(in)...)
	all = append(all, explainComparison(in)...)
	for _, c := range in.Cleared {
		all = append(all, explainClearance(in, c.Result)...)
	}
	all = append(all, explainRuns(in)...)
	all = append(all, explainAirflow(in)...)
	all = append(all, explainWaits(in)...)
	return append(all, explainRespirator(in)...)
}

// Explain finds one of them. The error wraps ErrNoResult and names some that are
// alike.
func Explain(all []exposure.Explanation, id string) (exposure.Explanation, error) {
	var near []string
	for _, e := range all {
		if e.ID == id {
			return e, nil
		}
		if len(near) < 5 && alike(e.ID, id) {
			near = append(near, e.ID)
		}
	}
	if len(near) > 0 {
		return exposure.Explanation{}, fmt.Errorf("%w %q: there are, among others, %s", ErrNoResult, id, strings.Join(near, ", "))
	}
	return exposure.Explanation{}, fmt.Errorf("%w %q: `dustlog explain` lists all", ErrNoResult, id)
}

// alike reports whether two IDs have what they are of, or the number, in common.
func alike(a, b string) bool {
	cutA, cutB := strings.LastIndex(a, "/"), strings.LastIndex(b, "/")
	if cutA < 0 || cutB < 0 {
		return strings.Contains(a, b)
	}
	return a[:cutA] == b[:cutB] || a[cutA:] == b[cutB:]
}

// explainer gathers explanations that have much in common.
type explainer struct {
	row  string // the row's ID
	base exposure.Explanation
	out  []exposure.Explanation
}

func (x *explainer) add(key, label, unit string, value *float64, formula string, source any, inputs ...exposure.Given) {
	e := x.base
	e.ID, e.Label, e.Unit, e.Value, e.Formula, e.Source = x.row+"/"+key, label, unit, value, formula, fmt.Sprint(source)
	e.Inputs = inputs
	if inputs == nil {
		e.Inputs = []exposure.Given{}
	}
	x.out = append(x.out, e)
}

func given(name string, value *float64, unit string) exposure.Given {
	return exposure.Given{Name: name, Value: value, Unit: unit}
}

func whole(n int) *float64 { x := float64(n); return &x }

func groupID(g exposure.GroupResult) string {
	return "group/" + g.Sensor + "/" + orNotDeclared(g.Setup)
}

func explainGroups(in Input) []exposure.Explanation {
	var out []exposure.Explanation
	for _, g := range in.Exposure.Groups() {
		x := explainer{row: groupID(g), base: exposure.Explanation{Sensor: g.Sensor, Metric: in.Exposure.Metric, From: in.From, To: in.To}}
		var shifts []exposure.Given
		for _, p := range g.Plot {
			name := "shift of " + p.Label
			if p.Below {
				name += ", below detection: at most"
			}
			shifts = append(shifts, given(name, &p.MgM3, "mg/m³"))
		}
		n := given("shifts", whole(g.Days), "")
		gm, gsd := given("geometric mean", g.GM, "mg/m³"), given("geometric standard deviation", g.GSD, "")
		x.add("gm", "geometric mean of the shifts", "mg/m³", g.GM, "exp(mean of ln of the shifts); values: "+g.Values.String(), g.Method, shifts...)
		x.add("gsd", "geometric standard deviation of the shifts", "", g.GSD, "exp(standard deviation of ln of the shifts)", g.Method, shifts...)
		x.add("p95", "95th percentile of days, estimated", "mg/m³", g.P95, "GM · GSD^1.645", g.Method, gm, gsd)
		x.add("utl95_70", "upper tolerance limit, 95 % of days, 70 % confidence", "mg/m³", g.UTL95_70, "GM · GSD^K, K the one-sided tolerance factor for n shifts, 95 % and 70 %", "EN 689:2018, annex F; Odeh and Owen 1980", gm, gsd, n)
		x.add("utl95_95", "upper tolerance limit, 95 % of days, 95 % confidence", "mg/m³", g.UTL95_95, "GM · GSD^K, K the one-sided tolerance factor for n shifts, 95 % and 95 %", "Odeh and Owen 1980", gm, gsd, n)
		out = append(out, x.out...)
	}
	return out
}

func explainComparison(in Input) []exposure.Explanation {
	r := in.Compare
	if r == nil {
		return nil
	}
	x := explainer{row: "compare", base: exposure.Explanation{Sensor: r.Sensor, Metric: r.Metric, From: in.From, To: in.To}}
	var before, after []exposure.Given
	for _, s := range r.Sessions {
		g := given(sessionID(s, in.Zone)+"/mean", s.Adjusted, r.Unit)
		switch s.Setup {
		case r.Before:
			before = append(before, g)
		case r.After:
			after = append(after, g)
		}
	}
	x.add("before", r.MeanKind+" of the "+r.UnitOfReplication+"s before", r.Unit, r.GMBefore, meanFormula(r.MeanKind), r.Method, before...)
	x.add("after", r.MeanKind+" of the "+r.UnitOfReplication+"s after", r.Unit, r.GMAfter, meanFormula(r.MeanKind), r.Method, after...)
	gms := []exposure.Given{given("compare/before", r.GMBefore, r.Unit), given("compare/after", r.GMAfter, r.Unit)}
	x.add("ratio", "ratio after/before", "", r.Ratio, "mean after over mean before, on the same task mix; "+r.PrimaryWhy.String(), r.Method, gms...)
	u := r.Uncertainty
	spread := []exposure.Given{given("compare/ratio", r.Ratio, ""), given("standard uncertainty of ln ratio from the "+r.UnitOfReplication+"s", u.Sessions, ""),
		given("from the background", &u.Background, ""), given("from the sensor's drift", &u.Drift, ""), given("together", u.Total, ""), given("degrees of freedom", u.DF, ""), given("confidence", &r.Confidence, "")}
	x.add("ci_low", "lower end of the interval of the ratio", "", r.CILow, "ratio · exp(−t · u), u all standard uncertainties of ln ratio together", r.Method, spread...)
	x.add("ci_high", "upper end of the interval of the ratio", "", r.CIHigh, "ratio · exp(+t · u)", r.Method, spread...)
	x.add("p", "p of no change, by the interval's method", "", r.PValue, "two-sided, Student's t of ln ratio over its standard uncertainty", r.Method, spread...)
	n := []exposure.Given{given(r.UnitOfReplication+"s before", whole(r.NBefore), ""), given(r.UnitOfReplication+"s after", whole(r.NAfter), "")}
	x.add("p_relabelled", "p of no change, by relabelling", "", r.PermutationP, "share of all relabellings of the "+r.UnitOfReplication+"s whose difference is at least as large", r.Method, n...)
	x.add("background", "standard uncertainty of the background that is taken off", r.Unit, r.Background.Uncertainty, "Cbg = a + b · background sensor, fitted to idle time", r.Background.Kind,
		given("a", r.Background.Intercept, r.Unit), given("b", r.Background.Slope, ""), given("idle time", &r.Background.IdleMinutes, "min"), given("independent means of idle time", whole(r.Background.Independent), ""))
	if r.Fine != nil {
		x.effect("fine", r.Fine.Fine, r.Method)
		x.effect("coarse", r.Fine.Coarse, r.Method)
		x.add("fine_over_coarse", "fine ratio over coarse ratio", "", r.Fine.Contrast, "ratio of fine dust / ratio of coarser dust; 1 means that both fell alike", r.Method,
			given("compare/fine/ratio", r.Fine.Fine.Ratio, ""), given("compare/coarse/ratio", r.Fine.Coarse.Ratio, ""))
	}
	for _, e := range r.Bins {
		x.effect("size/"+e.Metric, e, r.Method)
	}
	x.effect("raw", r.Raw, r.Method)
	if r.Net != nil {
		x.effect("net", *r.Net, r.Method)
	}
	if r.WithSpikes != nil {
		x.effect("with_spikes", *r.WithSpikes, r.Method)
	}
	for _, o := range r.Outcomes {
		x.effect("outcome/"+o.Metric, o.Effect, o.Method)
	}
	for _, a := range r.Alternatives {
		x.add("other/"+a.Key+"/ratio", "ratio after/before: "+a.Label.String(), "", a.Ratio, a.Label.String(), "package compare/alternatives; shown, never deciding",
			given("interval, lower end", a.CILow, ""), given("interval, upper end", a.CIHigh, ""), given("p", a.PValue, ""))
	}
	for _, s := range r.Sessions {
		one := explainer{row: sessionID(s, in.Zone), base: exposure.Explanation{Sensor: s.Sensor, Metric: r.Metric, From: s.Start, To: s.End}}
		one.add("mean", "mean of the "+r.UnitOfReplication+", adjusted for its tasks: "+strings.Join(s.Tasks, ", "), r.Unit, s.Adjusted,
			"least squares ln(run) = "+r.UnitOfReplication+" + task over all runs; the "+r.UnitOfReplication+"'s part at the common task mix", r.Method,
			given("runs", whole(s.Runs), ""), given("measured", &s.Minutes, "min"))
		x.out = append(x.out, one.out...)
	}
	return x.out
}

func meanFormula(kind string) string {
	if kind == compare.GeometricMean {
		return "exp(mean of ln of the values)"
	}
	return "sum of the values over their number"
}

func (x *explainer) effect(key string, e compare.Effect, method words.Text) {
	if method.IsZero() {
		method = words.Literal("as compare/ratio")
	}
	inputs := []exposure.Given{given("before", e.Before, e.Unit), given("after", e.After, e.Unit), given("interval, lower end", e.CILow, ""), given("interval, upper end", e.CIHigh, "")}
	formula := "mean after over mean before, of the same runs as compare/ratio"
	if !e.Note.IsZero() {
		formula += "; " + e.Note.String()
	}
	x.add(key+"/ratio", "ratio after/before, "+e.Label.String(), "", e.Ratio, formula, method, inputs...)
	x.add(key+"/before", "level before, "+e.Label.String(), e.Unit, e.Before, meanFormula(e.MeanKind), method)
	x.add(key+"/after", "level after, "+e.Label.String(), e.Unit, e.After, meanFormula(e.MeanKind), method)
}

func sessionID(s compare.Session, zone *time.Location) string {
	return "session/" + s.Start.In(zone).Format("2006-01-02T15:04")
}

func explainClearance(in Input, r clearance.Result) []exposure.Explanation {
	var out []exposure.Explanation
	falls := map[string][]exposure.Given{}
	for _, d := range r.Decays {
		x := explainer{row: decayID(r.Sensor, d.From, in.Zone), base: exposure.Explanation{Sensor: r.Sensor, Metric: r.Metric, From: d.From, To: d.To}}
		inputs := []exposure.Given{given("means over 20 s", whole(d.Means), ""), given("worth so many independent ones", d.EffectiveMeans, ""), given("weighed down as puffs", whole(d.WeighedDown), "")}
		x.add("rate", "rate of one fall", "1/h", d.PerHour, "λ of C(t) = Cbg + (C0 − Cbg)·exp(−λt)", r.Method, append(inputs, given("interval, lower end", d.Low, "1/h"), given("interval, upper end", d.High, "1/h"))...)
		x.add("c0", "level at the start of the fall", r.Unit, d.C0, "C0 of the fit", r.Method, inputs...)
		x.add("background", "level it goes to", r.Unit, d.Background, "Cbg: "+orNotDeclared(d.BackgroundFrom.String()), r.Method, inputs...)
		x.add("half_life", "time in which half of it is gone", "min", d.HalfLifeMinutes, "60 · ln 2 / λ", r.Method, given(x.row+"/rate", d.PerHour, "1/h"))
		out = append(out, x.out...)
		if d.Pooled {
			falls[d.Setup] = append(falls[d.Setup], given(x.row+"/rate", d.PerHour, "1/h"))
		}
	}
	for _, s := range r.Setups {
		x := explainer{row: clearanceID(r.Sensor, s.Setup), base: exposure.Explanation{Sensor: r.Sensor, Metric: r.Metric, From: in.From, To: in.To}}
		own := falls[s.Setup]
		x.add("runs", "falls that count", "", whole(s.Runs), "falls after a task whose rate can be told", r.Method, own...)
		x.add("rate", "clearance rate", "1/h", s.PerHour, "exp(mean of ln λ of the falls)", r.Method, own...)
		x.add("next_low", "rate of the next fall, at least", "1/h", s.NextLow, "one-sided 95 % prediction limit of ln λ, Student's t, the fall being the unit", r.Method, own...)
		x.add("half_life", "time in which half of it is gone", "min", s.HalfLifeMinutes, "60 · ln 2 / λ", r.Method, given(x.row+"/rate", s.PerHour, "1/h"))
		x.add("background", "level without work", r.Unit, s.Background, "of the falls that count", r.Method)
		out = append(out, x.out...)
	}
	return out
}

func explainWaits(in Input) []exposure.Explanation {
	if in.Respirator == nil {
		return nil
	}
	var out []exposure.Explanation
	for _, c := range in.Respirator.Clearing {
		x := explainer{row: "wait/" + c.Sensor + "/" + orNotDeclared(c.Setup), base: exposure.Explanation{Sensor: c.Sensor, Metric: in.Exposure.Metric, From: in.From, To: in.To}}
		method := in.Respirator.Method
		inputs := []exposure.Given{given("dustiest end of work", c.Dustiest, "µg/m³"), given("back at or below", c.Back, "µg/m³"), given("level without work", c.Background, "µg/m³")}
		rate, low := given(clearanceID(c.Sensor, c.Setup)+"/rate", c.PerHour, "1/h"), given(clearanceID(c.Sensor, c.Setup)+"/next_low", c.LowPerHour, "1/h")
		x.add("dustiest", "dustiest end of work", "µg/m³", c.Dustiest, "highest level at the start of a fall that counts", method)
		x.add("back", "level that counts as back", "µg/m³", c.Back, "at most twice the level without work, or 5 µg/m³ above it", method, given("level without work", c.Background, "µg/m³"))
		x.add("minutes", "minutes until the air is back", "min", c.Minutes, "60 · ln[(dustiest − level without work) / (back − level without work)] / rate", method, append(inputs[:3:3], rate)...)
		x.add("minutes_upper", "minutes until the air is back, at most", "min", c.MinutesUpper, "the same with the lowest rate of the next fall and the highest level without work", method, append(inputs[:3:3], low)...)
		out = append(out, x.out...)
	}
	return out
}

func explainRespirator(in Input) []exposure.Explanation {
	var out []exposure.Explanation
	method := in.Exposure.Method.String()
	if in.Respirator != nil {
		method = in.Respirator.Method.String()
	}
	for _, m := range tasksOf(in) {
		var runs []exposure.Given
		sensor := ""
		for _, t := range in.Exposure.Tasks {
			if m.Is(t.Task, t.Material) && t.Setup == m.Setup && t.MeanMgM3 != nil && breathed(t) {
				runs, sensor = append(runs, given("run of "+t.Start.In(in.Zone).Format("2006-01-02 15:04"), t.MeanMgM3, "mg/m³")), t.Sensor
			}
		}
		x := explainer{row: maskID(m), base: exposure.Explanation{Sensor: sensor, Metric: in.Exposure.Metric, From: in.From, To: in.To}}
		limit := given("limit "+m.LimitID, &m.LimitMgM3, "mg/m³")
		x.add("runs", "runs seen", "", whole(m.Runs), "runs in the breathing zone under the newest setup of the task", method, runs...)
		x.add("days", "days with a run at least 75 % measured", "", whole(m.Days), "days", method)
		x.add("highest_run", "highest mean over a run", "mg/m³", m.HighestMeanMgM3, "highest of ΣC·Δt / ΣΔt over each run", method, runs...)
		highest := given(x.row+"/highest_run", m.HighestMeanMgM3, "mg/m³")
		x.add("ratio_at_least", "hazard ratio, at least", "", m.HazardRatioAtLeast, "highest run mean, with the least that a factor leaves, over the limit that decides", method, highest, limit)
		if d := m.Deciding(); d != nil {
			x.add("upper", "level that 95 % of days stay below with 95 % confidence", "mg/m³", d.UpperMgM3, "e^(ȳ + K·s) of the days' highest runs, with the most that the factor leaves", "Odeh and Owen 1980", runs...)
			x.add("ratio_to_cover", "hazard ratio that a respirator has to cover", "", d.HazardRatioToCover, "upper level over the limit, or the highest run's ratio where there is no upper level", "NIOSH Respirator Selection Logic 2004; BS EN 529", given(x.row+"/upper", d.UpperMgM3, "mg/m³"), highest, limit)
		}
		out = append(out, x.out...)
	}
	return out
}
