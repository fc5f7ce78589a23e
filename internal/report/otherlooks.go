package report

import (
	"fmt"
	"strings"

	"dustlog/internal/compare"
	"dustlog/internal/words"
)

// otherLooks is what speaks beside the comparison's one answer, for and against it:
// the same runs by other methods, further outcomes, conditions, confounders.
func otherLooks(r *compare.Result) part {
	p := part{ID: "other-looks", Title: words.Of("The comparison, looked at in other ways")}
	if r == nil {
		return p
	}
	p.Intro = []words.Text{words.Of("The answer above rests on one method, chosen before the data were seen. What follows does not decide; it shows how much hangs on the choice.")}
	between := func(low, high *float64) words.Text { return interval(num("%.2f", low), num("%.2f", high)) }
	looks := grid{Caption: words.Of("The same runs by other methods"), Columns: []gridColumn{texts(words.Of("method"), 4), numbers(words.Of("ratio"), "ratio", 0.8), {Head: words.Of("95 %% interval"), Width: 1.4, Right: true}, {Head: words.Of("p"), Width: 0.7, Right: true}, texts(words.Of("do not lean on it because"), 4)}}
	add := func(id string, label any, ratio, low, high, pv *float64, note any) {
		looks.Rows = append(looks.Rows, gridRow{id, []any{label, num("%.2f", ratio), between(low, high), pText(pv), note}})
	}
	add("compare/raw", words.Of("as measured, background left in"), r.Raw.Ratio, r.Raw.CILow, r.Raw.CIHigh, r.Raw.PValue, r.Raw.Note)
	if r.Net != nil {
		add("compare/net", words.Of("above the background"), r.Net.Ratio, r.Net.CILow, r.Net.CIHigh, r.Net.PValue, r.Net.Note)
	}
	if r.WithSpikes != nil {
		add("compare/with_spikes", words.Of("with the single readings that were left out as spikes"), r.WithSpikes.Ratio, r.WithSpikes.CILow, r.WithSpikes.CIHigh, r.WithSpikes.PValue, r.WithSpikes.Note)
	}
	for _, a := range r.Alternatives {
		add("compare/other/"+a.Key, a.Label, a.Ratio, a.CILow, a.CIHigh, a.PValue, a.Warning)
	}
	p.Tables = append(p.Tables, looks, outcomes(*r), conditions(*r))
	for _, c := range r.Confounders {
		p.Notes = append(p.Notes, words.Of("May account for a difference: %s: %s.", c.What, c.Why))
	}
	p.Gloss = words.Of("p after Holm: adjusted for looking at several outcomes and sizes at once.")
	return p
}

func outcomes(r compare.Result) grid {
	g := grid{Caption: words.Of("Further outcomes, all secondary"), Columns: []gridColumn{texts(words.Of("outcome"), 2.5), texts(words.Of("unit"), 1), numbers(words.Literal(r.Before), "before", 1), numbers(words.Literal(r.After), "after", 1), numbers(words.Of("ratio"), "ratio", 0.8),
		{Head: words.Of("95 %% interval"), Width: 1.4, Right: true}, {Head: words.Of("p after Holm"), Width: 0.8, Right: true}, texts(words.Of("remark"), 3)}}
	for _, o := range r.Outcomes {
		note := o.Note
		if o.Difference != nil {
			difference := words.Of("difference %.3g (%s to %s)", *o.Difference, sig(o.DifferenceLow), sig(o.DifferenceHigh))
			if note.IsZero() {
				note = difference
			} else {
				note = words.Join("; ", difference, note)
			}
		}
		g.Rows = append(g.Rows, gridRow{"compare/outcome/" + o.Metric, []any{o.Label, o.Unit, sig(o.Before), sig(o.After), num("%.2f", o.Ratio), interval(num("%.2f", o.CILow), num("%.2f", o.CIHigh)), pText(o.PAdjusted), note}})
	}
	return g
}

// conditions are what was alike and what was not.
func conditions(r compare.Result) grid {
	g := grid{Caption: words.Of("What it was like under each setup"), Columns: []gridColumn{texts(words.Of("setup"), 1.6), {Head: r.UnitsText(), Width: 0.8, Right: true}, {Head: words.Of("minutes of work each"), Width: 1, Right: true}, texts(words.Of("woods, minutes"), 2),
		{Head: words.Of("humidity %%"), Width: 0.9, Right: true}, {Head: words.Of("temperature °C (°F)"), Width: 1, Right: true}, {Head: words.Of("background %s", r.Unit), Width: 1.1, Right: true}, texts(words.Of("remarks in the diary"), 2.5)}}
	for _, c := range r.Conditions {
		var woods []words.Text
		var notes []string
		for _, name := range sortedKeys(c.MaterialMinutes) {
			label := words.Literal(name)
			if name == "" {
				label = words.Of("not named")
			}
			woods = append(woods, words.Of("%s %.0f", label, c.MaterialMinutes[name]))
		}
		for _, n := range c.Notes {
			notes = append(notes, n.Text)
		}
		g.Rows = append(g.Rows, gridRow{"", []any{c.Setup, fmt.Sprint(c.Sessions), num("%.0f", c.MinutesPerSession), words.Join(", ", woods...), num("%.0f", c.Humidity), celsius(c.Temperature), num("%.1f", c.Background), strings.Join(notes, "; ")}})
	}
	return g
}

// celsius is a temperature in both systems.
func celsius(t *float64) words.Number {
	if t == nil {
		return num("", nil)
	}
	return words.Number(fmt.Sprintf("%.0f (%.0f)", *t, *t*9/5+32))
}
