package cli

import (
	"cmp"
	"fmt"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

func printExposure(a *app, r exposureAnswer, zone *time.Location) {
	fmt.Fprintf(a.Stdout, "%s against %s\n\n", metricLabel(r.Metric), r.Limit.Label())
	switch r.By {
	case exposure.ByShift:
		printShifts(a, r.Result, zone)
	case exposure.ByGroup:
		printGroups(a, r.Groups)
	default:
		printTotals(a, r)
	}
	for _, warning := range r.Warnings {
		fmt.Fprintln(a.Stdout, wrap("Note: "+warning.String(), 98, "  "))
	}
	fmt.Fprintln(a.Stdout)
	if r.By == exposure.ByShift {
		printMasks(a, r.Result)
	}
	fmt.Fprintln(a.Stdout, cautionShort)
}

func printShifts(a *app, r exposure.Result, zone *time.Location) {
	t := newTable(a.Stdout, "DATE", "SHIFT", "SENSOR", "POSITION", "SETUP", "MEASURED min", "TWA 8 h mg/m³", "MAX 15 min mg/m³", "SHARE OF LIMIT", "FINDING")
	for _, s := range r.Shifts {
		max15 := number(s.Max15min, "%.3f")
		if s.Max15minStart != nil {
			max15 += " at " + s.Max15minStart.In(zone).Format("15:04")
		}
		t.row(s.Date, s.Start.In(zone).Format("15:04")+"–"+s.End.In(zone).Format("15:04"), s.Sensor, s.Position.Label(), s.Setup,
			fmt.Sprintf("%.0f of %.0f", s.MinutesMeasured, s.Minutes), number(s.TWA8h, "%.3f"), max15, shareOfLimit(s.ShareOfLimit, s.ShareIsAtLeast), s.Finding)
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
	printUnmeasured(a, r)
	if len(r.Also) > 0 {
		printLimitFindings(a, r)
	}
	printFactors(a, r)
	printSpread(a, r)
	for _, reason := range r.Reasons() {
		text := fmt.Sprintf("%s, %s in %d of %d shifts; on %s: %s", reason.Sensor, reason.Finding, reason.Shifts, reason.Of, reason.Date, reason.Why)
		fmt.Fprintln(a.Stdout, wrap(text, 98, "  "))
	}
}

// shareOfLimit prints a share; one that leaves out what the sensor cannot see says so.
func shareOfLimit(x *float64, atLeast bool) string {
	if x != nil && atLeast {
		return "≥ " + percent(x)
	}
	return percent(x)
}

func percent(x *float64) string {
	if x == nil {
		return "–"
	}
	return fmt.Sprintf("%.1f %%", *x*100)
}

// printUnmeasured shows what the TWA may be where part of a shift is missing.
func printUnmeasured(a *app, r exposure.Result) {
	t := newTable(a.Stdout, "  DATE", "SENSOR", "UNMEASURED min", "AS WITHOUT DUST mg/m³", "AS MEASURED mg/m³", "AS WORST TASK mg/m³", "WORST TASK")
	rows := 0
	for _, s := range r.Shifts {
		if missing := s.Minutes - s.MinutesMeasured; missing >= 1 && s.TWA8h != nil {
			rows++
			t.row("  "+s.Date, s.Sensor, fmt.Sprintf("%.0f", missing), number(s.TWA8h, "%.3f"), number(s.TWA8hFilled, "%.3f"),
				number(s.TWA8hWorst, "%.3f"), cmp.Or(s.WorstTask, "outside tasks"))
		}
	}
	if rows == 0 {
		return
	}
	fmt.Fprintln(a.Stdout, wrap("TWA 8 h by what is assumed of the unmeasured time. Which of the three is true, the sensor does not know.", 98, ""))
	t.flush()
	fmt.Fprintln(a.Stdout)
}

// printLimitFindings is every limit asked about, shift by shift. A star marks the
// lowest one that may bear.
func printLimitFindings(a *app, r exposure.Result) {
	fmt.Fprintln(a.Stdout, wrap("All limits asked about. * marks, for each averaging time, the lowest one that may bear on the wood in the diary.", 98, ""))
	t := newTable(a.Stdout, "  DATE", "SENSOR", "LIMIT", "mg/m³", "OVER", "WOOD", "COMPARED mg/m³", "SHARE", "FINDING", "PEAKS")
	for _, s := range r.Shifts {
		if s.Position != dust.BreathingZone && s.Position != dust.Room {
			continue // nobody breathes there
		}
		for _, l := range s.Limits {
			name, compared, value := l.LimitID, l.ComparedMgM3, fmt.Sprintf("%g", l.LimitMgM3)
			if l.Governs {
				name += " *"
			}
			if l.WithFactor != nil {
				compared = l.WithFactor
			}
			if l.Adjusted != nil {
				value = fmt.Sprintf("%.3g, lowered", l.Adjusted.LimitMgM3)
			}
			t.row("  "+s.Date, s.Sensor, name, value, l.Averaging, l.Bearing, number(compared, "%.3f"), shareOfLimit(l.ShareOfLimit, l.ShareIsAtLeast), l.Finding, peaks(l.Excursions))
		}
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
}

// peaks says how the short-term rule of a limit stands.
func peaks(e *exposure.Excursions) string {
	switch {
	case e == nil:
		return "no rule"
	case len(e.Broken) > 0:
		return "rule broken"
	case len(e.Occasions) > 0:
		return fmt.Sprintf("%d above %g ×", len(e.Occasions), e.Rule.Multiple)
	}
	return fmt.Sprintf("none above %g ×", e.Rule.Multiple)
}

// printSpread shows how the readings themselves were spread over the time.
func printSpread(a *app, r exposure.Result) {
	fmt.Fprintln(a.Stdout, wrap("Readings by time: the air was at or below these for 50, 95 and 99 % of the measured time. "+
		"Minutes above the limit's number are no comparison with the limit, which holds for an average.", 98, ""))
	t := newTable(a.Stdout, "  DATE", "SENSOR", "50 % µg/m³", "95 % µg/m³", "99 % µg/m³", "ABOVE THE NUMBER min")
	for _, s := range r.Shifts {
		t.row("  "+s.Date, s.Sensor, micrograms(s.P50), micrograms(s.P95), micrograms(s.P99), number(s.MinutesAboveLimit, "%.1f"))
	}
	t.flush()
	fmt.Fprintln(a.Stdout)
}

// micrograms prints a value in mg/m³ in µg/m³, the unit of the readings.
func micrograms(mgM3 *float64) string {
	if mgM3 == nil {
		return "–"
	}
	return fmt.Sprintf("%.1f", *mgM3*1000)
}

func printTotals(a *app, r exposureAnswer) {
	what, count := map[exposure.Grouping]string{exposure.ByTask: "TASK", exposure.ByMaterial: "MATERIAL", exposure.ByPosition: "POSITION"}[r.By], "RUNS"
	if r.By == exposure.ByPosition {
		count = "SHIFTS"
	}
	t := newTable(a.Stdout, what, "SENSOR", count, "MEASURED min", "MEAN mg/m³", "LOWEST mg/m³", "HIGHEST mg/m³", "DOSE mg·min/m³")
	for _, x := range r.Totals {
		n := fmt.Sprint(x.Count)
		if x.Empty > 0 {
			n += fmt.Sprintf(", %d without a reading", x.Empty)
		}
		t.row(cmp.Or(x.Key, "not written down"), x.Sensor, n, fmt.Sprintf("%.0f", x.MinutesMeasured),
			number(x.MeanMgM3, "%.3f"), number(x.LowestMgM3, "%.3f"), number(x.HighestMgM3, "%.3f"), number(x.DoseMgMinM3, "%.3g"))
	}
	t.flush()
	fmt.Fprintln(a.Stdout, wrap("The sensor's own readings. Lowest and highest are means of single runs or shifts.", 98, ""))
	fmt.Fprintln(a.Stdout)
}

func printMasks(a *app, r exposure.Result) {
	if len(r.Masks) == 0 {
		return
	}
	fmt.Fprintln(a.Stdout, "Respirator, by task (from the breathing-zone sensor):")
	t := newTable(a.Stdout, "  TASK", "RUNS", "HIGHEST RUN MEAN mg/m³", "AT LEAST, × LIMIT", "ANSWER")
	for _, m := range r.Masks {
		t.row("  "+m.Label(), m.Runs, number(m.HighestMeanMgM3, "%.3f"), number(m.HazardRatioAtLeast, "%.2f"), m.State)
	}
	t.flush()
	fmt.Fprintln(a.Stdout, wrap("\"Cannot tell\" counts as keep it on.", 98, "  "))
	fmt.Fprintln(a.Stdout)
}
