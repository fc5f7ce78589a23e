package plots

import (
	"image/color"
	"math"
)

// point is a place in points (1/72 inch) from the top left corner, y downwards.
type point struct{ x, y float64 }

// rect is an upright rectangle: x0 ≤ x1, y0 ≤ y1.
type rect struct{ x0, y0, x1, y1 float64 }

func (r rect) w() float64 { return r.x1 - r.x0 }
func (r rect) h() float64 { return r.y1 - r.y0 }

func (r rect) corners() []point {
	return []point{{r.x0, r.y0}, {r.x1, r.y0}, {r.x1, r.y1}, {r.x0, r.y1}}
}

// overlaps reports whether r and s share more than a hair's breadth.
func (r rect) overlaps(s rect) bool {
	const hair = 0.01
	return r.x0 < s.x1-hair && s.x0 < r.x1-hair && r.y0 < s.y1-hair && s.y0 < r.y1-hair
}

// pen says how lines are drawn.
type pen struct {
	color color.NRGBA
	width float64
	dash  []float64
	round bool // round caps and joins, so that a lone peak is not cut or spiked
}

// shape is a list of lines or filled outlines of one colour. It may mix both:
// a marker with a light inside and a dark rim.
type shape struct {
	role   string    // what it stands for; only tests look at it
	paths  [][]point // each a run of points
	closed bool
	fill   *color.NRGBA
	stroke *pen
}

type align uint8

const (
	left align = iota
	centre
	right
)

// label is one line of text; at is its baseline.
type label struct {
	text  string
	at    point
	align align
	size  float64
	bold  bool
	color color.NRGBA
}

// box is the space the label takes up, from ascender to descender.
func (l label) box() rect {
	if l.size == 0 {
		l.size = textSize
	}
	w := textWidth(l.text, l.size, l.bold)
	x := l.at.x
	switch l.align {
	case centre:
		x -= w / 2
	case right:
		x -= w
	}
	return rect{x, l.at.y - ascent*l.size, x + w, l.at.y + descent*l.size}
}

// within moves the label sideways into x0…x1, as far as it is not too wide.
func (l label) within(x0, x1 float64) label {
	b := l.box()
	l.at.x -= math.Max(0, b.x1-x1)
	l.at.x += math.Max(0, x0-l.box().x0)
	return l
}

// drawing is a finished picture. Items are drawn in order; texts come last.
type drawing struct {
	w, h   float64
	paper  color.NRGBA
	alt    string
	shapes []shape
	labels []label
}

func (d *drawing) line(role string, p pen, points ...point) {
	d.lines(role, p, [][]point{points})
}

func (d *drawing) lines(role string, p pen, paths [][]point) {
	if len(paths) > 0 {
		d.shapes = append(d.shapes, shape{role: role, paths: paths, stroke: &p})
	}
}

func (d *drawing) box(role string, r rect, fill *color.NRGBA, stroke *pen) {
	d.outline(role, r.corners(), fill, stroke)
}

func (d *drawing) outline(role string, corners []point, fill *color.NRGBA, stroke *pen) {
	d.outlines(role, [][]point{corners}, fill, stroke)
}

func (d *drawing) outlines(role string, paths [][]point, fill *color.NRGBA, stroke *pen) {
	if len(paths) > 0 {
		d.shapes = append(d.shapes, shape{role: role, paths: paths, closed: true, fill: fill, stroke: stroke})
	}
}

func (d *drawing) text(l label) {
	if l.text == "" {
		return
	}
	if l.size == 0 {
		l.size = textSize
	}
	d.labels = append(d.labels, l)
}

// hatch gives slanted lines inside r, so that two fills differ without colour.
// kind 0 gives none.
func hatch(r rect, kind int) [][]point {
	var paths [][]point
	slant := func(step, dir float64) {
		for c := r.x0 - r.h(); c < r.x1+r.h(); c += step {
			// x runs along the line; y follows it, mirrored for the other slant.
			x0, x1 := math.Max(r.x0, c), math.Min(r.x1, c+r.h())
			if x1-x0 < 0.3 {
				continue
			}
			y := func(x float64) float64 {
				if dir > 0 {
					return r.y1 - (x - c)
				}
				return r.y0 + (x - c)
			}
			paths = append(paths, []point{{x0, y(x0)}, {x1, y(x1)}})
		}
	}
	switch kind {
	case 1:
		slant(5, 1)
	case 2:
		slant(5, -1)
	case 3:
		slant(7, 1)
		slant(7, -1)
	}
	return paths
}

// mark draws a point marker. Each kind has its own outline, open or filled.
func (d *drawing) mark(role string, kind markKind, at point, r float64, c, paper color.NRGBA) {
	if kind == openCircle {
		d.outline(role, markOutline(kind, at, r), &paper, &pen{color: c, width: 1.3})
		return
	}
	d.outline(role, markOutline(kind, at, r+0.6), &c, nil)
}

type markKind uint8

const (
	openCircle markKind = iota
	filledSquare
	filledDiamond
	downTriangle // lower than the axis reaches, where that goes upwards
	leftTriangle // where it goes to the right
)

func markOutline(kind markKind, at point, r float64) []point {
	var corners int
	var turn float64 // angle of the first corner
	switch kind {
	case openCircle:
		corners = 24
	case filledSquare:
		corners, turn, r = 4, math.Pi/4, r*1.25
	case filledDiamond:
		corners, r = 4, r*1.3
	case downTriangle:
		corners, turn, r = 3, math.Pi/2, r*1.2
	case leftTriangle:
		corners, turn, r = 3, math.Pi, r*1.2
	}
	out := make([]point, corners)
	for i := range out {
		sin, cos := math.Sincos(turn + 2*math.Pi*float64(i)/float64(corners))
		out[i] = point{at.x + r*cos, at.y + r*sin}
	}
	return out
}
