package cli

import (
	"fmt"
	"strings"
	"time"

	"dustlog/internal/airflow"
	"dustlog/internal/compare"
	"dustlog/internal/words"
)

const airflowWidth = 98

func printAirflow(a *app, r airflow.Result, zone *time.Location) {
	say := func(text string) { fmt.Fprintln(a.Stdout, wrap(text, airflowWidth, "  ")) }
	for _, stop := range r.Stops {
		say(fmt.Sprint("STOP: ", stop))
	}
	printRanked(a, r)
	for _, s := range r.Setups {
		printSetupAirflow(a, s, zone)
	}
	if len(r.Setups) == 0 {
		say("No setup, no record of a collector and no reading off it: see `dustlog airflow --help`.")
	}
	fmt.Fprintf(a.Stdout, "Fine dust against flow: %s\n", r.Dust.Answer)
	if r.Dust.Percent != nil {
		say(fmt.Sprintf("%+.0f %% for each %s more, 95 %% interval %+.0f to %+.0f %%", *r.Dust.Percent, r.Dust.Step, *r.Dust.Low, *r.Dust.High))
	}
	say(r.Dust.Why.String())
	fmt.Fprintln(a.Stdout)
	for _, l := range r.LeftOut {
		say(fmt.Sprintf("Left out: %s %s: %s", l.At.In(zone).Format("2006-01-02 15:04"), l.What, l.Why))
	}
	for _, w := range r.Warnings {
		say(fmt.Sprint("Note: ", w))
	}
	for _, c := range r.Cautions {
		say(fmt.Sprint("Caution: ", c))
	}
	say(fmt.Sprint("Method: ", r.Method))
	fmt.Fprintln(a.Stdout)
	fmt.Fprintln(a.Stdout, cautionShort)
}

func printRanked(a *app, r airflow.Result) {
	if len(r.Ranked) == 0 {
		return
	}
	fmt.Fprintf(a.Stdout, "What would help most, under %s:\n", orNone(r.RankedIn))
	for i, x := range r.Ranked {
		gain := ""
		if x.Gain != nil {
			gain = fmt.Sprintf(" (%s)", x.GainText())
		}
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("%d. %s%s. Why: %s. How sure: %s.", i+1, x.What, gain, x.Why, x.HowSure), airflowWidth, "  "))
	}
	fmt.Fprintln(a.Stdout)
}

func printSetupAirflow(a *app, s airflow.SetupAirflow, zone *time.Location) {
	say := func(text string) { fmt.Fprintln(a.Stdout, wrap(text, airflowWidth, "  ")) }
	fmt.Fprintf(a.Stdout, "%s, %d reading(s)\n", orNone(s.Setup), s.Readings)
	t := newTable(a.Stdout, "  WHAT", "SI", "US", "")
	row := func(what, si, us, note string) { t.row("  "+what, si, us, note) }
	if f := s.Flow; f != nil {
		interval := "by " + string(f.From)
		if f.Low != nil && f.High != nil {
			interval = fmt.Sprintf("%s to %s by the spread of the points", f.Low.SI(), f.High.SI())
		}
		row("flow, "+ductName(f.Duct), f.Flow.SI(), f.Flow.US(), f.At.In(zone).Format("2006-01-02 15:04")+", "+interval)
	}
	for _, c := range s.Transport {
		row("velocity, "+ductName(c.Duct), c.Velocity.SI(), c.Velocity.US(), c.Answer)
	}
	if p := s.Static; p != nil {
		row("static pressure", p.Pressure.SI(), p.Pressure.US(), p.At.In(zone).Format("2006-01-02 15:04"))
	}
	if p := s.Filter.Latest; p != nil {
		note := s.Filter.Answer
		if s.Filter.Reference != nil {
			note += ", brought to " + s.Filter.Reference.SI()
		}
		row("filter's drop", p.SI(), p.US(), note)
	}
	if c := s.Capture; c != nil && c.Velocity != nil {
		row("in front of the hood", c.Velocity.SI(), c.Velocity.US(), fmt.Sprintf("at %s", c.Distance))
	}
	for _, m := range s.Motors {
		row("motor's current", m.Current.String(), "", m.At.In(zone).Format("2006-01-02 15:04"))
	}
	if c := s.Changes; c != nil {
		row("air changes", fmt.Sprintf("%.1f 1/h", c.PerHour), "", "")
	}
	if s.FilterFlow != nil {
		row("through the filter", fmt.Sprintf("%.0f m³/(m²·h)", *s.FilterFlow), "", "")
	}
	row("density of the air", s.Density.SI(), s.Density.US(), s.DensityFrom.String())
	t.flush()
	if s.Flow != nil && s.Flow.Traverse != nil && !s.Flow.Traverse.Note.IsZero() {
		say(fmt.Sprint("Traverse: ", s.Flow.Traverse.Note, "."))
	}
	for _, c := range s.Transport {
		say(fmt.Sprintf("Duct %s: %s. It takes %s for 4000 fpm.", ductName(c.Duct), c.Why, c.Needed))
	}
	printFilterLoading(a, s.Filter, zone)
	for _, m := range s.Motors {
		say(fmt.Sprint("Motor: ", m.Answer, "."))
	}
	if s.Capture != nil {
		say(fmt.Sprint("Hood: ", s.Capture.Answer, "."))
	}
	if s.Changes != nil {
		say(fmt.Sprint("Air changes: ", s.Changes.Answer, "."))
	}
	printSystem(a, s)
	for _, h := range s.Hints {
		say(fmt.Sprintf("Hint (%s): %s.", h.Source, h.Text))
	}
	if len(s.Missing) > 0 {
		say("Not in the record: " + strings.Join(words.Strings(s.Missing), "; ") + ".")
	}
	fmt.Fprintln(a.Stdout)
}

func ductName(name string) string {
	if name == "" {
		return "main"
	}
	return name
}

func printFilterLoading(a *app, l airflow.Loading, zone *time.Location) {
	text := fmt.Sprintf("Filter: %s: %s.", l.Answer, l.Why)
	if !l.ReachedAt.IsZero() {
		day := func(t time.Time) string { return t.In(zone).Format(time.DateOnly) }
		text += fmt.Sprintf(" It reaches %s about %s, %s to %s (95 %%), if the work goes on alike.", *l.Limit, day(l.ReachedAt), day(l.Earliest), day(l.LatestAt))
	}
	fmt.Fprintln(a.Stdout, wrap(text, airflowWidth, "  "))
}

func printSystem(a *app, s airflow.SetupAirflow) {
	if y := s.System; y != nil {
		text := fmt.Sprintf("System: ΔP = %.0f Pa/(m³/s)² · Q², from %d point(s)", y.K, len(y.Points))
		if y.Low != nil {
			text += fmt.Sprintf(", k %.0f to %.0f (95 %%)", *y.Low, *y.High)
		}
		if !y.Note.IsZero() {
			text += "; " + y.Note.String()
		}
		fmt.Fprintln(a.Stdout, wrap(text+".", airflowWidth, "  "))
	}
	if f := s.Fan; f != nil {
		text := "Blower: " + f.Answer.String()
		if f.Operating != nil {
			text += fmt.Sprintf("; by the curve the system would let %s through at %s", f.Operating.Flow, f.Operating.Static)
		}
		fmt.Fprintln(a.Stdout, wrap(text+".", airflowWidth, "  "))
	}
}

// printCollectorStates puts what was read off the collector beside a comparison.
func printCollectorStates(t *table, old, new *compare.CollectorState) {
	if old == nil && new == nil {
		return
	}
	cell := func(s *compare.CollectorState, what func(compare.CollectorState) fmt.Stringer) string {
		if s == nil {
			return "–"
		}
		if x := what(*s); x != nil {
			return x.String()
		}
		return "–"
	}
	row := func(name string, what func(compare.CollectorState) fmt.Stringer) {
		o, n := cell(old, what), cell(new, what)
		if o != "–" || n != "–" {
			t.row("  "+name, o, n)
		}
	}
	row("airflow, last measured", func(s compare.CollectorState) fmt.Stringer { return orNil(s.Flow) })
	row("static pressure, last", func(s compare.CollectorState) fmt.Stringer { return orNil(s.Static) })
	row("filter's pressure drop, last", func(s compare.CollectorState) fmt.Stringer { return orNil(s.FilterDrop) })
	row("motor's current, last", func(s compare.CollectorState) fmt.Stringer { return orNil(s.Current) })
}

// orNil keeps a missing value from being an interface that is not nil.
func orNil[T fmt.Stringer](x *T) fmt.Stringer {
	if x == nil {
		return nil
	}
	return *x
}
