package report

import (
	"fmt"
	"io"
	"strings"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/plots"
	"dustlog/internal/study"
)

// clearancePart is how fast dust leaves the air after work.
func clearancePart(in Input) (part, error) {
	p := part{ID: "clearance", Title: "How fast the air clears after work"}
	if len(in.Cleared) == 0 {
		p.Intro = []string{"Not told: no sensor where someone breathes has readings after a task."}
		return p, nil
	}
	p.Intro = []string{"The dust does not leave with the noise: the rate at which it falls after a task says how many minutes the respirator stays on. One fall is one observation."}
	rates := grid{Caption: "Rate by sensor and setup", Columns: []gridColumn{
		texts("sensor", 1.2), texts("setup", 1.8), numbers("falls", "runs", 0.7), numbers("rate, 1/h", "rate", 1), {Head: "95 % interval", Width: 1.5, Right: true},
		numbers("next fall at least, 1/h", "next_low", 1.1), numbers("half gone in, min", "half_life", 1), numbers("background, µg/m³", "background", 1), texts("remark", 3)}}
	for _, c := range in.Cleared {
		for _, s := range c.Setups {
			interval := "–"
			if s.Low != nil && s.High != nil {
				interval = fmt.Sprintf("%.2f to %.2f", *s.Low, *s.High)
			}
			rates.Rows = append(rates.Rows, gridRow{clearanceID(c.Sensor, s.Setup), []string{c.Sensor, orNotDeclared(s.Setup), fmt.Sprint(s.Runs), num("%.2f", s.PerHour), interval,
				num("%.2f", s.NextLow), num("%.1f", s.HalfLifeMinutes), num("%.1f", s.Background), s.Why}})
		}
		p.Notes = append(p.Notes, sentences(c.Warnings)...)
		f, ok, err := clearanceFigure(c, in.Zone)
		if err != nil {
			return p, err
		}
		if ok {
			p.Figures = append(p.Figures, f)
		}
	}
	p.Tables = []grid{rates}
	if in.Respirator != nil && len(in.Respirator.Clearing) > 0 {
		p.Tables = append(p.Tables, waitTable(in))
	}
	p.Gloss = "Rate: air changes that would clear as fast, ventilation, filters and settling together, for one mixed room. Next fall at least: with 95 % confidence the next one is no slower. " + in.Cleared[0].Method
	return p, nil
}

func waitTable(in Input) grid {
	g := grid{Caption: "Minutes from the end of the dustiest work seen until the air is back at the level without work", Columns: []gridColumn{
		texts("sensor", 1.2), texts("setup", 1.8), numbers("dustiest end, µg/m³", "dustiest", 1.2), numbers("back at or below, µg/m³", "back", 1.2),
		numbers("minutes", "minutes", 1), numbers("minutes at most", "minutes_upper", 1), texts("remark", 3)}}
	for _, c := range in.Respirator.Clearing {
		g.Rows = append(g.Rows, gridRow{"wait/" + c.Sensor + "/" + orNotDeclared(c.Setup), []string{c.Sensor, orNotDeclared(c.Setup), num("%.0f", c.Dustiest), num("%.1f", c.Back),
			num("%.0f", c.Minutes), num("%.0f", c.MinutesUpper), c.Why}})
	}
	return g
}

func orNotDeclared(setup string) string {
	if setup == "" {
		return "not declared"
	}
	return setup
}

func clearanceID(sensor, setup string) string {
	return "clearance/" + sensor + "/" + orNotDeclared(setup)
}

// decayID is that of one fall.
func decayID(sensor string, from time.Time, zone *time.Location) string {
	return "clearance/" + sensor + "/" + from.In(zone).Format("2006-01-02T15:04")
}

// clearanceFigure draws the fall from the dustiest work of each setup; ok is false
// if there is none.
func clearanceFigure(c study.Cleared, zone *time.Location) (f figure, ok bool, err error) {
	if len(c.Falls) == 0 {
		return f, false, nil
	}
	d := plots.ClearanceData{Result: c.Result, Trace: c.Trace, Zone: zone}
	for _, fall := range c.Falls {
		one := plots.Fall{Decay: fall.Decay, Level: fall.Back}
		if fall.Until != nil {
			one.Minutes, one.Upper = &fall.Until.Minutes, &fall.Until.High
		}
		d.Falls = append(d.Falls, one)
	}
	f, err = draw(figure{ID: "fall-" + slug(c.Sensor), Title: "How the dust fell after the dustiest work, at " + c.Sensor, Alt: plots.AltTextClearance(d),
		Caption: "One fall for each setup: the one from the dustiest end of work. Upright line: back at the level without work, by this fall alone; the table says what to reckon with."}, zone,
		func(w io.Writer, o plots.Options) error { return plots.Clearance(w, d, o) })
	return f, err == nil, err
}

// allFalls lists every fall for the appendix.
func allFalls(in Input) grid {
	g := grid{Caption: "All falls of the dust after work", Columns: []gridColumn{
		texts("from", 1.6), texts("sensor", 1), texts("setup", 1.5), texts("after", 1.2), numbers("start, µg/m³", "c0", 0.9), numbers("rate, 1/h", "rate", 0.9),
		numbers("half gone in, min", "half_life", 0.9), texts("counts", 0.8), texts("why not, or remark", 3)}}
	for _, c := range in.Cleared {
		for _, d := range c.Decays {
			counts := "no"
			if d.Pooled {
				counts = "yes"
			}
			why := d.Why
			if d.State == clearance.Measured && why == "" {
				why = "background " + d.BackgroundFrom
			}
			why, _, _ = strings.Cut(why, ";")
			g.Rows = append(g.Rows, gridRow{decayID(c.Sensor, d.From, in.Zone), []string{d.From.In(in.Zone).Format("2006-01-02 15:04"), c.Sensor, orNotDeclared(d.Setup), d.After,
				num("%.0f", d.C0), num("%.2f", d.PerHour), num("%.1f", d.HalfLifeMinutes), counts, why}})
		}
	}
	return g
}
