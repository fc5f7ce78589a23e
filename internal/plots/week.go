package plots

import (
	"fmt"
	"image/color"
	"io"
	"math"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// WeekData is what a picture of days by hours shows: a sensor's means over the
// clock's quarters of an hour, each with the end of its quarter.
type WeekData struct {
	Sensor         dust.Sensor
	Channel        dust.Channel
	From, To       time.Time // midnights of the options' zone
	Means          []exposure.MeanPoint
	LimitMgM3      float64 // 0 for none
	LimitLabel     words.Text
	LimitAveraging string
}

// Week draws days as rows and hours as columns: every mean over 15 minutes as a bar
// against one scale, with the limit where it is in reach. At most 62 days are drawn.
// The error wraps dust.ErrNoReadings if there is no mean.
func Week(w io.Writer, d WeekData, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	wk := newWeek(d, o)
	if wk.count == 0 {
		return fmt.Errorf("draw days and hours, sensor %q: %w", d.Sensor.Name, dust.ErrNoReadings)
	}
	if len(wk.days) > mostDays {
		return fmt.Errorf("draw days and hours, sensor %q: %d days are too many for one picture, at most %d: choose a shorter time", d.Sensor.Name, len(wk.days), mostDays)
	}
	return o.write(w, wk.draw())
}

const (
	mostDays = 62
	quarter  = 15 * time.Minute
)

// week is a WeekData sorted by day.
type week struct {
	WeekData
	o        Options
	days     []weekDay
	count    int
	top      float64 // µg/m³ at a row's top
	from, to int     // hours shown
	limit    float64 // µg/m³; 0 for none
}

type weekDay struct {
	date time.Time
	bars []weekBar
	most *weekBar
}

// weekBar is a mean over [hour, hour + 1/4) of the day's clock.
type weekBar struct {
	hour  float64
	value float64 // µg/m³
}

func newWeek(d WeekData, o Options) *week {
	w := &week{WeekData: d, o: o, from: 24, to: 0}
	index := map[string]int{}
	from, to := d.From.In(o.Zone), d.To.In(o.Zone)
	for day := time.Date(from.Year(), from.Month(), from.Day(), 0, 0, 0, 0, o.Zone); day.Before(to); day = time.Date(day.Year(), day.Month(), day.Day()+1, 0, 0, 0, 0, o.Zone) {
		if len(w.days) > 2*mostDays {
			break
		}
		index[day.Format(time.DateOnly)] = len(w.days)
		w.days = append(w.days, weekDay{date: day})
	}
	for _, m := range d.Means {
		begin := m.At.Add(-quarter).In(o.Zone)
		i, ok := index[begin.Format(time.DateOnly)]
		if !ok || !finite(&m.MgM3) {
			continue
		}
		w.add(&w.days[i], weekBar{hour: float64(begin.Hour()) + float64(begin.Minute())/60, value: m.MgM3 * 1000})
	}
	if w.from >= w.to {
		w.from, w.to = 0, 24
	}
	if l := d.LimitMgM3 * 1000; l > 0 && !math.IsInf(l, 0) {
		w.limit = l
		if l <= 1.5*w.top {
			w.top = math.Max(w.top, 1.08*l)
		}
	}
	if w.top <= 0 {
		w.top = 10 // all zero: a sensor's few lowest steps
	}
	return w
}

func (w *week) add(d *weekDay, b weekBar) {
	w.count++
	w.top = math.Max(w.top, b.value)
	w.from, w.to = min(w.from, int(b.hour)), max(w.to, int(b.hour)+1)
	d.bars = append(d.bars, b)
	if d.most == nil || b.value > d.most.value {
		d.most = &b
	}
}

func (w *week) title() words.Text {
	return words.Of("Days and hours at %s, %s to %s", w.Sensor.Name, words.Date(w.From.In(w.o.Zone)), words.Date(w.To.Add(-time.Hour).In(w.o.Zone)))
}

func (w *week) draw() *figure {
	f := newFigure(w.o, w.title(), words.Of("%s; every bar a mean over 15 minutes", quantity(w.Channel, "µg/m³")), w.altText())
	p := f.newPlot()
	rows := &weekRows{w, f.th}
	var labels []string
	highest := beside{th: f.th, ink: f.th.ink, heading: w.o.Words.Say("highest, µg/m³")}
	for i, d := range w.days {
		labels = append(labels, f.say(words.Of("%s %s", weekdayText(d.date.Weekday()), words.Time(d.date, "2 Jan"))))
		text := "–"
		if d.most != nil {
			text = w.o.Words.Say("%s at %s", number(d.most.value), clockOf(d.most.hour))
		}
		highest.texts, highest.y = append(highest.texts, text), append(highest.y, row(i))
	}
	names(&p.Y, labels, f.th.ink)
	p.X.Min, p.X.Max, p.X.Tick.Marker = float64(w.from), float64(w.to), plot.ConstantTicks{}
	p.Add(rows, highest)
	p.X.Tick.Marker = hourTicks(w.from, w.to, dataArea(p, f.inner()).Size().X, p.X)
	each := 30.0
	switch n := len(w.days); {
	case n > 31:
		each = 13
	case n > 10:
		each = 20
	}
	f.plots(panel{Plot: p, data: vg.Length(each * float64(len(w.days))), stretch: true, right: f.o.Words.Say("Clock time, %s", zoneLabel(w.From, w.To, w.o.Zone))})
	f.footer(w.caption(), w.legend(f.th))
	return f
}

// weekdayText is a day of the week in short.
func weekdayText(d time.Weekday) words.Text {
	switch d {
	case time.Monday:
		return words.Of("Mon")
	case time.Tuesday:
		return words.Of("Tue")
	case time.Wednesday:
		return words.Of("Wed")
	case time.Thursday:
		return words.Of("Thu")
	case time.Friday:
		return words.Of("Fri")
	case time.Saturday:
		return words.Of("Sat")
	}
	return words.Of("Sun")
}

func clockOf(hour float64) string {
	minutes := int(math.Round(hour * 60))
	return fmt.Sprintf("%02d:%02d", minutes/60, minutes%60)
}

func hourTicks(from, to int, width vg.Length, a plot.Axis) plot.ConstantTicks {
	step := 1
	for _, s := range []int{1, 2, 3, 4, 6, 12, 24} {
		step = s
		if float64((to-from)/s) <= float64(width)/42 {
			break
		}
	}
	var ticks []plot.Tick
	for h := from; h <= to; h++ {
		if h%step == 0 {
			ticks = append(ticks, plot.Tick{Value: float64(h), Label: fmt.Sprintf("%02d:00", h)})
		}
	}
	norm := func(v float64) float64 { return (v - float64(from)) / float64(to-from) }
	return apart(ticks, norm, width, 5, a.Tick.Label)
}

// weekRows draws each day's bars on its own base line.
type weekRows struct {
	*week
	th *theme
}

const rowFill = 0.86 // of a row's height is for bars

// Plot implements plot.Plotter.
func (r *weekRows) Plot(c draw.Canvas, p *plot.Plot) {
	x, y := p.Transforms(&c)
	for i, d := range r.days {
		foot := y(row(i) - 0.5*rowFill)
		height := y(row(i)+0.5*rowFill) - foot
		at := func(v float64) vg.Length { return foot + height*vg.Length(v/r.top) }
		r.gaps(c, d, x, foot, foot+height)
		r.bars(c, d, x, foot, at)
		c.StrokeLine2(draw.LineStyle{Color: r.th.muted, Width: 0.6}, c.Min.X, foot, c.Max.X, foot)
		if r.limit > 0 && r.limit <= r.top {
			c.StrokeLine2(draw.LineStyle{Color: r.th.limit, Width: 0.9, Dashes: []vg.Length{4, 2}}, c.Min.X, at(r.limit), c.Max.X, at(r.limit))
		}
	}
}

// gaps shades the quarters without a mean.
func (r *weekRows) gaps(c draw.Canvas, d weekDay, x func(float64) vg.Length, low, high vg.Length) {
	has := map[int]bool{}
	for _, b := range d.bars {
		has[int(math.Round(b.hour*4))] = true
	}
	c.SetColor(r.th.shade)
	for q := r.from * 4; q < r.to*4; q++ {
		end := q
		for end < r.to*4 && !has[end] {
			end++
		}
		if end > q {
			c.Fill(vg.Rectangle{Min: vg.Point{X: x(float64(q) / 4), Y: low}, Max: vg.Point{X: x(float64(end) / 4), Y: high}}.Path())
			q = end
		}
	}
}

func (r *weekRows) bars(c draw.Canvas, d weekDay, x func(float64) vg.Length, foot vg.Length, at func(float64) vg.Length) {
	paint := func(wanted func(weekBar) bool, fill color.Color) {
		var path vg.Path
		for _, b := range d.bars {
			if b.value > 0 && wanted(b) {
				path = append(path, vg.Rectangle{Min: vg.Point{X: x(b.hour) + 0.25, Y: foot}, Max: vg.Point{X: x(b.hour+0.25) - 0.25, Y: at(b.value)}}.Path()...)
			}
		}
		if len(path) > 0 {
			c.SetColor(fill)
			c.Fill(path)
		}
	}
	over := func(b weekBar) bool { return r.limit > 0 && b.value > r.limit }
	paint(func(b weekBar) bool { return !over(b) }, r.th.reading)
	paint(over, r.th.limit)
}

func (w *week) legend(th *theme) []entry {
	filled := func(fill color.Color) thumbnail {
		return func(c *draw.Canvas) {
			c.SetColor(fill)
			c.Fill(vg.Rectangle{Min: vg.Point{X: c.Min.X + 7, Y: c.Min.Y}, Max: vg.Point{X: c.Max.X - 7, Y: c.Max.Y}}.Path())
		}
	}
	out := []entry{{words.Of("mean over 15 minutes; a row's top is %s µg/m³", number(w.top)), filled(th.reading)}}
	if w.limit > 0 && w.limit <= w.top {
		out = append(out, entry{w.limitText(), lineSample(th.limitLine())})
		for _, d := range w.days {
			if d.most != nil && d.most.value > w.limit {
				return append(out, entry{words.Of("above the limit's line"), filled(th.limit)}, w.gapEntry(th))
			}
		}
	}
	return append(out, w.gapEntry(th))
}

func (w *week) gapEntry(th *theme) entry {
	return entry{words.Of("less than 75 %% measured"), thumbnail(func(c *draw.Canvas) {
		c.SetColor(th.shade)
		c.Fill(c.Rectangle.Path())
		c.SetLineStyle(draw.LineStyle{Color: th.grid, Width: 0.7})
		c.Stroke(c.Rectangle.Path())
	})}
}

func (w *week) limitText() words.Text {
	t := trace{TraceData: TraceData{LimitMgM3: w.LimitMgM3, LimitLabel: w.LimitLabel, LimitAveraging: w.LimitAveraging}}
	return t.limitText()
}

func (w *week) caption() words.Text {
	parts := []words.Text{words.Of("Sensor %s%s, %s.", w.Sensor.Name, inBrackets(w.Sensor.Model), placeText(w.Sensor.Position))}
	if w.limit > w.top {
		parts = append(parts, words.Of("%s is above all bars.", w.limitText().Capital()))
	}
	if w.limit > 0 {
		parts = append(parts, words.Of("Fifteen minutes above or below a limit for a longer time decide nothing about it."))
	}
	return sentences(parts...)
}

func (w *week) altText() string {
	var days, parts []words.Text
	for _, d := range w.days {
		if d.most != nil {
			days = append(days, words.Of("%s %s at %s", words.Time(d.date, "2 Jan"), number(d.most.value), clockOf(d.most.hour)))
		}
	}
	if w.limit > 0 {
		parts = append(parts, w.limitText().Sentence())
	}
	parts = append(parts, words.Of("%s at %s, means over 15 minutes by day and hour, %d of them. Highest of each day, µg/m³: %s.",
		exposure.ChannelText(w.Channel), w.Sensor.Name, w.count, words.Join("; ", days...)))
	return w.o.brief(sentences(parts...))
}

// AltTextWeek describes the picture that Week draws; "" if there is nothing to draw.
func AltTextWeek(d WeekData, o Options) string {
	o, err := o.complete()
	if err != nil {
		return ""
	}
	w := newWeek(d, o)
	if w.count == 0 {
		return ""
	}
	return w.altText()
}

// CSVWeek writes what Week draws: every mean with the begin and end of its quarter.
func CSVWeek(w io.Writer, d WeekData, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	rows := [][]string{{"what", "from", "until", "value", "unit", "sensor"}}
	for _, m := range d.Means {
		rows = append(rows, []string{"mean_15min", m.At.Add(-quarter).In(o.Zone).Format(csvTime), m.At.In(o.Zone).Format(csvTime), exact(&m.MgM3), "mg/m³", d.Sensor.Name})
	}
	if d.LimitMgM3 > 0 {
		rows = append(rows, []string{"limit", "", "", exact(&d.LimitMgM3), "mg/m³", d.LimitLabel.String()})
	}
	return table(w, rows)
}
