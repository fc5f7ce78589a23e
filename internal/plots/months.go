package plots

import (
	"fmt"
	"io"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Months draws weeks or months of several sensors, one panel each over one time
// axis; every peak is kept, and a gap stays one. The error wraps dust.ErrNoReadings
// if no sensor has a reading in it.
func Months(w io.Writer, sensors []*Envelope, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	m := newMonths(sensors, o)
	if len(m.sensors) == 0 {
		return fmt.Errorf("draw months: %w", dust.ErrNoReadings)
	}
	return o.write(w, m.draw())
}

type months struct {
	o        Options
	sensors  []*Envelope // with readings
	from, to time.Time
}

func newMonths(all []*Envelope, o Options) *months {
	m := &months{o: o}
	for _, e := range all {
		if n, _ := e.Readings(); n == 0 {
			continue
		}
		from, to := time.UnixMilli(e.from), time.UnixMilli(e.to)
		if len(m.sensors) == 0 || from.Before(m.from) {
			m.from = from
		}
		if to.After(m.to) {
			m.to = to
		}
		m.sensors = append(m.sensors, e)
	}
	return m
}

func (m *months) title() words.Text {
	n := len(m.sensors)
	return words.Plural(n, "%d sensor, %s to %s", "%d sensors, %s to %s", n, words.Date(m.from.In(m.o.Zone)), words.Date(m.to.Add(-time.Second).In(m.o.Zone)))
}

func (m *months) draw() *figure {
	e := m.sensors[0]
	f := newFigure(m.o, m.title(), words.Of("%s; every peak kept", quantity(e.Channel, e.Channel.Unit())), m.altText())
	gaps, left := false, false
	for i, e := range m.sensors {
		if i > 0 {
			f.space(4)
		}
		head, sty := f.th.bold(), f.th.text(f.th.ink)
		f.words(capLines(wrap(f.say(words.Of("%s%s, %s", clean(e.Sensor.Name), inBrackets(clean(e.Sensor.Model)), placeText(e.Sensor.Position))), f.inner(), head), 2, f.inner(), head), head)
		f.words(capLines(wrap(f.say(m.words(e)), f.inner(), sty), 2, f.inner(), sty), sty)
		f.space(6)
		none, unusable := e.pauses()
		gaps, left = gaps || len(none) > 0, left || len(unusable) > 0
		f.plots(m.panel(f, e, none, unusable))
	}
	t := trace{}
	f.footer(words.Of("Thin line: single readings. Sensors have axes of their own."), t.legend(f.th, false, gaps, left))
	return f
}

func (m *months) words(e *Envelope) words.Text {
	all, usable := e.Readings()
	text := words.Of("%s readings", grouped(fmt.Sprint(all)))
	if n := all - usable; n > 0 {
		text = words.Of("%s, %s of them left out", text, grouped(fmt.Sprint(n)))
	}
	if low, high, ok := e.bounds(); ok {
		text = words.Of("%s; %s to %s %s", text, number(low), number(high), e.Channel.Unit())
	}
	return words.Join("", text, words.Literal("."))
}

func (m *months) panel(f *figure, e *Envelope, none, unusable []stretch) panel {
	p := f.newPlot()
	low, high, ok := e.bounds()
	if !ok {
		low, high = 0, 0
	}
	if high <= 0 && low >= 0 {
		high = 10 // all zero: a sensor's few lowest steps
	}
	f.o.setLinear(&p.Y, math.Min(0, low), high, 4)
	p.X.Min, p.X.Max = float64(m.from.UnixMilli()), float64(m.to.UnixMilli())
	p.X.Tick.Length, p.X.Tick.Marker = stripHeight, plot.ConstantTicks{}
	p.X.Tick.Marker = clockTicks{zone: m.o.Zone, width: dataArea(p, f.inner()).Size().X, sty: p.X.Tick.Label, words: m.o.Words}
	p.Add(pauses{f.th, none, unusable}, f.grid(true, true), envelopeLine{e, f})
	return panel{Plot: p, data: max(60, min(90, 0.3*f.o.Width)), stretch: true, right: f.o.Words.Say("Clock time, %s", zoneLabel(m.from, m.to, m.o.Zone))}
}

// envelopeLine draws what an envelope kept.
type envelopeLine struct {
	e *Envelope
	f *figure
}

// Plot implements plot.Plotter.
func (l envelopeLine) Plot(c draw.Canvas, p *plot.Plot) {
	if _, _, ok := l.e.bounds(); !ok {
		sty := l.f.th.text(l.f.th.ink)
		sty.XAlign = draw.XCenter
		write(c, sty, c.Center(), l.f.o.Words.Say("no usable readings"))
		return
	}
	x := func(ms int64) vg.Length { return c.X(p.X.Norm(float64(ms))) }
	y := func(v float64) vg.Length { return c.Y(p.Y.Norm(v)) }
	k := reduce(l.e.samples, x, y, columnWidth)
	k.draw(c, l.f.th.readingLine(), dotRadius(len(k.dots)))
}

func (m *months) altText() string {
	parts := []words.Text{m.title().Sentence()}
	for _, e := range m.sensors {
		parts = append(parts, words.Of("%s: %s", e.Sensor.Name, m.words(e)))
	}
	return m.o.brief(sentences(parts...))
}

// AltTextMonths describes the picture that Months draws; "" if there is nothing to
// draw.
func AltTextMonths(sensors []*Envelope, o Options) string {
	o, err := o.complete()
	if err != nil {
		return ""
	}
	m := newMonths(sensors, o)
	if len(m.sensors) == 0 {
		return ""
	}
	return m.altText()
}

// CSVMonths writes the strips of time that Months draws, with the first, lowest,
// highest and last reading of each.
func CSVMonths(w io.Writer, sensors []*Envelope, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	rows := [][]string{{"sensor", "from", "until", "readings", "left_out", "first", "lowest", "highest", "last", "unit", "gap_inside"}}
	for _, e := range sensors {
		for i := range e.strips {
			s := &e.strips[i]
			from := time.UnixMilli(e.from + int64(i)*e.width)
			row := []string{e.Sensor.Name, from.In(o.Zone).Format(csvTime), from.Add(time.Duration(e.width) * time.Millisecond).In(o.Zone).Format(csvTime),
				fmt.Sprint(s.n), fmt.Sprint(s.left), "", "", "", "", e.Channel.Unit(), "no"}
			if s.n > 0 {
				row[5], row[6], row[7], row[8] = exact(&s.first), exact(&s.low), exact(&s.high), exact(&s.last)
			}
			if s.broken {
				row[10] = "yes"
			}
			rows = append(rows, row)
		}
	}
	return table(w, rows)
}
