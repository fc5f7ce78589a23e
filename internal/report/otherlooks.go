package report

import (
	"fmt"
	"strings"

	"dustlog/internal/compare"
)

// otherLooks is what speaks beside the comparison's one answer, for and against it:
// the same runs by other methods, further outcomes, conditions, confounders.
func otherLooks(r *compare.Result) part {
	p := part{ID: "other-looks", Title: "The comparison, looked at in other ways"}
	if r == nil {
		return p
	}
	p.Intro = []string{"The answer above rests on one method, chosen before the data were seen. What follows does not decide; it shows how much hangs on the choice."}
	interval := func(low, high *float64) string { return num("%.2f", low) + " to " + num("%.2f", high) }
	looks := grid{Caption: "The same runs by other methods", Columns: []gridColumn{texts("method", 4), numbers("ratio", "ratio", 0.8), {Head: "95 % interval", Width: 1.4, Right: true}, {Head: "p", Width: 0.7, Right: true}, texts("do not lean on it because", 4)}}
	add := func(id, label string, ratio, low, high, pv *float64, note string) {
		looks.Rows = append(looks.Rows, gridRow{id, []string{label, num("%.2f", ratio), interval(low, high), pText(pv), note}})
	}
	add("compare/raw", "as measured, background left in", r.Raw.Ratio, r.Raw.CILow, r.Raw.CIHigh, r.Raw.PValue, r.Raw.Note)
	if r.Net != nil {
		add("compare/net", "above the background", r.Net.Ratio, r.Net.CILow, r.Net.CIHigh, r.Net.PValue, r.Net.Note)
	}
	if r.WithSpikes != nil {
		add("compare/with_spikes", "with the single readings that were left out as spikes", r.WithSpikes.Ratio, r.WithSpikes.CILow, r.WithSpikes.CIHigh, r.WithSpikes.PValue, r.WithSpikes.Note)
	}
	for _, a := range r.Alternatives {
		add("compare/other/"+a.Key, a.Label, a.Ratio, a.CILow, a.CIHigh, a.PValue, a.Warning)
	}
	p.Tables = append(p.Tables, looks, outcomes(*r), conditions(*r))
	for _, c := range r.Confounders {
		p.Notes = append(p.Notes, fmt.Sprintf("May account for a difference: %s: %s.", c.What, strings.TrimSuffix(c.Why, ".")))
	}
	p.Gloss = "p after Holm: adjusted for looking at several outcomes and sizes at once."
	return p
}

func outcomes(r compare.Result) grid {
	g := grid{Caption: "Further outcomes, all secondary", Columns: []gridColumn{texts("outcome", 2.5), texts("unit", 1), numbers(r.Before, "before", 1), numbers(r.After, "after", 1), numbers("ratio", "ratio", 0.8),
		{Head: "95 % interval", Width: 1.4, Right: true}, {Head: "p after Holm", Width: 0.8, Right: true}, texts("remark", 3)}}
	for _, o := range r.Outcomes {
		note := o.Note
		if o.Difference != nil {
			note = strings.Join(filled(fmt.Sprintf("difference %.3g (%s to %s)", *o.Difference, sig(o.DifferenceLow), sig(o.DifferenceHigh)), note), "; ")
		}
		g.Rows = append(g.Rows, gridRow{"compare/outcome/" + o.Metric, []string{o.Label, o.Unit, sig(o.Before), sig(o.After), num("%.2f", o.Ratio), num("%.2f", o.CILow) + " to " + num("%.2f", o.CIHigh), pText(o.PAdjusted), note}})
	}
	return g
}

// conditions are what was alike and what was not.
func conditions(r compare.Result) grid {
	g := grid{Caption: "What it was like under each setup", Columns: []gridColumn{texts("setup", 1.6), {Head: r.UnitOfReplication + "s", Width: 0.8, Right: true}, {Head: "minutes of work each", Width: 1, Right: true}, texts("woods, minutes", 2),
		{Head: "humidity %", Width: 0.9, Right: true}, {Head: "temperature °C", Width: 1, Right: true}, {Head: "background " + r.Unit, Width: 1.1, Right: true}, texts("remarks in the diary", 2.5)}}
	for _, c := range r.Conditions {
		var woods, notes []string
		for _, name := range sortedKeys(c.MaterialMinutes) {
			label := name
			if label == "" {
				label = "not named"
			}
			woods = append(woods, fmt.Sprintf("%s %.0f", label, c.MaterialMinutes[name]))
		}
		for _, n := range c.Notes {
			notes = append(notes, n.Text)
		}
		g.Rows = append(g.Rows, gridRow{"", []string{c.Setup, fmt.Sprint(c.Sessions), num("%.0f", c.MinutesPerSession), strings.Join(woods, ", "), num("%.0f", c.Humidity), num("%.0f", c.Temperature), num("%.1f", c.Background), strings.Join(notes, "; ")}})
	}
	return g
}
