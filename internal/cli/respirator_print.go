package cli

import (
	"fmt"
	"strings"
	"time"

	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/study"
)

func printRespirator(a *app, r study.RespiratorAnswer, zone *time.Location) {
	fmt.Fprintf(a.Stdout, "Respirator, %s, setup %s\n\n", r.Now.Time.In(zone).Format("2006-01-02 15:04"), orNone(r.Setup))
	fmt.Fprintln(a.Stdout, wrap("Now: "+r.Now.Line(zone), 98, "  "))
	fmt.Fprintln(a.Stdout)
	printTaskAnswers(a, r)
	if r.Asked != "" {
		printDetail(a, r)
	}
	printAfterWork(a, r)
	printOutlook(a, r)
	for _, warning := range r.Warnings {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning, 98, "  "))
	}
	for _, c := range r.Cautions {
		if r.Asked != "" || c.When != respirator.WithClasses {
			fmt.Fprintln(a.Stdout, wrap("· "+c.Text, 98, "  "))
		}
	}
	fmt.Fprintln(a.Stdout)
	fmt.Fprintln(a.Stdout, cautionShort)
}

func printTaskAnswers(a *app, r study.RespiratorAnswer) {
	if len(r.Tasks) == 0 {
		fmt.Fprintln(a.Stdout, wrap("By task: no task with readings from the breathing zone was recorded, so nothing can be said; that counts as keep it on.", 98, "  "))
		fmt.Fprintln(a.Stdout)
		return
	}
	fmt.Fprintln(a.Stdout, "By task, from its past runs in the breathing zone:")
	t := newTable(a.Stdout, "  TASK", "RUNS", "DAYS", "LIMIT", "HIGHEST RUN mg/m³", "UPPER LEVEL mg/m³", "TO COVER, × LIMIT", "ANSWER")
	for _, m := range r.Tasks {
		d := m.Deciding()
		if d == nil {
			d = &exposure.MaskLimit{LimitID: "–"}
		}
		t.row("  "+m.Label(), m.Runs, m.Days, d.LimitID, number(d.HighestMgM3, "%.3f"), number(d.UpperMgM3, "%.3g"), toCover(*d), m.State)
	}
	t.flush()
	fmt.Fprintln(a.Stdout, wrap("Upper level: with 95 % confidence 95 % of days stay below it. ≥: no factor for the limit's fraction, so it may be more. \"Cannot tell\" counts as keep it on.", 98, "  "))
	if r.Asked == "" {
		printShortReasons(a, r.Tasks)
		fmt.Fprintln(a.Stdout, wrap("Which respirators cover it, and what to know about them: dustlog respirator --task TASK", 98, "  "))
	}
	fmt.Fprintln(a.Stdout)
}

// printShortReasons gives each reason once, with the tasks it holds for.
func printShortReasons(a *app, tasks []study.RespiratorTask) {
	var order []string
	names := map[string][]string{}
	for _, t := range tasks {
		why, _, _ := strings.Cut(t.Why, ";")
		key := fmt.Sprintf("%s, since %s.", t.State, why)
		if names[key] == nil {
			order = append(order, key)
		}
		names[key] = append(names[key], t.Label())
	}
	for _, key := range order {
		fmt.Fprintln(a.Stdout, wrap(strings.Join(names[key], ", ")+": "+key, 98, "  "))
	}
}

// printDetail is everything about the task that was asked about.
func printDetail(a *app, r study.RespiratorAnswer) {
	classes := false
	for _, t := range r.Tasks {
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("%s, %s: %s", t.Label(), t.State, t.Why), 98, "  "))
		if len(t.Limits) > 1 {
			printMaskLimits(a, t)
		}
		printClasses(a, t)
		classes = classes || len(t.Classes) > 0
		fmt.Fprintln(a.Stdout)
	}
	if !classes {
		return
	}
	for _, s := range r.Stricter {
		fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("Stricter: %s (%s)", s.Text, s.Source), 98, "  "))
	}
	fmt.Fprintln(a.Stdout, wrap(r.Factors.Elsewhere, 98, "  "))
	fmt.Fprintln(a.Stdout)
}

func printMaskLimits(a *app, t study.RespiratorTask) {
	list := newTable(a.Stdout, "    LIMIT", "mg/m³", "OVER", "WOOD", "UPPER LEVEL mg/m³", "TO COVER, × LIMIT", "ANSWER")
	for _, l := range t.Limits {
		name := l.LimitID
		if l.Governs {
			name += " *"
		}
		list.row("    "+name, fmt.Sprintf("%g", l.LimitMgM3), l.Averaging, l.Bearing, number(l.UpperMgM3, "%.3g"), toCover(l), l.State)
	}
	list.flush()
	fmt.Fprintln(a.Stdout, wrap("* decides", 98, "    "))
}

func toCover(l exposure.MaskLimit) string {
	text := number(l.HazardRatioToCover, "%.2g")
	if l.HazardRatioToCover != nil && l.AtLeast {
		return "≥ " + text
	}
	return text
}

// printClasses says for each table which classes come first that cover the ratio,
// and which are too low.
func printClasses(a *app, t study.RespiratorTask) {
	for _, c := range t.Classes {
		text := c.Title + ": no class covers it"
		switch {
		case len(c.Covers) > 0:
			text = fmt.Sprintf("%s: covered from factor %s on", c.Title, classesAt(c.Covers))
		case len(c.NotRuledOut) > 0:
			text = fmt.Sprintf("%s: the reading rules out no class from factor %s on, and shows of none that it is enough", c.Title, classesAt(c.NotRuledOut))
		}
		if len(c.TooLow) > 0 {
			text += "; too low: " + classesAt(c.TooLow) + " and below"
		}
		fmt.Fprintln(a.Stdout, wrap(text, 98, "    "))
	}
}

// classesAt names the classes that share the first one's factor.
func classesAt(classes []respirator.Class) string {
	if len(classes) == 0 {
		return ""
	}
	var names []string
	for _, c := range classes {
		if c.APF == classes[0].APF {
			names = append(names, c.Label())
		}
	}
	return fmt.Sprintf("%g (%s)", classes[0].APF, strings.Join(names, "; "))
}

func printAfterWork(a *app, r study.RespiratorAnswer) {
	if len(r.Clearing) == 0 {
		fmt.Fprintln(a.Stdout, wrap("After work: no decay was measured, so it cannot be told for how long the air stays dusty. Let a sensor in the room run for an hour after work.", 98, "  "))
		fmt.Fprintln(a.Stdout)
		return
	}
	fmt.Fprintln(a.Stdout, "After work, from the dustiest end of work seen until fine dust is back near the level without work:")
	t := newTable(a.Stdout, "  SENSOR", "SETUP", "DECAYS", "RATE 1/h", "AT LEAST 1/h", "FROM µg/m³", "BACK AT µg/m³", "ABOUT min", "KEEP IT ON, AT MOST min")
	for _, c := range r.Clearing {
		setup := orNone(c.Setup)
		if c.InUse {
			setup += " *"
		}
		most := "cannot tell"
		if c.MinutesUpper != nil {
			most = fmt.Sprintf("%.0f", *c.MinutesUpper)
		}
		t.row("  "+c.Sensor, setup, c.Decays, number(c.PerHour, "%.2f"), number(c.LowPerHour, "%.2f"), number(c.Dustiest, "%.0f"), number(c.Back, "%.0f"), number(c.Minutes, "%.0f"), most)
	}
	t.flush()
	fmt.Fprintln(a.Stdout, wrap("* in use now. Sweeping, emptying and blowing down are work too.", 98, "  "))
	for _, c := range r.Clearing {
		if c.InUse && c.Why != "" {
			fmt.Fprintln(a.Stdout, wrap(fmt.Sprintf("%s: %s", c.Sensor, c.Why), 98, "  "))
		}
	}
	fmt.Fprintln(a.Stdout)
}

func printOutlook(a *app, r study.RespiratorAnswer) {
	for _, o := range r.Outlook {
		fmt.Fprintf(a.Stdout, "Today, sensor %s, %.0f of %.0f minutes measured (unmeasured time counts as without dust):\n", o.Sensor, o.MinutesMeasured, o.MinutesSoFar)
		for _, l := range o.Limits {
			fmt.Fprintln(a.Stdout, wrap(o.Sentence(l), 98, "  "))
		}
		fmt.Fprintln(a.Stdout)
	}
}
