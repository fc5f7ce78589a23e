package study

import (
	"context"
	"fmt"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// SizesResult is what a sensor's size bins weigh under the sampling conventions of
// EN 481, over a stretch of time, for every sensor that counts particles.
type SizesResult struct {
	Schema    int                `json:"schema"`
	Particles exposure.Particles `json:"assumed"`
	Sensors   []SensorSizes      `json:"sensors"`
	Notes     []string           `json:"notes"`
}

// SensorSizes is one sensor of it. Means are over the time measured.
type SensorSizes struct {
	Sensor   string             `json:"sensor"`
	Model    string             `json:"model"`
	Position dust.Position      `json:"position"`
	Minutes  float64            `json:"minutes_measured"`
	Bins     []exposure.BinMass `json:"bins"`
	// Sum is what all bins weigh together. Nothing above the last edge is in it.
	Sum      exposure.BinMass `json:"sum"`
	Channels []ChannelMass    `json:"channels"`
}

// ChannelMass is a mass as the sensor itself reports it.
type ChannelMass struct {
	Channel    string            `json:"channel"`
	MeanUgM3   float64           `json:"mean_ug_m3"`
	Respirable exposure.Standing `json:"as_respirable"`
	Inhalable  exposure.Standing `json:"as_inhalable"`
}

// countEdges are cumulative counts in the order of their edge, in µm.
type countEdges []struct {
	channel dust.Channel
	um      float64
}

var (
	countsAbove = countEdges{{dust.N03, 0.3}, {dust.N05, 0.5}, {dust.N10, 1}, {dust.N25, 2.5}, {dust.N50, 5}, {dust.N100, 10}}
	countsUpTo  = countEdges{{dust.NPM05, 0.5}, {dust.NPM1, 1}, {dust.NPM25, 2.5}, {dust.NPM4, 4}, {dust.NPM10, 10}}
)

// Sizes works it out. The error wraps dust.ErrNoReadings if no sensor counted
// particles in the time asked about.
func (s *Study) Sizes(ctx context.Context, p exposure.Particles, w Window) (SizesResult, error) {
	r := SizesResult{Schema: 1, Particles: p, Sensors: []SensorSizes{}, Notes: []string{
		"the sizes are those of calibration spheres that scatter as much light; density and shape are assumed, not measured",
		"particles above the last edge are not in it: for wood dust that is most of the mass",
		"inside a wide bin the mass depends on where the particles lie, which is not known: they are spread evenly over the logarithm of size, and the truth may be half or twice as much",
		"published tests found one or two independent size bins in such sensors: the coarse ones are worked out from the fine ones",
	}}
	if err := p.Check(); err != nil {
		return r, err
	}
	for _, sensor := range s.sensors {
		one, ok, err := s.sensorSizes(ctx, sensor, p, w)
		if err != nil {
			return r, err
		}
		if ok {
			r.Sensors = append(r.Sensors, one)
		}
	}
	if len(r.Sensors) == 0 {
		return r, fmt.Errorf("%w of particle numbers in the time asked about: these sensors send masses only", dust.ErrNoReadings)
	}
	return r, nil
}

func (s *Study) sensorSizes(ctx context.Context, sensor dust.Sensor, p exposure.Particles, w Window) (SensorSizes, bool, error) {
	r := SensorSizes{Sensor: sensor.Name, Model: sensor.Model, Position: sensor.Position, Channels: []ChannelMass{}}
	ask := []dust.Channel{dust.PM1, dust.PM25, dust.PM4, dust.PM10}
	for _, edges := range []countEdges{countsAbove, countsUpTo} {
		for _, e := range edges {
			ask = append(ask, e.channel)
		}
	}
	series, err := s.series(ctx, sensor, ask, w)
	if err != nil {
		return r, false, err
	}
	means := map[dust.Channel]float64{}
	for c, one := range series {
		from, to, _ := one.Bounds()
		mean, measured, ok := exposure.MeasuredMean(one.Usable(from, to))
		if !ok {
			continue
		}
		means[c] = mean
		r.Minutes = max(r.Minutes, measured.Minutes())
	}
	for _, bin := range bins(means) {
		m, err := p.Mass(bin)
		if err != nil {
			return r, false, fmt.Errorf("sensor %q: %w", sensor.Name, err)
		}
		r.add(m)
	}
	for _, c := range ask[:4] {
		if mean, ok := means[c]; ok {
			respirable, _ := exposure.StandsFor(c, exposure.RespirableFraction)
			inhalable, _ := exposure.StandsFor(c, exposure.InhalableFraction)
			r.Channels = append(r.Channels, ChannelMass{c.Label(), mean, respirable, inhalable})
		}
	}
	return r, len(r.Bins) > 0, nil
}

func (r *SensorSizes) add(m exposure.BinMass) {
	if len(r.Bins) == 0 {
		r.Sum.FromUm = m.FromUm
	}
	r.Bins = append(r.Bins, m)
	r.Sum.ToUm = m.ToUm
	r.Sum.PerCm3 += m.PerCm3
	r.Sum.All += m.All
	r.Sum.Inhalable += m.Inhalable
	r.Sum.Thoracic += m.Thoracic
	r.Sum.Respirable += m.Respirable
}

// bins turns cumulative counts into the numbers between neighbouring edges. A
// difference below zero, which rounding can give, is none.
func bins(means map[dust.Channel]float64) (list []exposure.SizeBin) {
	have := func(edges countEdges) (kept countEdges) {
		for _, e := range edges {
			if _, ok := means[e.channel]; ok {
				kept = append(kept, e)
			}
		}
		return kept
	}
	if above := have(countsAbove); len(above) > 1 {
		for i, e := range above[:len(above)-1] {
			n := means[e.channel] - means[above[i+1].channel]
			list = append(list, exposure.SizeBin{FromUm: e.um, ToUm: above[i+1].um, PerCm3: max(0, n)})
		}
		return list
	}
	from, below := 0.3, 0.0
	for _, e := range have(countsUpTo) {
		list = append(list, exposure.SizeBin{FromUm: from, ToUm: e.um, PerCm3: max(0, means[e.channel]-below)})
		from, below = e.um, means[e.channel]
	}
	return list
}
