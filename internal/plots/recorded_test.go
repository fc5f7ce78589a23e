package plots

import (
	"image/color"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/recorder"
)

// recorded is what a picture put on gonum's recording canvas.
type recorded struct {
	alt   string
	w, h  vg.Length
	texts []recordedText
	paths []recordedPath
}

type recordedText struct {
	text string
	size vg.Length
	box  vg.Rectangle // from ascender to descender
}

type recordedPath struct {
	color  color.Color
	width  vg.Length // 0 for a filled path
	points []vg.Point
	starts []bool // whether a line begins at the point
}

func record(f *figure) recorded {
	out := recorded{alt: f.alt}
	out.w, out.h = f.size()
	var c recorder.Canvas
	f.paint(draw.NewCanvas(&c, out.w, out.h))
	var ink color.Color
	var width vg.Length
	for _, a := range c.Actions {
		switch a := a.(type) {
		case *recorder.SetColor:
			ink = a.Color
		case *recorder.SetLineWidth:
			width = a.Width
		case *recorder.Stroke:
			if width > 0 {
				out.addPath(ink, width, a.Path)
			}
		case *recorder.Fill:
			out.addPath(ink, 0, a.Path)
		case *recorder.FillString:
			face := font.DefaultCache.Lookup(a.Font, a.Size)
			e := face.Extents()
			out.texts = append(out.texts, recordedText{a.String, a.Size, vg.Rectangle{
				Min: a.Point.Sub(vg.Point{Y: e.Descent}), Max: a.Point.Add(vg.Point{X: face.Width(a.String), Y: e.Ascent})}})
		}
	}
	return out
}

func (r *recorded) addPath(ink color.Color, width vg.Length, p vg.Path) {
	path := recordedPath{color: ink, width: width}
	for _, step := range p {
		if step.Type == vg.MoveComp || step.Type == vg.LineComp || step.Type == vg.ArcComp {
			path.points, path.starts = append(path.points, step.Pos), append(path.starts, step.Type == vg.MoveComp)
		}
	}
	r.paths = append(r.paths, path)
}

// of lists the lines drawn in a style of the theme.
func (r recorded) of(sty draw.LineStyle) []recordedPath {
	var out []recordedPath
	for _, p := range r.paths {
		if p.color == sty.Color && p.width == sty.Width {
			out = append(out, p)
		}
	}
	return out
}

// overlaps reports whether a and b share more than a hair's breadth.
func overlaps(a, b vg.Rectangle) bool {
	const hair = 0.01
	return a.Min.X < b.Max.X-hair && b.Min.X < a.Max.X-hair && a.Min.Y < b.Max.Y-hair && b.Min.Y < a.Max.Y-hair
}

func recordTrace(t *testing.T, d TraceData, o Options) recorded {
	t.Helper()
	o, err := o.complete()
	require.NoError(t, err)
	tr, err := newTrace(d, o)
	require.NoError(t, err)
	return record(tr.draw())
}

func labelsOf(ticks []plot.Tick) []string {
	var out []string
	for _, k := range ticks {
		out = append(out, k.Label)
	}
	return out
}
