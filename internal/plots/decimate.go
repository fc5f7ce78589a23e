package plots

import (
	"iter"

	"gonum.org/v1/plot/vg"
)

// sample is one value of a curve. joined says that the curve runs on from the
// sample before; where it does not, there is a gap.
type sample struct {
	ms     int64
	v      float64
	joined bool
}

// curve is what is drawn of a row of samples: lines, and dots for samples that
// stand alone.
type curve struct {
	paths [][]vg.Point
	dots  []vg.Point
}

// column gathers the samples that fall into one narrow upright strip.
type column struct {
	index                  int
	n                      int
	first, low, high, last sample
	broken                 bool // there is a gap inside
}

// reduce draws samples in time order with at most four corners per column of
// the width given: the first, lowest, highest and last of each. So no peak is
// lost, and within a column's width the line is the one that all samples would
// give. A gap is never crossed: where one lies inside a column, the values
// around it are joined by an upright line, which takes no time.
func reduce(samples iter.Seq[sample], x func(ms int64) vg.Length, y func(v float64) vg.Length, width vg.Length) curve {
	b := curveBuilder{x: x, y: y}
	var c column
	for s := range samples {
		index := int(x(s.ms) / width)
		if c.n > 0 && index != c.index {
			b.add(c)
			c.n = 0
		}
		if c.n == 0 {
			c = column{index: index, n: 1, first: s, low: s, high: s, last: s}
			continue
		}
		c.n++
		c.last = s
		c.broken = c.broken || !s.joined
		if s.v < c.low.v {
			c.low = s
		}
		if s.v > c.high.v {
			c.high = s
		}
	}
	if c.n > 0 {
		b.add(c)
	}
	b.cut()
	return b.out
}

type curveBuilder struct {
	x    func(ms int64) vg.Length
	y    func(v float64) vg.Length
	path []vg.Point
	out  curve
}

func (b *curveBuilder) add(c column) {
	if !c.first.joined {
		b.cut()
	}
	if c.broken {
		b.addBroken(c)
		return
	}
	between := [2]sample{c.low, c.high}
	if c.high.ms < c.low.ms {
		between = [2]sample{c.high, c.low}
	}
	seen := int64(-1 << 62)
	for _, s := range [4]sample{c.first, between[0], between[1], c.last} {
		if s.ms > seen {
			b.corner(s.ms, s.v)
			seen = s.ms
		}
	}
}

// addBroken ends the line that comes in at the column's first sample, starts a
// new one at its last, and stands an upright line between.
func (b *curveBuilder) addBroken(c column) {
	if len(b.path) > 0 {
		b.corner(c.first.ms, c.first.v)
		b.cut()
	}
	b.corner(c.high.ms, c.low.v)
	if c.high.v > c.low.v {
		b.corner(c.high.ms, c.high.v)
	}
	b.cut()
	b.corner(c.last.ms, c.last.v)
}

func (b *curveBuilder) corner(ms int64, v float64) {
	b.path = append(b.path, vg.Point{X: b.x(ms), Y: b.y(v)})
}

func (b *curveBuilder) cut() {
	switch len(b.path) {
	case 0:
	case 1:
		b.out.dots = append(b.out.dots, b.path[0])
	default:
		b.out.paths = append(b.out.paths, b.path)
	}
	b.path = nil
}
