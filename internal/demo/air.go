package demo

import (
	"math"
	"math/rand/v2"

	"dustlog/internal/dust"
)

// What the new separator leaves of the dust of an extracted task. Chips were
// caught before; the change is in what the filter lets back into the room.
const (
	FineLeft   = 0.34
	CoarseLeft = 0.24
)

// Clearance of the invented room, per hour. Coarse dust settles as well.
const (
	clearFine   = 5.0
	clearCoarse = 9.0
	nearField   = 0.65 // share of a task's level that is the plume at the bench
	outletShare = 0.55 // level at the outlet against that at the bench
)

// air is the dust at the three places, one value a second.
type air struct {
	bench, outlet, background []mix
}

// at is the air that a sensor at a position is in.
func (a air) at(p dust.Position) []mix {
	switch p {
	case dust.Exhaust:
		return a.outlet
	case dust.Background:
		return a.background
	}
	return a.bench
}

// mix is dust in µg/m³.
type mix struct{ fine, coarse float64 }

func (m mix) plus(n mix) mix      { return mix{m.fine + n.fine, m.coarse + n.coarse} }
func (m mix) times(k float64) mix { return mix{m.fine * k, m.coarse * k} }
func (m mix) each(n mix) mix      { return mix{m.fine * n.fine, m.coarse * n.coarse} }
func (m mix) decay(dt float64) mix {
	return mix{m.fine * math.Exp(-clearFine*dt/3600), m.coarse * math.Exp(-clearCoarse*dt/3600)}
}

// slow is a lognormal factor around 1 that wanders with a time constant.
type slow struct {
	r        *rand.Rand
	sd, tau  float64
	deviates float64
}

func (s *slow) next() float64 {
	keep := math.Exp(-1 / s.tau)
	s.deviates = keep*s.deviates + math.Sqrt(1-keep*keep)*s.r.NormFloat64()
	return math.Exp(s.sd*s.deviates - s.sd*s.sd/2)
}

// breathe simulates the day second by second: one well-mixed room, a plume at
// the bench, an outlet that carries what the filter lets through.
func (d Day) breathe() air {
	r := d.shop.random(d.index, 0)
	n := int(dayLength.Seconds())
	a := air{make([]mix, n), make([]mix, n), make([]mix, n)}
	dayFactor := math.Exp(0.18 * r.NormFloat64())
	level := 6 + 8*r.Float64()
	outdoor, plume := &slow{r: r, sd: 0.25, tau: 1800}, &slow{r: r, sd: 0.45, tau: 20}
	release := d.releases(r, dayFactor)
	var room mix
	for i := range n {
		g := release[i].times(plume.next())
		// In a steady state the room reaches (1-nearField) of the task's level.
		room = room.decay(1).plus(g.times(1 - nearField).each(mix{clearFine / 3600, clearCoarse / 3600}))
		out := outdoor.next()
		a.background[i] = mix{level * out, 0.4 * level * out}
		a.bench[i] = a.background[i].plus(room).plus(g.times(nearField))
		a.outlet[i] = a.background[i].plus(room)
		if w := d.workAt(i); w.extracted {
			a.outlet[i] = a.outlet[i].plus(mix{g.fine, 0.3 * g.coarse}.times(outletShare))
		}
	}
	return a
}

// releases is the level that each second's task would reach at the bench.
func (d Day) releases(r *rand.Rand, dayFactor float64) []mix {
	out := make([]mix, int(dayLength.Seconds()))
	for _, t := range d.Tasks {
		w := workOf(t.Name)
		k := dayFactor * math.Exp(0.22*r.NormFloat64())
		m := mix{w.fine, w.coarse * math.Exp(0.15*r.NormFloat64())}.times(k)
		if w.extracted && d.Setup == NewSetup {
			m = m.each(mix{FineLeft, CoarseLeft})
		}
		for i := int(t.Start.Sub(d.Start).Seconds()); i < int(t.Stop.Sub(d.Start).Seconds()) && i < len(out); i++ {
			out[i] = m
		}
	}
	return out
}

// workAt returns the work going on in second i.
func (d Day) workAt(i int) work {
	for _, t := range d.Tasks {
		if i >= int(t.Start.Sub(d.Start).Seconds()) && i < int(t.Stop.Sub(d.Start).Seconds()) {
			return workOf(t.Name)
		}
	}
	return work{}
}
