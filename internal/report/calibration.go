package report

import (
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
)

// calibrationPart lists what the numbers rest on besides the sensors themselves.
func calibrationPart(in Input) (part, error) {
	p := part{ID: "calibration", Title: "Calibration: what was checked, when, and by what"}
	g := grid{Columns: []gridColumn{texts("no.", 0.5), texts("kind", 1.3), texts("sensor", 1.2), texts("made", 1.2), texts("rests on readings of", 2), texts("for", 2), texts("result", 3.2), texts("state", 1.6), texts("used here", 1.4)}}
	used := usedFactors(in.Exposure)
	for _, c := range in.Calibrations {
		g.Rows = append(g.Rows, gridRow{"", []string{fmt.Sprint(c.ID), kindName(c.Kind), c.Sensor, c.Made.In(in.Zone).Format(time.DateOnly), span(c, in.Zone),
			holdsFor(c), resultOf(c), stateOf(c, in), usedText(used[strconv.FormatInt(c.ID, 10)], c.Kind)}})
	}
	for _, f := range fromSettings(in.Exposure) {
		g.Rows = append(g.Rows, gridRow{"", []string{"–", "factor from the settings", f.sensor, f.Date, "not stated", strings.Join(filled(f.Material, f.Task, string(f.Fraction)), ", "),
			fmt.Sprintf("factor %g, %s", f.Factor.Factor, f.Source), "in use", usedText(f.shifts, dust.FactorCalibration)}})
	}
	if len(g.Rows) == 0 {
		p.Intro = []string{"None on record. Every number is the sensor’s own reading, at its maker’s calibration for another dust than wood. Before and after can be compared all the same, if sensor and place stayed the same; a limit cannot be cleared."}
		return p, nil
	}
	p.Tables = []grid{g}
	p.Gloss = "`dustlog calibrate show NUMBER` prints all that went into one of them."
	if len(used) == 0 && len(fromSettings(in.Exposure)) == 0 {
		p.Intro = []string{"No factor was used: every concentration in this report is the sensor’s own reading."}
	}
	return p, calibrationFigures(in, &p)
}

func kindName(k dust.CalibrationKind) string {
	switch k {
	case dust.ZeroCalibration:
		return "zero check in filtered air"
	case dust.SideBySide:
		return "sensors side by side"
	case dust.FilterCalibration:
		return "filter sample beside the sensor"
	}
	return string(k)
}

func span(c dust.Calibration, zone *time.Location) string {
	from, to := c.From.In(zone), c.To.In(zone)
	if from.Format(time.DateOnly) == to.Format(time.DateOnly) {
		return from.Format("2006-01-02 15:04") + " to " + to.Format("15:04")
	}
	return from.Format("2006-01-02 15:04") + " to " + to.Format("2006-01-02 15:04")
}

func filled(list ...string) (out []string) {
	for _, s := range list {
		if strings.TrimSpace(s) != "" {
			out = append(out, s)
		}
	}
	return out
}

func holdsFor(c dust.Calibration) string {
	text := strings.Join(filled(metricLabel(c.Metric), c.Fraction, c.Material, c.Task, c.Season), ", ")
	if c.Note != "" {
		text += "; note: " + c.Note
	}
	return text
}

// resultOf is a record's result in a line.
func resultOf(c dust.Calibration) string {
	switch c.Kind {
	case dust.ZeroCalibration:
		if z, err := calibrate.Read[calibrate.ZeroCheck](c, c.Kind); err == nil {
			return fmt.Sprintf("offset %.2g µg/m³, floor %.2g µg/m³, from %d readings", z.Mean, z.Floor, z.Readings)
		}
	case dust.SideBySide:
		if s, err := calibrate.Read[calibrate.Collocation](c, c.Kind); err == nil {
			var parts []string
			for _, o := range s.Others {
				if o.Deming != nil {
					parts = append(parts, fmt.Sprintf("%s reads %.2f times %s (%.2f to %.2f)", o.Sensor, o.Deming.Slope, s.Reference, o.Deming.SlopeLow, o.Deming.SlopeHigh))
				} else {
					parts = append(parts, o.Sensor+": no line, "+o.Why)
				}
			}
			return strings.Join(parts, "; ")
		}
	case dust.FilterCalibration:
		if f, err := calibrate.Read[calibrate.FilterSample](c, c.Kind); err == nil {
			if f.Concentration != nil {
				return fmt.Sprintf("%.3g mg/m³ on the filter (%s)", *f.Concentration, f.Source)
			}
			return fmt.Sprintf("below detection, at most %s mg/m³ (%s)", sig(f.AtMost), f.Source)
		}
	case dust.FactorCalibration:
		if f, err := calibrate.Read[calibrate.Fit](c, c.Kind); err == nil {
			return fmt.Sprintf("factor %.3g (%.3g to %.3g for one new shift) from %d pairs", f.Factor, f.Low, f.High, f.Pairs)
		}
	}
	return "its numbers cannot be read"
}

func stateOf(c dust.Calibration, in Input) string {
	switch {
	case !c.InUse():
		return "retired " + c.Retired.In(in.Zone).Format(time.DateOnly) + ": " + c.RetiredWhy
	case !c.Expires.IsZero() && c.Expires.Before(in.From):
		return "expired " + c.Expires.In(in.Zone).Format(time.DateOnly)
	case !c.Expires.IsZero():
		return "valid until " + c.Expires.In(in.Zone).Format(time.DateOnly)
	}
	return "on record"
}

func usedText(shifts int, kind dust.CalibrationKind) string {
	switch {
	case shifts == 1:
		return "in 1 shift"
	case shifts > 1:
		return fmt.Sprintf("in %d shifts", shifts)
	case kind == dust.FactorCalibration:
		return "in no shift"
	}
	return "–"
}

// usedFactors counts the shifts by the number of the factor that was used.
func usedFactors(r exposure.Result) map[string]int {
	out := map[string]int{}
	for _, s := range r.Shifts {
		if s.Factor != nil && s.Factor.ID != "" {
			out[s.Factor.ID]++
		}
	}
	return out
}

type settingsFactor struct {
	exposure.Factor
	sensor string
	shifts int
}

// fromSettings are factors that came from the configuration.
func fromSettings(r exposure.Result) (out []settingsFactor) {
	for _, s := range r.Shifts {
		if s.Factor == nil || s.Factor.ID != "" {
			continue
		}
		i := slices.IndexFunc(out, func(f settingsFactor) bool { return f.sensor == s.Sensor && f.Factor == *s.Factor })
		if i < 0 {
			i, out = len(out), append(out, settingsFactor{Factor: *s.Factor, sensor: s.Sensor})
		}
		out[i].shifts++
	}
	return out
}

func calibrationFigures(in Input, p *part) error {
	for _, c := range in.CalibrationPictures.Beside {
		d := plots.SideBySideData{Collocation: c.Collocation, Means: c.Means, Zone: in.Zone}
		f, err := draw(figure{ID: fmt.Sprintf("beside-%d", c.ID), Title: fmt.Sprintf("Sensors side by side, calibration %d", c.ID), Alt: plots.AltTextSideBySide(d),
			Caption: "Each mark is a mean of both sensors over the same time."}, in.Zone, func(w io.Writer, o plots.Options) error { return plots.SideBySide(w, d, o) })
		if err != nil {
			return err
		}
		p.Figures = append(p.Figures, f)
	}
	for _, c := range in.CalibrationPictures.Factors {
		d := plots.FactorData{Fit: c.Fit, Sensor: c.Record.Sensor, Samples: c.Samples}
		f, err := draw(figure{ID: fmt.Sprintf("factor-%d", c.Record.ID), Title: fmt.Sprintf("Filter samples, calibration %d", c.Record.ID), Alt: plots.AltTextFactorScatter(d),
			Caption: "The factor is the line; the band is where one new shift may lie."}, in.Zone, func(w io.Writer, o plots.Options) error { return plots.FactorScatter(w, d, o) })
		if err != nil {
			return err
		}
		p.Figures = append(p.Figures, f)
	}
	return nil
}
