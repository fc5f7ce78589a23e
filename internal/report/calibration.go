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
	"dustlog/internal/words"
)

// calibrationPart lists what the numbers rest on besides the sensors themselves.
func calibrationPart(in Input) (part, error) {
	p := part{ID: "calibration", Title: words.Of("Calibration: what was checked, when, and by what")}
	g := grid{Columns: []gridColumn{texts(words.Of("no."), 0.5), texts(words.Of("kind"), 1.3), texts(words.Of("sensor"), 1.2), texts(words.Of("made"), 1.2), texts(words.Of("rests on readings of"), 2), texts(words.Of("for"), 2), texts(words.Of("result"), 3.2), texts(words.Of("state"), 1.6), texts(words.Of("used here"), 1.4)}}
	used := usedFactors(in.Exposure)
	for _, c := range in.Calibrations {
		g.Rows = append(g.Rows, gridRow{"", []any{fmt.Sprint(c.ID), kindName(c.Kind), c.Sensor, words.Date(c.Made.In(in.Zone)), span(c, in.Zone),
			holdsFor(c), resultOf(c), stateOf(c, in), usedText(used[strconv.FormatInt(c.ID, 10)], c.Kind)}})
	}
	for _, f := range fromSettings(in.Exposure) {
		g.Rows = append(g.Rows, gridRow{"", []any{"–", words.Of("factor from the settings"), f.sensor, f.Date, words.Of("not stated"), strings.Join(filled(f.Material, f.Task, string(f.Fraction)), ", "),
			words.Of("factor %g, %s", f.Factor.Factor, f.Source), words.Of("in use"), usedText(f.shifts, dust.FactorCalibration)}})
	}
	if len(g.Rows) == 0 {
		p.Intro = []words.Text{words.Of("None on record. Every number is the sensor’s own reading, at its maker’s calibration for another dust than wood. Before and after can be compared all the same, if sensor and place stayed the same; a limit cannot be cleared.")}
		return p, nil
	}
	p.Tables = []grid{g}
	p.Gloss = words.Of("`dustlog calibrate show NUMBER` prints all that went into one of them.")
	if len(used) == 0 && len(fromSettings(in.Exposure)) == 0 {
		p.Intro = []words.Text{words.Of("No factor was used: every concentration in this report is the sensor’s own reading.")}
	}
	return p, calibrationFigures(in, &p)
}

func kindName(k dust.CalibrationKind) words.Text {
	switch k {
	case dust.ZeroCalibration:
		return words.Of("zero check in filtered air")
	case dust.SideBySide:
		return words.Of("sensors side by side")
	case dust.FilterCalibration:
		return words.Of("filter sample beside the sensor")
	}
	return words.Literal(string(k))
}

func span(c dust.Calibration, zone *time.Location) words.Text {
	from, to := c.From.In(zone), c.To.In(zone)
	if from.Format(time.DateOnly) == to.Format(time.DateOnly) {
		return words.Of("%s to %s", stamp(from, zone), words.Clock(to))
	}
	return words.Of("%s to %s", stamp(from, zone), stamp(to, zone))
}

func filled(list ...string) (out []string) {
	for _, s := range list {
		if strings.TrimSpace(s) != "" {
			out = append(out, s)
		}
	}
	return out
}

func holdsFor(c dust.Calibration) words.Text {
	text := strings.Join(filled(metricLabel(c.Metric).String(), c.Fraction, c.Material, c.Task, c.Season), ", ")
	if c.Note != "" {
		return words.Of("%s; note: %s", text, c.Note)
	}
	return words.Literal(text)
}

// resultOf is a record's result in a line.
func resultOf(c dust.Calibration) words.Text {
	switch c.Kind {
	case dust.ZeroCalibration:
		if z, err := calibrate.Read[calibrate.ZeroCheck](c, c.Kind); err == nil {
			return words.Of("offset %.2g µg/m³, floor %.2g µg/m³, from %d readings", z.Mean, z.Floor, z.Readings)
		}
	case dust.SideBySide:
		if s, err := calibrate.Read[calibrate.Collocation](c, c.Kind); err == nil {
			var parts []words.Text
			for _, o := range s.Others {
				if o.Deming != nil {
					parts = append(parts, words.Of("%s reads %.2f times %s (%.2f to %.2f)", o.Sensor, o.Deming.Slope, s.Reference, o.Deming.SlopeLow, o.Deming.SlopeHigh))
				} else {
					parts = append(parts, words.Of("%s: no line, %s", o.Sensor, o.Why))
				}
			}
			return words.Join("; ", parts...)
		}
	case dust.FilterCalibration:
		if f, err := calibrate.Read[calibrate.FilterSample](c, c.Kind); err == nil {
			if f.Concentration != nil {
				return words.Of("%.3g mg/m³ on the filter (%s)", *f.Concentration, f.Source)
			}
			return words.Of("below detection, at most %s mg/m³ (%s)", sig(f.AtMost), f.Source)
		}
	case dust.FactorCalibration:
		if f, err := calibrate.Read[calibrate.Fit](c, c.Kind); err == nil {
			return words.Of("factor %.3g (%.3g to %.3g for one new shift) from %d pairs", f.Factor, f.Low, f.High, f.Pairs)
		}
	}
	return words.Of("its numbers cannot be read")
}

func stateOf(c dust.Calibration, in Input) words.Text {
	switch {
	case !c.InUse():
		return words.Of("retired %s: %s", words.Date(c.Retired.In(in.Zone)), c.RetiredWhy)
	case !c.Expires.IsZero() && c.Expires.Before(in.From):
		return words.Of("expired %s", words.Date(c.Expires.In(in.Zone)))
	case !c.Expires.IsZero():
		return words.Of("valid until %s", words.Date(c.Expires.In(in.Zone)))
	}
	return words.Of("on record")
}

func usedText(shifts int, kind dust.CalibrationKind) words.Text {
	switch {
	case shifts == 1:
		return words.Of("in 1 shift")
	case shifts > 1:
		return words.Of("in %d shifts", shifts)
	case kind == dust.FactorCalibration:
		return words.Of("in no shift")
	}
	return words.Literal("–")
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
		f, err := draw(figure{ID: fmt.Sprintf("beside-%d", c.ID), Title: words.Of("Sensors side by side, calibration %d", c.ID), Alt: plots.AltTextSideBySide(d, in.pictureOptions()),
			Caption: words.Of("Each mark is a mean of both sensors over the same time.")}, in.pictureOptions(), func(w io.Writer, o plots.Options) error { return plots.SideBySide(w, d, o) })
		if err != nil {
			return err
		}
		p.Figures = append(p.Figures, f)
	}
	for _, c := range in.CalibrationPictures.Factors {
		d := plots.FactorData{Fit: c.Fit, Sensor: c.Record.Sensor, Samples: c.Samples}
		f, err := draw(figure{ID: fmt.Sprintf("factor-%d", c.Record.ID), Title: words.Of("Filter samples, calibration %d", c.Record.ID), Alt: plots.AltTextFactorScatter(d, in.pictureOptions()),
			Caption: words.Of("The factor is the line; the band is where one new shift may lie.")}, in.pictureOptions(), func(w io.Writer, o plots.Options) error { return plots.FactorScatter(w, d, o) })
		if err != nil {
			return err
		}
		p.Figures = append(p.Figures, f)
	}
	return nil
}
