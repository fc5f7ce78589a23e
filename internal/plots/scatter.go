package plots

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/calibrate"
	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// SideBySideData is a collocation with the means its lines were fitted to, by
// sensor; NaN where there is none.
type SideBySideData struct {
	calibrate.Collocation
	Means map[string][]float64
	Zone  *time.Location // of the date; UTC if nil
}

// SideBySide draws sensors that stood in the same air: each against the reference,
// with the fitted line, its 95 % band and the line of equal readings. The error
// wraps dust.ErrNoReadings if no two sensors have means to draw.
func SideBySide(w io.Writer, d SideBySideData, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	panels := d.panels()
	if len(panels) == 0 {
		return fmt.Errorf("draw sensors side by side with %q: %w", d.Reference, dust.ErrNoReadings)
	}
	return o.write(w, d.draw(panels, o))
}

// scatterPanel is one cloud of points with its line. All in one unit.
type scatterPanel struct {
	head, figures words.Text
	xName         words.Text
	points        []scatterPoint
	line          func(x float64) (float64, bool)
	band          func(x float64) (low, high float64, ok bool)
	from, to      float64 // the line is drawn there
	equal         bool    // draw the line of equal readings
	fromZero      bool
	unused, below bool // there are such points
}

type scatterPoint struct {
	x, y float64
	kind scatterKind
	name string
}

type scatterKind uint8

const (
	usedPoint scatterKind = iota
	passedOver
	atMostPoint // y is not more than this
)

func (d SideBySideData) panels() []scatterPanel {
	var out []scatterPanel
	for _, o := range d.Others {
		p := scatterPanel{
			head: words.Of("%s against %s", clean(o.Sensor), clean(d.Reference)), xName: words.Of("Reference %s, µg/m³", clean(d.Reference)),
			figures: d.figures(o), equal: true, from: o.Low, to: o.High,
		}
		if l := o.Deming; l != nil {
			p.line = func(x float64) (float64, bool) { return l.Intercept + l.Slope*x, true }
			p.band = l.Band
		}
		p.points = d.points(o)
		for _, pt := range p.points {
			p.unused = p.unused || pt.kind == passedOver
		}
		if len(p.points) > 0 {
			out = append(out, p)
		}
	}
	return out
}

// points are the means that both sensors have; the line rests on every Every-th.
func (d SideBySideData) points(o calibrate.SensorPair) (out []scatterPoint) {
	x, y := d.Means[d.Reference], d.Means[o.Sensor]
	for i := range min(len(x), len(y)) {
		if !finite(&x[i]) || !finite(&y[i]) {
			continue
		}
		kind := passedOver
		if o.Every > 0 && i%o.Every == 0 {
			kind = usedPoint
		}
		out = append(out, scatterPoint{x: x[i], y: y[i], kind: kind})
	}
	return out
}

func (d SideBySideData) figures(o calibrate.SensorPair) words.Text {
	l := o.Deming
	if l == nil {
		return words.Literal(clean(o.Why)).Sentence()
	}
	return words.Of("Reads %s times the reference (%s to %s), offset %s µg/m³ (%s to %s); 95 %% intervals, from %d of %d means.",
		number(l.Slope), number(l.SlopeLow), number(l.SlopeHigh), number(l.Intercept), number(l.InterceptLow), number(l.InterceptHigh), o.Used, o.Means)
}

func (d SideBySideData) when() words.Text {
	zone := d.Zone
	if zone == nil {
		zone = time.UTC
	}
	return words.Of("%s to %s", words.Time(d.From.In(zone), "2006-01-02 15:04"), words.Clock(d.To.In(zone)))
}

func (d SideBySideData) draw(panels []scatterPanel, o Options) *figure {
	f := newFigure(o, words.Of("Sensors side by side in the same air, %s", d.when()),
		words.Of("%s by optical sensor, µg/m³: upright the sensor, level the reference", metricLabel(d.Metric)), AltTextSideBySide(d, o))
	return f.scatters(panels, words.Of("Means over %s s; neighbours in time are alike, so the line rests on those further apart. The band is where the line itself may lie.", number(d.MeanSeconds)))
}

// AltTextSideBySide describes the picture that SideBySide draws.
func AltTextSideBySide(d SideBySideData, o Options) string {
	parts := []words.Text{words.Of("%s of sensors side by side, %s.", metricLabel(d.Metric), d.when())}
	for _, p := range d.panels() {
		parts = append(parts, words.Of("%s: %s", p.head, p.figures))
	}
	return o.brief(sentences(parts...))
}

// CSVSideBySide writes what SideBySide draws.
func CSVSideBySide(w io.Writer, d SideBySideData) error {
	rows := [][]string{{"what", "sensor", "reference", "time", "reference_ug_m3", "sensor_ug_m3", "low_ug_m3", "high_ug_m3", "used"}}
	step := time.Duration(d.MeanSeconds * float64(time.Second))
	for _, o := range d.Others {
		x, y := d.Means[d.Reference], d.Means[o.Sensor]
		for i := range min(len(x), len(y)) {
			used := "no"
			if o.Every > 0 && i%o.Every == 0 && finite(&x[i]) && finite(&y[i]) {
				used = "yes"
			}
			rows = append(rows, []string{"mean", o.Sensor, d.Reference, d.From.Add(time.Duration(i) * step).UTC().Format(csvTime), exact(&x[i]), exact(&y[i]), "", "", used})
		}
		if l := o.Deming; l != nil {
			for _, at := range []float64{o.Low, o.High} {
				middle := l.Intercept + l.Slope*at
				low, high, ok := l.Band(at)
				row := []string{"line", o.Sensor, d.Reference, "", exact(&at), exact(&middle), "", "", ""}
				if ok {
					row[6], row[7] = exact(&low), exact(&high)
				}
				rows = append(rows, row)
			}
		}
	}
	return table(w, rows)
}

// FactorData is a factor with the filter samples it was worked out from.
type FactorData struct {
	calibrate.Fit
	Sensor  string
	Samples []calibrate.Pairable
}

// FactorScatter draws filter samples against what the sensor beside them read, with
// the factor as a line through zero and the band where one new shift may lie. The
// error wraps dust.ErrNoReadings if no sample has a sensor beside it.
func FactorScatter(w io.Writer, d FactorData, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	p := d.panel()
	if len(p.points) == 0 {
		return fmt.Errorf("draw the factor of sensor %q: %w", d.Sensor, dust.ErrNoReadings)
	}
	return o.write(w, d.draw(p, o))
}

func (d FactorData) panel() scatterPanel {
	p := scatterPanel{
		head: words.Of("Sensor %s, factor %s to %s dust", clean(d.Sensor), number(d.Factor), d.Fraction.Text()), figures: d.figures(),
		xName: words.Of("Sensor less its zero, mg/m³"), equal: true, fromZero: true,
	}
	for _, s := range d.Samples {
		if s.Sensor == nil {
			continue
		}
		pt := scatterPoint{x: s.Sensor.Net(), name: strconv.FormatInt(s.ID, 10)}
		switch {
		case s.Concentration != nil:
			pt.y = *s.Concentration
			if s.Sensor.Pair == nil {
				pt.kind = passedOver
			}
		case s.AtMost != nil:
			pt.y, pt.kind = *s.AtMost, atMostPoint
		}
		if !finite(&pt.x) || !finite(&pt.y) {
			continue
		}
		p.unused, p.below = p.unused || pt.kind == passedOver, p.below || pt.kind == atMostPoint
		p.points = append(p.points, pt)
		p.to = math.Max(p.to, pt.x)
	}
	p.line = func(x float64) (float64, bool) { return d.Factor * x, finite(&d.Factor) }
	p.band = func(x float64) (float64, float64, bool) {
		return d.Low * x, d.High * x, finite(&d.Low) && finite(&d.High)
	}
	return p
}

func (d FactorData) figures() words.Text {
	text := words.Plural(d.Pairs, "%d pair of filter and sensor; for one new shift %s to %s with 95 %% confidence", "%d pairs of filter and sensor; for one new shift %s to %s with 95 %% confidence", d.Pairs, number(d.Low), number(d.High))
	if !d.Usable {
		text = words.Of("%s; no finding rests on it: %s", text, clean(d.Why))
	}
	return words.Join("", text, words.Literal("."))
}

func (d FactorData) draw(p scatterPanel, o Options) *figure {
	f := newFigure(o, words.Of("Filter samples and the sensor beside them"),
		words.Of("Upright: %s dust on the filter, mg/m³; level: %s by optical sensor, mg/m³", d.Fraction.Text(), metricLabel(d.Metric)), AltTextFactorScatter(d, o))
	return f.scatters([]scatterPanel{p}, words.Of("One mark is one filter sample. The factor holds for this sensor, place and dust."))
}

// AltTextFactorScatter describes the picture that FactorScatter draws.
func AltTextFactorScatter(d FactorData, o Options) string {
	p := d.panel()
	return o.brief(words.Of("Filter samples against %s of the sensor beside them. %s: %s", metricLabel(d.Metric), p.head, p.figures))
}

// CSVFactorScatter writes what FactorScatter draws.
func CSVFactorScatter(w io.Writer, d FactorData) error {
	rows := [][]string{{"what", "sample", "sensor_net_mg_m3", "filter_mg_m3", "filter_is", "pair_factor"}}
	for _, s := range d.Samples {
		if s.Sensor == nil {
			continue
		}
		net, filter, is := s.Sensor.Net(), s.Concentration, "measured"
		if filter == nil {
			filter, is = s.AtMost, "at most"
		}
		rows = append(rows, []string{"sample", strconv.FormatInt(s.ID, 10), exact(&net), exact(filter), is, exact(s.Sensor.Pair)})
	}
	rows = append(rows, []string{"factor", "", "", "", "", exact(&d.Factor)}, []string{"factor_low", "", "", "", "", exact(&d.Low)}, []string{"factor_high", "", "", "", "", exact(&d.High)})
	return table(w, rows)
}

// scatters adds the panels, the legend and the caption.
func (f *figure) scatters(panels []scatterPanel, caption words.Text) *figure {
	var unused, below, line bool
	for i, p := range panels {
		if i > 0 {
			f.space(6)
		}
		head, sty := f.th.bold(), f.th.text(f.th.ink)
		f.words(capLines(wrap(f.say(p.head), f.inner(), head), 2, f.inner(), head), head)
		f.words(capLines(wrap(f.say(p.figures), f.inner(), sty), 3, f.inner(), sty), sty)
		f.space(6)
		f.plots(f.scatterPanel(p))
		unused, below = unused || p.unused, below || p.below
		_, ok := p.lineAt(p.to)
		line = line || ok
	}
	legend := []entry{{words.Of("used"), markSample(f.th.afterMark())}}
	if unused {
		legend = append(legend, entry{words.Of("not used"), markSample(f.th.passedMark())})
	}
	if below {
		legend = append(legend, entry{words.Of("below detection: at most this"), markSample(f.th.belowMark())})
	}
	if line {
		legend = append(legend, entry{words.Of("line, with its 95 %% band"), thumbnail(func(c *draw.Canvas) {
			c.SetColor(f.th.bandA)
			c.Fill(c.Rectangle.Path())
			y := (c.Min.Y + c.Max.Y) / 2
			c.StrokeLine2(f.th.meanLine(), c.Min.X, y, c.Max.X, y)
		})})
	}
	f.footer(caption, append(legend, entry{words.Of("equal readings"), lineSample(f.th.backgroundLine())}))
	return f
}

func (p scatterPanel) lineAt(x float64) (float64, bool) {
	if p.line == nil {
		return 0, false
	}
	return p.line(x)
}

func (t *theme) passedMark() draw.GlyphStyle {
	return draw.GlyphStyle{Color: t.muted, Radius: 1.2, Shape: draw.CircleGlyph{}}
}

func (f *figure) scatterPanel(s scatterPanel) panel {
	p := f.newPlot()
	loX, hiX, loY, hiY := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	cover := func(x, y float64) {
		loX, hiX, loY, hiY = math.Min(loX, x), math.Max(hiX, x), math.Min(loY, y), math.Max(hiY, y)
	}
	for _, pt := range s.points {
		cover(pt.x, pt.y)
	}
	top := hiY
	for _, x := range []float64{s.from, s.to} {
		if y, ok := s.lineAt(x); ok {
			cover(x, y)
		}
		if s.band != nil {
			// A band far wider than the cloud is cut, or the points lie in a heap.
			if _, high, ok := s.band(x); ok && high <= 3*top {
				cover(x, high)
			}
		}
	}
	f.o.setLinear(&p.Y, math.Min(0, loY), hiY, 5)
	p.X.Tick.Length, p.X.Tick.Marker = 6, plot.ConstantTicks{} // or the zeros of both axes touch
	f.o.setLinear(&p.X, math.Min(0, loX), hiX, max(2, int(dataArea(p, f.inner()).Size().X/50)))
	p.X.Tick.Marker = fitted{p.X.Tick.Marker, dataArea(p, f.inner()).Size().X, p.X}
	p.Add(f.grid(true, true), &scatterMarks{s, f.th})
	return panel{Plot: p, data: max(leastRoom, min(150, 0.45*f.o.Width)), stretch: true, right: elide(f.say(s.xName), 0.8*f.inner(), f.th.text(f.th.muted))}
}

// fitted are ticks less those without room.
type fitted struct {
	plot.Ticker
	width vg.Length
	axis  plot.Axis
}

// Ticks implements plot.Ticker.
func (t fitted) Ticks(lo, hi float64) []plot.Tick {
	norm := func(v float64) float64 { return (v - lo) / (hi - lo) }
	return apart(t.Ticker.Ticks(lo, hi), norm, t.width, 6, t.axis.Tick.Label)
}

type scatterMarks struct {
	scatterPanel
	th *theme
}

// Plot implements plot.Plotter.
func (s *scatterMarks) Plot(c draw.Canvas, p *plot.Plot) {
	x, toY := p.Transforms(&c)
	y := func(v float64) vg.Length { return toY(math.Min(math.Max(v, p.Y.Min), p.Y.Max)) }
	s.drawBand(c, x, y)
	if s.equal {
		low, high := math.Max(p.X.Min, p.Y.Min), math.Min(p.X.Max, p.Y.Max)
		if high > low {
			c.StrokeLine2(s.th.backgroundLine(), x(low), toY(low), x(high), toY(high))
		}
	}
	s.drawLine(c, p, x, toY)
	for _, kind := range []scatterKind{passedOver, atMostPoint, usedPoint} {
		for _, pt := range s.points {
			if pt.kind == kind {
				c.DrawGlyphNoClip(s.markOf(kind), vg.Point{X: x(pt.x), Y: toY(pt.y)})
			}
		}
	}
}

func (s *scatterMarks) markOf(k scatterKind) draw.GlyphStyle {
	switch k {
	case passedOver:
		return s.th.passedMark()
	case atMostPoint:
		return s.th.belowMark()
	}
	mark := s.th.afterMark()
	if len(s.points) > 30 {
		mark.Radius = 2.4
	}
	return mark
}

const bandSteps = 120

func (s *scatterMarks) drawBand(c draw.Canvas, x, y func(float64) vg.Length) {
	if s.band == nil || !(s.to > s.from) {
		return
	}
	var upper, lower []vg.Point
	for i := range bandSteps + 1 {
		at := s.from + (s.to-s.from)*float64(i)/bandSteps
		low, high, ok := s.band(at)
		if !ok || !finite(&low) || !finite(&high) {
			return
		}
		upper, lower = append(upper, vg.Point{X: x(at), Y: y(high)}), append(lower, vg.Point{X: x(at), Y: y(low)})
	}
	var path vg.Path
	path.Move(upper[0])
	for _, p := range upper[1:] {
		path.Line(p)
	}
	for i := len(lower) - 1; i >= 0; i-- {
		path.Line(lower[i])
	}
	path.Close()
	c.SetColor(s.th.bandA)
	c.Fill(path)
	c.SetLineStyle(draw.LineStyle{Color: s.th.edge, Width: 0.6})
	c.Stroke(path)
}

// drawLine draws the part of the line that lies inside.
func (s *scatterMarks) drawLine(c draw.Canvas, p *plot.Plot, x, y func(float64) vg.Length) {
	var path vg.Path
	pen := false
	for i := range bandSteps + 1 {
		at := s.from + (s.to-s.from)*float64(i)/bandSteps
		v, ok := s.lineAt(at)
		if !ok || !(v >= p.Y.Min && v <= p.Y.Max) || !(at >= p.X.Min && at <= p.X.Max) {
			pen = false
			continue
		}
		if to := (vg.Point{X: x(at), Y: y(v)}); pen {
			path.Line(to)
		} else {
			path.Move(to)
		}
		pen = true
	}
	stroke(c, s.th.meanLine(), path)
}
