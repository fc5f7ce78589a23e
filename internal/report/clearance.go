package report

import (
	"fmt"
	"io"
	"time"

	"dustlog/internal/clearance"
	"dustlog/internal/plots"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

// clearancePart is how fast dust leaves the air after work.
func clearancePart(in Input) (part, error) {
	p := part{ID: "clearance", Title: words.Of("How fast the air clears after work")}
	if len(in.Cleared) == 0 {
		p.Intro = []words.Text{words.Of("Not told: no sensor where someone breathes has readings after a task.")}
		return p, nil
	}
	p.Intro = []words.Text{words.Of("The dust does not leave with the noise: the rate at which it falls after a task says how many minutes the respirator stays on. One fall is one observation.")}
	rates := grid{Caption: words.Of("Rate by sensor and setup"), Columns: []gridColumn{
		texts(words.Of("sensor"), 1.2), texts(words.Of("setup"), 1.8), numbers(words.Of("falls"), "runs", 0.7), numbers(words.Of("rate, 1/h"), "rate", 1), {Head: words.Of("95 %% interval"), Width: 1.5, Right: true},
		numbers(words.Of("next fall at least, 1/h"), "next_low", 1.1), numbers(words.Of("half gone in, min"), "half_life", 1), numbers(words.Of("background, µg/m³"), "background", 1), texts(words.Of("remark"), 3)}}
	for _, c := range in.Cleared {
		for _, s := range c.Setups {
			between := words.Literal("–")
			if s.Low != nil && s.High != nil {
				between = interval(words.Fixed(*s.Low, 2), words.Fixed(*s.High, 2))
			}
			rates.Rows = append(rates.Rows, gridRow{clearanceID(c.Sensor, s.Setup), []any{c.Sensor, setupText(s.Setup), fmt.Sprint(s.Runs), num("%.2f", s.PerHour), between,
				num("%.2f", s.NextLow), num("%.1f", s.HalfLifeMinutes), num("%.1f", s.Background), s.Why}})
		}
		p.Notes = append(p.Notes, sentences(c.Warnings)...)
		f, ok, err := clearanceFigure(c, in.pictureOptions())
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
	p.Gloss = words.Of("Rate: air changes that would clear as fast, ventilation, filters and settling together, for one mixed room. Next fall at least: with 95 %% confidence the next one is no slower. %s", in.Cleared[0].Method)
	return p, nil
}

func waitTable(in Input) grid {
	g := grid{Caption: words.Of("Minutes from the end of the dustiest work seen until the air is back at the level without work"), Columns: []gridColumn{
		texts(words.Of("sensor"), 1.2), texts(words.Of("setup"), 1.8), numbers(words.Of("dustiest end, µg/m³"), "dustiest", 1.2), numbers(words.Of("back at or below, µg/m³"), "back", 1.2),
		numbers(words.Of("minutes"), "minutes", 1), numbers(words.Of("minutes at most"), "minutes_upper", 1), texts(words.Of("remark"), 3)}}
	for _, c := range in.Respirator.Clearing {
		g.Rows = append(g.Rows, gridRow{"wait/" + c.Sensor + "/" + orNotDeclared(c.Setup), []any{c.Sensor, setupText(c.Setup), num("%.0f", c.Dustiest), num("%.1f", c.Back),
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

// setupText names a setup, or says that there is none.
func setupText(setup string) words.Text {
	if setup == "" {
		return words.Of("not declared")
	}
	return words.Literal(setup)
}

func stamp(t time.Time, zone *time.Location) words.Moment {
	return words.Time(t.In(zone), "2006-01-02 15:04")
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
func clearanceFigure(c study.Cleared, o plots.Options) (f figure, ok bool, err error) {
	if len(c.Falls) == 0 {
		return f, false, nil
	}
	d := plots.ClearanceData{Result: c.Result, Trace: c.Trace, Zone: o.Zone}
	for _, fall := range c.Falls {
		one := plots.Fall{Decay: fall.Decay, Level: fall.Back}
		if fall.Until != nil {
			one.Minutes, one.Upper = &fall.Until.Minutes, &fall.Until.High
		}
		d.Falls = append(d.Falls, one)
	}
	f, err = draw(figure{ID: "fall-" + slug(c.Sensor), Title: words.Of("How the dust fell after the dustiest work, at %s", c.Sensor), Alt: plots.AltTextClearance(d, o),
		Caption: words.Of("One fall for each setup: the one from the dustiest end of work. Upright line: back at the level without work, by this fall alone; the table says what to reckon with.")}, o,
		func(w io.Writer, o plots.Options) error { return plots.Clearance(w, d, o) })
	return f, err == nil, err
}

// allFalls lists every fall for the appendix.
func allFalls(in Input) grid {
	g := grid{Caption: words.Of("All falls of the dust after work"), Columns: []gridColumn{
		texts(words.Of("from"), 1.6), texts(words.Of("sensor"), 1), texts(words.Of("setup"), 1.5), texts(words.Of("after"), 1.2), numbers(words.Of("start, µg/m³"), "c0", 0.9), numbers(words.Of("rate, 1/h"), "rate", 0.9),
		numbers(words.Of("half gone in, min"), "half_life", 0.9), texts(words.Of("counts"), 0.8), texts(words.Of("why not, or remark"), 3)}}
	for _, c := range in.Cleared {
		for _, d := range c.Decays {
			counts := words.Of("no")
			if d.Pooled {
				counts = words.Of("yes")
			}
			why := d.Why
			if d.State == clearance.Measured && why.IsZero() {
				why = words.Of("background %s", d.BackgroundFrom)
			}
			why = why.Until(";")
			g.Rows = append(g.Rows, gridRow{decayID(c.Sensor, d.From, in.Zone), []any{stamp(d.From, in.Zone), c.Sensor, setupText(d.Setup), d.After,
				num("%.0f", d.C0), num("%.2f", d.PerHour), num("%.1f", d.HalfLifeMinutes), counts, why}})
		}
	}
	return g
}
