package cli

import (
	"fmt"
	"strings"
	"time"

	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/study"
)

// respiratorWidth is what a terminal in the shop is sure to show in one line, in
// characters.
const respiratorWidth = 80

// hang prints a paragraph whose first line begins with one indent and the others with
// another that is no shorter.
func hang(a *app, first, rest, format string, args ...any) {
	text := wrap(fmt.Sprintf(format, args...), respiratorWidth-len(rest), rest)
	fmt.Fprintln(a.Stdout, first+strings.TrimPrefix(text, rest))
}

func printRespirator(a *app, r study.RespiratorAnswer, zone *time.Location) {
	hang(a, "", "", "Respirator, %s, setup %s", r.Now.Time.In(zone).Format("2006-01-02 15:04"), orNone(r.Setup))
	fmt.Fprintln(a.Stdout)
	hang(a, "  ", "  ", "Now: %s", r.Now.Line(zone))
	fmt.Fprintln(a.Stdout)
	printTaskAnswers(a, r)
	if r.Asked != "" {
		printDetail(a, r)
	}
	printAfterWork(a, r)
	printOutlook(a, r)
	for _, warning := range r.Warnings {
		hang(a, "  ", "  ", "Note: %s", warning)
	}
	for _, c := range r.Cautions {
		if r.Asked != "" || c.When != respirator.WithClasses {
			hang(a, "  · ", "    ", "%s", c.Text)
		}
	}
	fmt.Fprintln(a.Stdout)
	fmt.Fprintln(a.Stdout, cautionShort)
}

// inWords is a state with what it counts as.
func inWords(s exposure.MaskState) string {
	if s == exposure.MaskCannotTell {
		return string(s) + ", so keep it on"
	}
	return string(s)
}

func printTaskAnswers(a *app, r study.RespiratorAnswer) {
	if len(r.Tasks) == 0 {
		hang(a, "", "", "By task: no task with readings from the breathing zone was recorded, so nothing can be said; that counts as keep it on.")
		fmt.Fprintln(a.Stdout)
		return
	}
	fmt.Fprintln(a.Stdout, "By task, from its past runs in the breathing zone:")
	bounds, lower := false, false
	for _, m := range r.Tasks {
		hang(a, "  ", "      ", "%s: %s", m.Label(), inWords(m.State))
		d := m.Deciding()
		if d == nil || d.HighestMgM3 == nil {
			continue
		}
		text := fmt.Sprintf("%s on %s: highest %s mg/m³", count(m.Runs, "run"), count(m.Days, "day"), number(d.HighestMgM3, "%.3f"))
		if d.UpperMgM3 != nil {
			text += fmt.Sprintf(", upper level %s mg/m³", number(d.UpperMgM3, "%.3g"))
			bounds = true
		}
		lower = lower || d.AtLeast
		hang(a, "      ", "      ", "%s, which makes %s times %s", text, toCover(*d), d.LimitID)
	}
	note := ""
	if bounds {
		note = "Upper level: with 95 % confidence 95 % of days stay below it. "
	}
	if lower {
		note += "≥: no factor for the limit's fraction, so it may be more."
	}
	if note != "" {
		hang(a, "  ", "  ", "%s", note)
	}
	if r.Asked == "" {
		printShortReasons(a, r.Tasks)
		hang(a, "  ", "  ", "Which respirators cover it, and what to know about them: dustlog respirator --task TASK")
	}
	fmt.Fprintln(a.Stdout)
}

// count is a number of things.
func count(n int, of string) string {
	if n == 1 {
		return "1 " + of
	}
	return fmt.Sprintf("%d %ss", n, of)
}

// printShortReasons gives each reason once, with the tasks it holds for.
func printShortReasons(a *app, tasks []study.RespiratorTask) {
	var order []string
	names := map[string][]string{}
	for _, t := range tasks {
		why, _, _ := strings.Cut(t.Why.String(), ";")
		key := fmt.Sprintf("%s, since %s.", t.State, why)
		if names[key] == nil {
			order = append(order, key)
		}
		names[key] = append(names[key], t.Label())
	}
	for _, key := range order {
		hang(a, "  ", "  ", "%s: %s", strings.Join(names[key], ", "), key)
	}
}

// printDetail is everything about the task that was asked about.
func printDetail(a *app, r study.RespiratorAnswer) {
	classes := false
	for _, t := range r.Tasks {
		hang(a, "  ", "  ", "%s, %s: %s", t.Label(), t.State, t.Why)
		if len(t.Limits) > 1 {
			printMaskLimits(a, t)
		}
		printClasses(a, t)
		classes = classes || len(t.Classes) > 0
		fmt.Fprintln(a.Stdout)
	}
	for _, s := range r.Stricter {
		hang(a, "  ", "  ", "Stricter: %s (%s)", s.Text, s.Source)
	}
	if classes {
		hang(a, "  ", "  ", "%s", r.Factors.Elsewhere)
	}
	fmt.Fprintln(a.Stdout)
}

func printMaskLimits(a *app, t study.RespiratorTask) {
	for _, l := range t.Limits {
		decides := ""
		if l.Governs {
			decides = ", which decides"
		}
		text := ""
		if l.UpperMgM3 != nil {
			text += fmt.Sprintf(", upper level %s mg/m³", number(l.UpperMgM3, "%.3g"))
		}
		if l.HazardRatioToCover != nil {
			text += fmt.Sprintf(", to cover %s times it", toCover(l))
		}
		hang(a, "    ", "      ", "%s, %g mg/m³ over %s, wood: %s%s%s: %s", l.LimitID, l.LimitMgM3, l.Averaging, l.Bearing, text, decides, l.State)
	}
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
		hang(a, "    ", "      ", "%s", text)
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
		hang(a, "", "", "After work: no decay was measured, so it cannot be told for how long the air stays dusty. Let a sensor in the room run for an hour after work.")
		fmt.Fprintln(a.Stdout)
		return
	}
	hang(a, "", "", "After work, from the dustiest end of work seen until fine dust is back near the level without work:")
	for _, c := range r.Clearing {
		use := ""
		if c.InUse {
			use = " (in use now)"
		}
		most := "cannot tell for how long, so keep it on"
		if c.MinutesUpper != nil {
			most = fmt.Sprintf("keep it on for at most %.0f min", *c.MinutesUpper)
			if c.Minutes != nil {
				most += fmt.Sprintf(", about %.0f", *c.Minutes)
			}
		}
		hang(a, "  ", "      ", "%s, %s%s: %s", c.Sensor, orNone(c.Setup), use, most)
		if c.Dustiest != nil && c.Back != nil {
			hang(a, "      ", "      ", "from %.0f to %.0f µg/m³; %s, rate %s per h, the next at least %s", *c.Dustiest, *c.Back, count(c.Decays, "decay"), number(c.PerHour, "%.2f"), number(c.LowPerHour, "%.2f"))
		}
		if c.InUse && !c.Why.IsZero() {
			hang(a, "      ", "      ", "%s", c.Why)
		}
	}
	hang(a, "  ", "  ", "Sweeping, emptying and blowing down are work too.")
	fmt.Fprintln(a.Stdout)
}

func printOutlook(a *app, r study.RespiratorAnswer) {
	for _, o := range r.Outlook {
		dose := ""
		if o.DoseMgMinM3 != nil {
			dose = fmt.Sprintf(", dose %.3g mg·min/m³ as the sensor reads it", *o.DoseMgMinM3)
		}
		hang(a, "", "", "Today, sensor %s, %.0f of %.0f minutes measured%s (unmeasured time counts as without dust):", o.Sensor, o.MinutesMeasured, o.MinutesSoFar, dose)
		for _, l := range o.Limits {
			hang(a, "  ", "  ", "%s", o.Sentence(l))
		}
		fmt.Fprintln(a.Stdout)
	}
}
