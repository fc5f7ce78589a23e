package plots

import (
	"fmt"
	"io"
	"math"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"

	"dustlog/internal/dust"
	"dustlog/internal/efficiency"
	"dustlog/internal/words"
)

// Loading draws how much dust comes through a filter, run by run, over the hours
// that it has been in use, with the fitted trend; one panel a setup. The error wraps
// dust.ErrNoReadings if no setup has runs to draw.
func Loading(w io.Writer, r efficiency.Result, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	loads := loadings(r)
	if len(loads) == 0 {
		return fmt.Errorf("draw what comes through a filter over its use, %q to %q: %w", r.Upstream, r.Downstream, dust.ErrNoReadings)
	}
	return o.write(w, drawLoading(r, loads, o))
}

// load is a setup's loading with its runs that have a value.
type load struct {
	efficiency.Loading
	setup string
	all   int
	hours float64 // of use at the end
	floor float64
}

func loadings(r efficiency.Result) (out []load) {
	for _, s := range r.Setups {
		if s.Loading == nil {
			continue
		}
		l := load{Loading: *s.Loading, setup: s.Setup, all: len(s.Loading.Runs)}
		l.Runs = nil
		for _, run := range s.Loading.Runs {
			l.hours = math.Max(l.hours, run.HoursBefore+run.Minutes/60)
			if finite(run.Penetration) {
				l.Runs = append(l.Runs, run)
			}
		}
		if len(l.Runs) > 0 {
			l.floor = penetrationFloor(l.Runs)
			out = append(out, l)
		}
	}
	return out
}

// penetrationFloor is where values at or below zero are drawn: below the lowest
// above it. 0 if there are none.
func penetrationFloor(runs []efficiency.LoadingRun) float64 {
	least, needed := math.Inf(1), false
	for _, r := range runs {
		if *r.Penetration > 0 {
			least = math.Min(least, *r.Penetration)
		} else {
			needed = true
		}
	}
	switch {
	case !needed:
		return 0
	case math.IsInf(least, 1):
		return 0.1
	}
	return least / 2
}

func drawLoading(r efficiency.Result, loads []load, o Options) *figure {
	f := newFigure(o, words.Of("What comes through the filter, over its hours in use"),
		words.Of("Dust behind (%s) in %% of dust before (%s), logarithmic axis; one mark is one run", clean(r.Downstream), clean(r.Upstream)), AltTextLoading(r, o))
	low, trend := false, false
	for i, l := range loads {
		if i > 0 {
			f.space(6)
		}
		head, sty := f.th.bold(), f.th.text(f.th.ink)
		f.words(capLines(wrap(f.say(l.name()), f.inner(), head), 2, f.inner(), head), head)
		f.words(capLines(wrap(f.say(l.words()), f.inner(), sty), 3, f.inner(), sty), sty)
		f.space(6)
		f.plots(f.loadingPanel(l))
		low, trend = low || l.floor > 0, trend || finite(l.AtStart)
	}
	legend := []entry{{words.Of("a run"), markSample(f.th.afterMark())}}
	if trend {
		legend = append(legend, entry{words.Of("fitted trend"), lineSample(f.th.meanLine())})
	}
	caption := words.Of("Hours in use are those of the runs in the diary. A sensor before and one behind a filter never sample alike: read the trend, not the height.")
	if low {
		caption = sentences(caption, words.Of("Triangles: nothing told from zero behind the filter, drawn at the lower edge."))
	}
	f.footer(caption, legend)
	return f
}

func (l load) name() words.Text {
	if l.setup == "" {
		return words.Number(clean(l.Label)).Text().Capital()
	}
	return words.Of("%s, %s", upperFirst(clean(l.setup)), words.Number(clean(l.Label)))
}

func (l load) words() words.Text {
	text := words.Of("%s over %s h", runCount(len(l.Runs)), number(l.hours))
	if n := l.all - len(l.Runs); n > 0 {
		text = words.Of("%s (%d more without a value)", text, n)
	}
	if finite(l.ChangePer10h) && finite(l.ChangeLow) && finite(l.ChangeHigh) {
		text = words.Of("%s; changes by %s %% in 10 h (95 %% interval %s to %s)", text, signed(*l.ChangePer10h), signed(*l.ChangeLow), signed(*l.ChangeHigh))
	}
	if !l.Why.IsZero() {
		text = words.Join("; ", text, l.Why)
	}
	return words.Join("", text, words.Literal("."))
}

func signed(v float64) words.Number {
	if v > 0 {
		return "+" + number(v)
	}
	return number(v)
}

// at is the fitted line after hours of use, in percent.
func (l load) at(hours float64) (float64, bool) {
	if !finite(l.AtStart) || !finite(l.ChangePer10h) {
		return 0, false
	}
	return *l.AtStart * math.Pow(1+*l.ChangePer10h/100, hours/10), true
}

// middle is when a run stands on the axis: halfway through it.
func middle(r efficiency.LoadingRun) float64 { return r.HoursBefore + r.Minutes/120 }

func (f *figure) loadingPanel(l load) panel {
	p := f.newPlot()
	var values []float64
	for _, r := range l.Runs {
		values = append(values, math.Max(*r.Penetration, l.floor))
	}
	for _, h := range []float64{0, l.hours} {
		if v, ok := l.at(h); ok && v > 0 && !math.IsInf(v, 0) {
			values = append(values, v)
		}
	}
	lo, hi := span(values, l.floor)
	setLog(&p.Y, lo, hi, logTicks{most: 6, words: f.o.Words})
	p.X.Tick.Marker = plot.ConstantTicks{}
	f.o.setMinutes(&p.X, 0, math.Max(l.hours, 1e-3), dataArea(p, f.inner()).Size().X)
	p.Add(f.grid(true, true), &loadingMarks{l, f.th})
	return panel{Plot: p, data: max(leastRoom, min(115, 0.36*f.o.Width)), stretch: true, right: f.o.Words.Say("Hours in use")}
}

type loadingMarks struct {
	load
	th *theme
}

// Plot implements plot.Plotter.
func (l *loadingMarks) Plot(c draw.Canvas, p *plot.Plot) {
	x, toY := p.Transforms(&c)
	y := func(v float64) vg.Length { return toY(math.Min(math.Max(v, p.Y.Min), p.Y.Max)) }
	if a, ok := l.at(0); ok {
		b, _ := l.at(l.hours) // straight on a logarithmic axis
		c.StrokeLine2(l.th.meanLine(), x(0), y(a), x(l.hours), y(b))
	}
	for _, r := range l.Runs {
		mark := l.th.afterMark()
		if *r.Penetration <= 0 {
			mark = l.th.belowMark()
		}
		c.DrawGlyphNoClip(mark, vg.Point{X: x(middle(r)), Y: y(math.Max(*r.Penetration, l.floor))})
	}
}

// AltTextLoading describes the picture that Loading draws.
func AltTextLoading(r efficiency.Result, o Options) string {
	parts := []words.Text{words.Of("Share of dust that comes through the filter over its hours in use.")}
	for _, l := range loadings(r) {
		first, last := l.Runs[0], l.Runs[len(l.Runs)-1]
		parts = append(parts, words.Of("%s: %s First run %s %%, last run %s %%.", l.name(), l.words(), number(*first.Penetration), number(*last.Penetration)))
	}
	return o.brief(sentences(parts...))
}

// CSVLoading writes what Loading draws.
func CSVLoading(w io.Writer, r efficiency.Result) error {
	rows := [][]string{{"what", "setup", "quantity", "date", "task", "run_hours", "penetration_percent"}}
	for _, s := range r.Setups {
		if s.Loading == nil {
			continue
		}
		for _, run := range s.Loading.Runs {
			hours := middle(run)
			rows = append(rows, []string{"run", s.Setup, s.Loading.Label, run.Date, run.Task, exact(&hours), exact(run.Penetration)})
		}
		zero := 0.0
		rows = append(rows, []string{"fitted_at_start", s.Setup, s.Loading.Label, "", "", exact(&zero), exact(s.Loading.AtStart)},
			[]string{"fitted_change_percent_per_10_h", s.Setup, s.Loading.Label, "", "", "", exact(s.Loading.ChangePer10h)})
	}
	return table(w, rows)
}
