package cli

import (
	"fmt"
	"strings"
	"time"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// printCalibration prints one calibration in full.
func (a *app) printCalibration(c dust.Calibration, zone *time.Location) error {
	clock := func(t time.Time) string { return t.In(zone).Format("2006-01-02 15:04") }
	about := strings.TrimSuffix(metricLabel(c.Metric)+", "+dustName(c), ", ")
	fmt.Fprintf(a.Stdout, "%s %s, %s, %s to %s\n\n", calibrationTitle[c.Kind], c.Sensor, about, clock(c.From), clock(c.To))
	var warnings []string
	var err error
	switch c.Kind {
	case dust.ZeroCalibration:
		warnings, err = printed(a, c, printZero)
	case dust.SideBySide:
		warnings, err = printed(a, c, printCollocation)
	case dust.FilterCalibration:
		warnings, err = printed(a, c, printFilter)
	case dust.FactorCalibration:
		warnings, err = printed(a, c, func(a *app, f calibrate.Fit) []string { return printFit(a, f, c, zone) })
	}
	if err != nil {
		return err
	}
	fmt.Fprintln(a.Stdout)
	for _, w := range warnings {
		fmt.Fprintln(a.Stdout, wrap("Note: "+w, 98, "  "))
	}
	if c.Note != "" {
		fmt.Fprintln(a.Stdout, wrap("Remark: "+c.Note, 98, "  "))
	}
	return nil
}

var calibrationTitle = map[dust.CalibrationKind]string{
	dust.ZeroCalibration: "Zero check of", dust.SideBySide: "Side by side with", dust.FilterCalibration: "Filter sample beside", dust.FactorCalibration: "Factor of",
}

// printed reads the numbers of a record and prints them.
func printed[T calibrate.ZeroCheck | calibrate.Collocation | calibrate.FilterSample | calibrate.Fit](a *app, c dust.Calibration, show func(*app, T) []string) ([]string, error) {
	result, err := calibrate.Read[T](c, c.Kind)
	if err != nil {
		return nil, err
	}
	return show(a, result), nil
}

func printZero(a *app, z calibrate.ZeroCheck) []string {
	t := newTable(a.Stdout, "READINGS", "LEFT OUT", "MEASURED min", "OFFSET µg/m³", "SD µg/m³", "FLOOR µg/m³", "HIGHEST µg/m³", "CHANGE OF OFFSET µg/m³")
	change := "–"
	if d := z.Drift; d != nil {
		change = fmt.Sprintf("%+.2f since %d", d.Change, d.Against)
	}
	t.row(z.Readings, z.LeftOut, fmt.Sprintf("%.1f", z.Minutes), fmt.Sprintf("%.2f", z.Mean), fmt.Sprintf("%.2f", z.SD),
		fmt.Sprintf("%.2f", z.Floor), fmt.Sprintf("%.1f", z.Highest), change)
	t.flush()
	return z.Warnings
}

func printCollocation(a *app, c calibrate.Collocation) []string {
	t := newTable(a.Stdout, "SENSOR", "LINE", "SLOPE", "95 %", "OFFSET µg/m³", "95 %", "MEANS USED", "OF", "EVERY min", "REFERENCE µg/m³")
	warnings := append([]string{}, c.Warnings...)
	for _, p := range c.Others {
		for _, l := range []struct {
			name string
			line *calibrate.Line
		}{{"Deming", p.Deming}, {"reduced major axis", p.ReducedMajorAxis}} {
			if l.line == nil {
				continue
			}
			t.row(p.Sensor, l.name, fmt.Sprintf("%.3f", l.line.Slope), fmt.Sprintf("%.3f–%.3f", l.line.SlopeLow, l.line.SlopeHigh),
				fmt.Sprintf("%.2f", l.line.Intercept), fmt.Sprintf("%.2f to %.2f", l.line.InterceptLow, l.line.InterceptHigh),
				p.Used, p.Means, fmt.Sprintf("%g", p.CorrelationSeconds/60), fmt.Sprintf("%.0f–%.0f", p.Low, p.High))
		}
		if p.Why != "" {
			warnings = append(warnings, fmt.Sprintf("no line for %s: %s", p.Sensor, p.Why))
		}
		for _, w := range p.Warnings {
			warnings = append(warnings, p.Sensor+": "+w)
		}
	}
	t.flush()
	if c.HumidityLow != nil {
		fmt.Fprintf(a.Stdout, "Relative humidity %.0f–%.0f %%.\n", *c.HumidityLow, *c.HumidityHigh)
	}
	if c.TemperatureLow != nil {
		fmt.Fprintf(a.Stdout, "Temperature %.0f–%.0f °C (%.0f–%.0f °F).\n", *c.TemperatureLow, *c.TemperatureHigh,
			calibrate.Fahrenheit(*c.TemperatureLow), calibrate.Fahrenheit(*c.TemperatureHigh))
	}
	return warnings
}

func printDrifts(a *app, drifts []calibrate.Drift, since int64) {
	if since == 0 {
		fmt.Fprintln(a.Stdout, "There is no earlier collocation of these sensors, so nothing is known of their drift.")
		return
	}
	fmt.Fprintf(a.Stdout, "\nDrift since calibration %d. u (ln) adds to the uncertainty of a ratio measured in between.\n", since)
	t := newTable(a.Stdout, "SENSOR", "REFERENCE", "CHANGE OF GAIN %", "u (ln)", "df")
	for _, d := range drifts {
		t.row(d.Sensor, d.Reference, fmt.Sprintf("%+.1f", 100*(d.Change-1)), fmt.Sprintf("%.4f", d.U), fmt.Sprintf("%.1f", d.DF))
	}
	t.flush()
}

func printFilter(a *app, s calibrate.FilterSample) []string {
	t := newTable(a.Stdout, "METHOD", "FLOW USED L/min", "MINUTES", "VOLUME L", "GAINED mg", "BLANKS mg", "NET mg", "DETECTION LIMIT mg", "CONCENTRATION mg/m³", "± 95 % OF IT")
	concentration, uncertainty := fmt.Sprintf("at most %.3f", s.Lowest), "–"
	if s.Concentration != nil {
		concentration, uncertainty = fmt.Sprintf("%.3f", *s.Concentration), fmt.Sprintf("%.0f %%", *s.Uncertainty)
	}
	t.row(s.Method.ID, fmt.Sprintf("%.2f (%.4f cfm)", s.Flow, calibrate.LitresToCFM(s.Flow)), fmt.Sprintf("%.0f", s.Minutes), fmt.Sprintf("%.0f", s.Volume),
		fmt.Sprintf("%.3f", s.Filter.Change()), fmt.Sprintf("%.4f", s.Blank), fmt.Sprintf("%.3f", s.Net), fmt.Sprintf("%.3f", s.LOD), concentration, uncertainty)
	t.flush()
	if b := s.Sensor; b != nil {
		pair := "no pair: " + b.Why
		if b.Pair != nil {
			pair = fmt.Sprintf("filter over sensor: %.3f", *b.Pair)
		}
		fmt.Fprintf(a.Stdout, "\nSensor: mean %.1f µg/m³ over %.0f %% of the time, offset %.2f µg/m³ taken off; %s.\n", b.Mean, 100*b.MeasuredShare, b.Zero, pair)
	}
	return s.Warnings
}

func printFit(a *app, f calibrate.Fit, c dust.Calibration, zone *time.Location) []string {
	t := newTable(a.Stdout, "FACTOR", "95 % FOR ONE NEW SHIFT", "PAIRS", "FURTHEST PAIR %", "OFFSET TAKEN OFF µg/m³", "FIRST DAY", "LAST DAY")
	t.row(fmt.Sprintf("%.3f", f.Factor), fmt.Sprintf("%.3f–%.3f", f.Low, f.High), f.Pairs, fmt.Sprintf("%.0f", f.SpreadPercent),
		fmt.Sprintf("%.2f", f.Zero), dayIn(c.Valid, zone), dayIn(c.Expires, zone))
	t.flush()
	fmt.Fprintf(a.Stdout, "\nPairs: %s. %s.\n", pairList(f), f.Source)
	warnings := append([]string{}, f.Warnings...)
	if !f.Usable {
		warnings = append([]string{"no finding rests on this factor: " + f.Why}, warnings...)
	}
	for _, l := range f.LeftOut {
		warnings = append(warnings, fmt.Sprintf("sample %d makes no pair: %s", l.ID, l.Why))
	}
	return append(warnings, "it holds for this dust, task and position only: a factor moves with the sizes and the kind of dust, and with dirt on the optics")
}

func pairList(f calibrate.Fit) string {
	var parts []string
	for i, pair := range f.PairFactors {
		parts = append(parts, fmt.Sprintf("%.3f (sample %d)", pair, f.Samples[i]))
	}
	return strings.Join(parts, ", ")
}

// calibrationResult is what a calibration came to, in a few words.
func calibrationResult(c dust.Calibration) (string, error) {
	switch c.Kind {
	case dust.ZeroCalibration:
		z, err := calibrate.Read[calibrate.ZeroCheck](c, c.Kind)
		return fmt.Sprintf("offset %.2f, floor %.2f µg/m³", z.Mean, z.Floor), err
	case dust.SideBySide:
		r, err := calibrate.Read[calibrate.Collocation](c, c.Kind)
		var parts []string
		for _, p := range r.Others {
			if p.Deming == nil {
				parts = append(parts, p.Sensor+": no line")
				continue
			}
			parts = append(parts, fmt.Sprintf("%s = %.3f × %s %+.1f µg/m³", p.Sensor, p.Deming.Slope, r.Reference, p.Deming.Intercept))
		}
		return strings.Join(parts, "; "), err
	case dust.FilterCalibration:
		s, err := calibrate.Read[calibrate.FilterSample](c, c.Kind)
		if s.Concentration == nil {
			return fmt.Sprintf("at most %.3f mg/m³", s.Lowest), err
		}
		return fmt.Sprintf("%.3f mg/m³ ± %.0f %%", *s.Concentration, *s.Uncertainty), err
	default:
		f, err := calibrate.Read[calibrate.Fit](c, dust.FactorCalibration)
		return fmt.Sprintf("× %.3f (%.3f–%.3f), %d pairs", f.Factor, f.Low, f.High, f.Pairs), err
	}
}

// printFactors shows the shifts whose numbers a factor was used on, and what a
// humidity correction would make of others.
func printFactors(a *app, r exposure.Result) {
	t := newTable(a.Stdout, "  DATE", "SENSOR", "FACTOR", "OF", "READING mg/m³", "WITH FACTOR mg/m³", "95 % mg/m³")
	rows := 0
	for _, s := range r.Shifts {
		f := s.Factor
		if f == nil || s.WithFactor == nil || len(s.Limits) == 0 {
			continue
		}
		rows++
		of := "the configuration, " + f.Date
		if f.ID != "" {
			of = fmt.Sprintf("calibration %s, %s", f.ID, f.Date)
		}
		t.row("  "+s.Date, s.Sensor, fmt.Sprintf("%.3f", f.Factor), of, number(s.Limits[0].ComparedMgM3, "%.3f"), number(s.WithFactor, "%.3f"),
			number(s.WithFactorLow, "%.3f")+"–"+number(s.WithFactorHigh, "%.3f"))
	}
	if rows > 0 {
		fmt.Fprintln(a.Stdout, wrap("With the factor from filter samples, over the limit's averaging time. The 95 % are those of this one shift.", 98, ""))
		t.flush()
		fmt.Fprintln(a.Stdout)
	}
	printHumidity(a, r)
}

func printHumidity(a *app, r exposure.Result) {
	t := newTable(a.Stdout, "  DATE", "SENSOR", "κ", "AS READ mg/m³", "IN DRY AIR mg/m³", "CORRECTED", "HUMIDITY NOT KNOWN", "TOO HUMID")
	rows := 0
	for _, s := range r.Shifts {
		h := s.Humidity
		if h == nil {
			continue
		}
		rows++
		dry := number(h.With, "%.3f")
		if !h.Why.IsZero() {
			dry = h.Why.String()
		}
		t.row("  "+s.Date, s.Sensor, h.Kappa, number(h.Without, "%.3f"), dry,
			percent(&h.Corrected), percent(&h.Unknown), percent(&h.TooHumid))
	}
	if rows == 0 {
		return
	}
	fmt.Fprintln(a.Stdout, wrap("Humidity: what the sensor would read in dry air if its dust takes up water as configured. The truth lies somewhere between; no finding rests on it.", 98, ""))
	t.flush()
	fmt.Fprintln(a.Stdout)
}
