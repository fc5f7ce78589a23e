package cli

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"dustlog/internal/compare"
	"dustlog/internal/words"
)

func printCompare(a *app, r compare.Result) {
	if len(r.Setups) > 0 {
		printSeveral(a, r)
		return
	}
	fmt.Fprintf(a.Stdout, "%s, %s → %s: %s\n\n", metricLabel(r.Metric), r.Before, r.After, r.Verdict)
	fmt.Fprintln(a.Stdout, wrap(r.Why.String(), 98, "  "))
	if !r.Caution.IsZero() {
		fmt.Fprintln(a.Stdout, wrap("But: "+r.Caution.String(), 98, "  "))
	}
	fmt.Fprintln(a.Stdout)
	t := newTable(a.Stdout, "  "+r.UnitOfReplication+"s", fmt.Sprintf("%s: %d", r.Before, r.NBefore), fmt.Sprintf("%s: %d", r.After, r.NAfter))
	t.row("  "+r.MeanKind+", "+r.Unit, significant(r.GMBefore), significant(r.GMAfter))
	t.row("  ratio after/before", number(r.Ratio, "%.2f"), intervalAt(r.Confidence, r.CILow, r.CIHigh))
	t.row("  change", minus(number(r.ChangePercent, "%+.0f %%")), fmt.Sprintf("smallest that matters: %.0f %%", r.SmallestChange))
	t.row("  p", pValue(r.PValue), "by relabelling sessions: "+pValue(r.PermutationP))
	t.row("  design grade", r.Design, r.DesignWhy)
	t.flush()
	fmt.Fprintln(a.Stdout)
	printBasis(a, r)
	printConditions(a, r)
	printOutcomes(a, r)
	printAlternatives(a, r)
	if r.Fine != nil {
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Fine or only chips? %s. %s", r.Fine.Answer, r.Fine.Why), 98, "  "))
		fmt.Fprintln(a.Stdout)
	}
	for _, e := range r.Excluded {
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Left out: %s %s: %s", e.What, e.Name, e.Why), 98, "  "))
	}
	for _, warning := range words.Strings(r.Warnings) {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
	}
	fmt.Fprintln(a.Stdout, wrap("Method: "+r.Method.String(), 98, "  "))
}

func intervalAt(confidence float64, low, high *float64) string {
	return fmt.Sprintf("%.4g %% interval %s to %s", confidence*100, number(low, "%.2f"), number(high, "%.2f"))
}

// printBasis shows the comparison with and without the background side by side.
func printBasis(a *app, r compare.Result) {
	t := newTable(a.Stdout, "  basis", "ratio", "", "")
	row := func(name string, e *compare.Effect) {
		if e == nil {
			return
		}
		if name == r.Primary {
			name += " (decides)"
		}
		t.row("  "+name, number(e.Ratio, "%.2f"), intervalAt(r.Confidence, e.CILow, e.CIHigh), e.Note)
	}
	row(compare.RawBasis, &r.Raw)
	row(compare.NetBasis, r.Net)
	t.flush()
	fmt.Fprintln(a.Stdout, wrap(r.PrimaryWhy.String(), 98, "  ")+"\n")
}

// printOutcomes lists the secondary quantities.
func printOutcomes(a *app, r compare.Result) {
	if len(r.Outcomes) == 0 {
		return
	}
	t := newTable(a.Stdout, "  also, none of it decides", "before", "after", "ratio or difference", "p (Holm)", "")
	for _, o := range r.Outcomes {
		value := number(o.Ratio, "%.2f") + limits(o.CILow, o.CIHigh, "%.2f")
		if o.Difference != nil {
			value = number(o.Difference, "%+.0f") + limits(o.DifferenceLow, o.DifferenceHigh, "%+.0f") + " points"
		}
		t.row(fmt.Sprintf("  %s, %s", o.Label, o.Unit), significant(o.Before), significant(o.After), value, pValue(o.PAdjusted), o.Note)
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
}

func limits(low, high *float64, format string) string {
	if low == nil || high == nil {
		return ""
	}
	return fmt.Sprintf(" ("+format+" to "+format+")", *low, *high)
}

// printSeveral shows each setup against the first.
func printSeveral(a *app, r compare.Result) {
	fmt.Fprintf(a.Stdout, "%s, %d setups, each against “%s”\n\n", metricLabel(r.Metric), len(r.Setups), r.Before)
	t := newTable(a.Stdout, "  setup", "n", "ratio", "", "p (Holm)", "grade", "verdict")
	for _, x := range r.Setups {
		t.row("  "+x.After, fmt.Sprintf("%d and %d", x.NBefore, x.NAfter), number(x.Ratio, "%.2f"),
			intervalAt(x.Confidence, x.CILow, x.CIHigh), number(x.PHolm, "%.2g"), x.Design, x.Verdict)
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
	var said []string
	for _, x := range r.Setups {
		fmt.Fprintln(a.Stdout, wrap(x.After+": "+x.Why.String(), 98, "  "))
		if !x.Caution.IsZero() {
			fmt.Fprintln(a.Stdout, wrap("But: "+x.Caution.String(), 98, "  "))
		}
		for _, warning := range words.Strings(x.Warnings) {
			if !slices.Contains(said, warning) {
				said = append(said, warning)
			}
		}
		fmt.Fprintln(a.Stdout)
	}
	for _, warning := range said {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
	}
	fmt.Fprintln(a.Stdout, wrap("Details of one pair: dustlog compare --before … --after …", 98, "  "))
}

// printConditions shows side by side what else was or was not alike.
func printConditions(a *app, r compare.Result) {
	if len(r.Conditions) != 2 {
		return
	}
	old, new := r.Conditions[0], r.Conditions[1]
	t := newTable(a.Stdout, "  what else was so", old.Setup, new.Setup)
	t.row("  minutes of work a session", number(old.MinutesPerSession, "%.0f"), number(new.MinutesPerSession, "%.0f"))
	t.row("  tasks, min", minutesBy(old.TaskMinutes), minutesBy(new.TaskMinutes))
	t.row("  materials, min", minutesBy(old.MaterialMinutes), minutesBy(new.MaterialMinutes))
	if old.Humidity != nil || new.Humidity != nil {
		t.row("  relative humidity, %", number(old.Humidity, "%.0f"), number(new.Humidity, "%.0f"))
	}
	if old.Background != nil || new.Background != nil {
		t.row("  at the background sensor, "+r.Unit, significant(old.Background), significant(new.Background))
	}
	printCollectorStates(t, old.Collector, new.Collector)
	if len(old.Notes)+len(new.Notes) > 0 {
		t.row("  remarks", len(old.Notes), len(new.Notes))
	}
	t.flush()
	for _, c := range r.Conditions {
		for _, n := range c.Notes {
			fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Remark, %s, %s: %s", c.Setup, n.At.Format("2006-01-02 15:04"), n.Text), 98, "  "))
		}
	}
	fmt.Fprintln(a.Stdout)
}

// minutesBy lists minutes by name, the most first.
func minutesBy(minutes map[string]float64) string {
	names := slices.SortedFunc(maps.Keys(minutes), func(x, y string) int {
		return cmp.Or(cmp.Compare(minutes[y], minutes[x]), cmp.Compare(x, y))
	})
	var parts []string
	for _, name := range names {
		called := name
		if called == "" {
			called = "not named"
		}
		parts = append(parts, fmt.Sprintf("%s %.0f", called, minutes[name]))
	}
	return strings.Join(parts, ", ")
}

// printAlternatives shows what other methods make of the same runs.
func printAlternatives(a *app, r compare.Result) {
	if len(r.Alternatives) == 0 {
		return
	}
	t := newTable(a.Stdout, "  by other methods, none decides", "ratio", "p")
	for _, x := range r.Alternatives {
		t.row("  "+x.Label.String(), number(x.Ratio, "%.2f")+limits(x.CILow, x.CIHigh, "%.2f"), pValue(x.PValue))
	}
	t.flush()
	for _, x := range r.Alternatives {
		if !x.Warning.IsZero() {
			fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("%s: %s", x.Label, x.Warning), 98, "  "))
		}
	}
	fmt.Fprintln(a.Stdout)
}
