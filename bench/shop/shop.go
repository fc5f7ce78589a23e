// Package shop makes the readings that dustlog is measured with: sensors of an
// invented shop at one reading a second, for as many days as asked. The same seed
// gives the same readings. Their statistics are invented; what matters to
// storage and speed is like real sensors: resolution, jitter, gaps, noise.
package shop

import (
	"math"
	"math/rand/v2"
	"time"

	"dustlog/internal/dust"
)

// Shop is an invented shop.
type Shop struct {
	Seed    uint64
	Sensors int
	Begin   time.Time // a UTC midnight
}

// Sensor is the sensor with number k.
func (s Shop) Sensor(k int) dust.Sensor {
	positions := []dust.Position{dust.BreathingZone, dust.Room, dust.Exhaust, dust.Background}
	return dust.Sensor{Name: []string{"bench", "room", "outlet", "outside"}[k%4] + suffix(k/4), Model: "pms5003", Position: positions[k%4]}
}

func suffix(n int) string {
	if n == 0 {
		return ""
	}
	return "-" + string(rune('a'+n-1))
}

// Day makes one UTC day of one sensor: a lognormal background that wanders over
// 45 s and over 1 h, eight bursts of work between 07 and 17 h of 12 min and
// 180 µg/m³ in the median, up to 4000; a clock that drifts and jitters by 6 ms;
// 0.05 % of the readings lost; every second day a gap of 10 s to 2 h, after
// which the sensor warms up.
func (s Shop) Day(k, day int) []dust.Reading {
	r := rand.New(rand.NewPCG(s.Seed, uint64(k)<<32|uint64(day)))
	sensor := s.Sensor(k).Name
	begin := s.Begin.AddDate(0, 0, day).UnixMilli()
	extra := bursts(r)
	gap, gapEnd := -1, -1
	if r.IntN(2) == 0 {
		gap = r.IntN(86_400)
		gapEnd = gap + int(10*math.Pow(720, r.Float64()))
	}
	fast, slow := r.NormFloat64()*0.3, r.NormFloat64()*0.5
	readings := make([]dust.Reading, 0, 86_400)
	phase := 100 + float64(r.IntN(800))
	for i := range 86_400 {
		fast = next(r, fast, 0.3, 45)
		slow = next(r, slow, 0.5, 3600)
		lost := r.IntN(2000) == 0
		if lost || (i >= gap && i < gapEnd) {
			continue
		}
		reading := dust.Reading{Sensor: sensor}
		drift := phase + float64(i)*0.002 // 2 ms in 1000 s
		reading.Time = time.UnixMilli(begin + int64(i)*1000 + int64(min(900, max(0, drift+6*r.NormFloat64())))).UTC()
		if i >= gapEnd && i < gapEnd+30 {
			reading.Flags = dust.WarmUp
		}
		fill(r, &reading.Values, 8*math.Exp(fast+slow)+extra[i]*math.Exp(0.5*fast), float64(i))
		readings = append(readings, reading)
	}
	return readings
}

// next is a step of a process that wanders with a time constant in seconds.
func next(r *rand.Rand, x, sd, tau float64) float64 {
	keep := math.Exp(-1 / tau)
	return keep*x + sd*math.Sqrt(1-keep*keep)*r.NormFloat64()
}

// bursts is what work adds to the background, µg/m³, second by second.
func bursts(r *rand.Rand) []float64 {
	extra := make([]float64, 86_400)
	for at := 7 * 3600.0; ; {
		at += r.ExpFloat64() * 10 * 3600 / 8
		if at >= 17*3600 {
			return extra
		}
		length := 720 * math.Exp(0.6*r.NormFloat64())
		level := min(4000, 180*math.Exp(1.1*r.NormFloat64()))
		for i := int(math.Ceil(at)); i < min(86_400, int(at+length)+900); i++ {
			since := float64(i) - at
			extra[i] += level * (1 - math.Exp(-since/40)) * math.Exp(-max(0, since-length)/200)
		}
	}
}

// fill sets the row of a sensor with ten channels of dust: with time and flags 14 columns.
func fill(r *rand.Rand, v *dust.Values, pm25, second float64) {
	tenths := func(x float64) float64 { return math.Round(x*10) / 10 }
	v.Set(dust.PM1, tenths(pm25*(0.7+0.02*r.NormFloat64())))
	v.Set(dust.PM25, tenths(pm25))
	v.Set(dust.PM4, tenths(pm25*(1.15+0.02*r.NormFloat64())))
	v.Set(dust.PM10, tenths(pm25*(1.3+0.04*r.NormFloat64())))
	before := math.Inf(1)
	for i, c := range []dust.Channel{dust.N03, dust.N05, dust.N10, dust.N25, dust.N50, dust.N100} {
		count := pm25 * perMicrogram[i]
		noisy := min(before, max(0, math.Round(count+math.Sqrt(count)*r.NormFloat64())))
		v.Set(c, noisy/100) // per 0.1 L, as sent, to 1/cm³
		before = noisy
	}
	v.Set(dust.Humidity, tenths(45+6*math.Sin(second/14_000)))
	v.Set(dust.Temperature, tenths(19+2*math.Sin(second/14_000+2)))
}

// perMicrogram are particles per 0.1 L above 0.3, 0.5, 1, 2.5, 5 and 10 µm for
// 1 µg/m³ of PM2.5, about what small sensors send indoors (from memory).
var perMicrogram = [...]float64{150, 44, 8, 0.8, 0.2, 0.1}
