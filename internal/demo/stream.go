package demo

import (
	"iter"
	"math"
	"math/rand/v2"
	"time"

	"dustlog/internal/capture"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// Shares of frames that a long cable in a woodshop spoils.
const (
	flipped  = 0.0020 // a bit turned over
	cut      = 0.0010 // the end of the frame missing
	preceded = 0.0015 // noise before the frame
)

// Moment is what a sensor would say at one time.
type Moment struct {
	At     time.Time
	Values dust.Values
}

// Levels yields a sensor's values over the day, at its own pace.
func (d Day) Levels(s dust.Sensor) iter.Seq[Moment] {
	return d.levels(s, d.random(s))
}

func (d Day) levels(s dust.Sensor, r *rand.Rand) iter.Seq[Moment] {
	return func(yield func(Moment) bool) {
		places := d.breathe()
		level := places.at(s.Position)
		at := d.Start.Add(time.Duration(r.IntN(1000)) * time.Millisecond)
		for ; at.Before(d.End()); at = at.Add(interval(s.Model, r)) {
			values := Values(s.Model, level[int(at.Sub(d.Start).Seconds())], r)
			if !yield(Moment{at.Truncate(time.Millisecond), values}) {
				return
			}
		}
	}
}

// silentAfter is when the collector gives a silent line up.
const silentAfter = 10 * time.Second

// Stream yields what comes over a sensor's line on the day, spoiled frames among
// it. On the fourth day the outlet's plug is out for twelve minutes.
func (d Day) Stream(s dust.Sensor) (iter.Seq2[capture.Chunk, error], error) {
	model, err := sensor.ParseModel(s.Model)
	if err != nil {
		return nil, err
	}
	return func(yield func(capture.Chunk, error) bool) {
		r := d.random(s)
		out := d.Start.Add(3*time.Hour + 20*time.Minute)
		back := out.Add(12 * time.Minute)
		unplugged := false
		tell := func(at time.Time, what string, bytes []byte) bool {
			c := capture.Chunk{Wall: at, Elapsed: at.Sub(d.Start), What: what, Bytes: bytes}
			if what == capture.Lost {
				c.Text, c.Silent = "no valid frame in 10s", true
			}
			return yield(c, nil)
		}
		if !tell(d.Start, capture.Open, nil) {
			return
		}
		var frame []byte
		for m := range d.levels(s, r) {
			if s.Name == Outlet && d.index == 3 && m.At.After(out) && m.At.Before(back) {
				if !unplugged && !tell(out.Add(silentAfter), capture.Lost, nil) {
					return
				}
				unplugged = true
				continue
			}
			if unplugged && !tell(m.At, capture.Open, nil) {
				return
			}
			unplugged = false
			if frame, err = sensor.AppendFrame(frame[:0], model, m.Values); err != nil {
				yield(capture.Chunk{}, err)
				return
			}
			if !tell(m.At, capture.Bytes, spoil(frame, r)) {
				return
			}
		}
	}, nil
}

// random returns the generator of one sensor's day.
func (d Day) random(s dust.Sensor) *rand.Rand {
	for i, known := range d.shop.Sensors {
		if known.Name == s.Name {
			return d.shop.random(d.index, i+1)
		}
	}
	return d.shop.random(d.index, len(d.shop.Sensors)+1)
}

// interval is the time to the next frame: about one second, with the jitter of
// the sensor's own clock.
func interval(model string, r *rand.Rand) time.Duration {
	base := time.Second
	if model == "pms5003" {
		base = 920 * time.Millisecond
	}
	return base + time.Duration(r.IntN(13)-6)*time.Millisecond
}

func spoil(frame []byte, r *rand.Rand) []byte {
	switch x := r.Float64(); {
	case x < flipped:
		frame[r.IntN(len(frame))] ^= 1 << r.IntN(8)
	case x < flipped+cut:
		frame = frame[:1+r.IntN(len(frame)-1)]
	case x < flipped+cut+preceded:
		noise := make([]byte, 1+r.IntN(9))
		for i := range noise {
			noise[i] = byte(r.Uint32())
		}
		frame = append(noise, frame...)
	}
	return frame
}

// Values is what a sensor of the model reports in air of that mix. The splits
// over sizes follow the proportions of real recordings of these models.
func Values(model string, m mix, r *rand.Rand) dust.Values {
	noisy := func(x float64) float64 { return math.Max(0, x*(1+0.03*r.NormFloat64())+0.2*r.NormFloat64()) }
	fine, coarse := noisy(m.fine), noisy(m.coarse)
	var v dust.Values
	switch model {
	case "sps30":
		v.Set(dust.PM1, 0.62*fine)
		v.Set(dust.PM25, fine)
		v.Set(dust.PM4, fine+0.45*coarse)
		v.Set(dust.PM10, fine+coarse)
		v.Set(dust.NPM05, 3.5*fine)
		v.Set(dust.NPM1, 4.5*fine)
		v.Set(dust.NPM25, 4.85*fine)
		v.Set(dust.NPM4, 4.85*fine+0.11*coarse)
		v.Set(dust.NPM10, 4.85*fine+0.14*coarse)
		v.Set(dust.TypicalSize, 0.55+0.35*coarse/(fine+coarse+1))
	case "sds011":
		v.Set(dust.PM25, fine)
		v.Set(dust.PM10, fine+coarse)
	case "pms5003":
		v.Set(dust.PM1, 0.6*fine)
		v.Set(dust.PM25, fine)
		v.Set(dust.PM10, fine+coarse)
		v.Set(dust.PM1Atm, atmospheric(0.6*fine))
		v.Set(dust.PM25Atm, atmospheric(fine))
		v.Set(dust.PM10Atm, atmospheric(fine+coarse))
		setCounts(&v, fine, coarse)
	}
	return v
}

// atmospheric is the maker's second scale: equal at first, two thirds higher up.
func atmospheric(x float64) float64 {
	if x <= 30 {
		return x
	}
	return 30 + (x-30)*2/3
}

// setCounts sets counts per cm³ above each size, falling with size.
func setCounts(v *dust.Values, fine, coarse float64) {
	for c, per := range map[dust.Channel]mix{
		dust.N03: {2.0, 0}, dust.N05: {0.6, 0.02}, dust.N10: {0.2, 0.02},
		dust.N25: {0.02, 0.02}, dust.N50: {0, 0.008}, dust.N100: {0, 0.003},
	} {
		v.Set(c, fine*per.fine+coarse*per.coarse)
	}
}
