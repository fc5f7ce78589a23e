package plots

import (
	"math"
	"math/rand/v2"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

func ptr(x float64) *float64 { return &x }

var day = time.Date(2026, 3, 2, 7, 0, 0, 0, time.UTC) // 08:00 in zone

var zone = time.FixedZone("CET", 3600)

// madeUpShift is a shift as a shop might have it: warm-up, sanding, a lunch
// break without readings, sawing with single peaks.
func madeUpShift(seed uint64, every time.Duration) TraceData {
	rnd := rand.New(rand.NewPCG(seed, 1))
	s := dust.NewSeries(dust.Sensor{Name: "bench-1", Model: "PMS5003", Position: dust.BreathingZone}, dust.PM25)
	at := func(h, m int) time.Time { return day.Add(time.Duration(h-8)*time.Hour + time.Duration(m)*time.Minute) }
	tasks := []dust.Task{
		{Name: "planing", Material: "oak", Start: at(8, 20), Stop: at(9, 5)},
		{Name: "sanding", Material: "oak", Start: at(9, 20), Stop: at(11, 10)},
		{Name: "sawing", Material: "birch plywood", Start: at(12, 50), Stop: at(14, 15)},
		{Name: "routing", Material: "MDF", Start: at(14, 30), Stop: at(15, 40)},
		{Name: "sweeping", Start: at(16, 5), Stop: at(16, 20)},
	}
	source := map[string]float64{"planing": 60, "sanding": 240, "sawing": 120, "routing": 420, "sweeping": 380}
	level, end := 12.0, at(16, 30)
	var mean []MeanPoint
	var window []float64
	for t := day; t.Before(end); t = t.Add(every) {
		if t.After(at(11, 55)) && t.Before(at(12, 35)) {
			window = nil
			continue
		}
		target := 14.0
		for _, k := range tasks {
			if !t.Before(k.Start) && t.Before(k.Stop) {
				target = source[k.Name]
			}
		}
		level += (target - level) * (1 - math.Exp(-every.Seconds()/240))
		v := level * math.Exp(0.25*rnd.NormFloat64())
		if rnd.Float64() < 0.0015*every.Seconds() && target > 100 {
			v *= 2 + 2*rnd.Float64()
		}
		var f dust.Flags
		if t.Before(day.Add(5 * time.Minute)) {
			f = dust.WarmUp
		}
		_ = s.Append(t, math.Round(v), f)
		if f == 0 {
			window = append(window, v)
			n := int(15 * time.Minute / every)
			if len(window) >= n && t.Unix()%60 == 0 {
				sum := 0.0
				for _, x := range window[len(window)-n:] {
					sum += x
				}
				mean = append(mean, MeanPoint{At: t, MgM3: sum / float64(n) / 1000})
			}
		}
	}
	return TraceData{
		Shift: exposure.ShiftResult{Date: "2026-03-02", Start: day, End: end, Sensor: "bench-1", Position: dust.BreathingZone,
			Minutes: 510, MinutesMeasured: 465, MinutesExcluded: map[string]float64{"warm_up": 5}, TWA8h: ptr(0.1342), Max15min: ptr(0.43)},
		Series: s, Mean15: mean, Tasks: tasks, LimitMgM3: 5, LimitLabel: words.Literal("limit for wood dust"), LimitAveraging: "8 h",
	}
}

func madeUpComparison() compare.Result {
	rnd := rand.New(rand.NewPCG(3, 1))
	r := compare.Result{Metric: "pm2_5", Unit: "µg/m³", Sensor: "bench-1", Position: "breathing_zone", Before: "hose on blower", After: "separator and fine filter",
		NBefore: 6, NAfter: 7, GMBefore: ptr(210), GMAfter: ptr(88), Ratio: ptr(0.42), CILow: ptr(0.29), CIHigh: ptr(0.61), Confidence: 0.95,
		SmallestChange: 30, Verdict: compare.ReducedEnough, BackgroundSensor: "outside"}
	for i := range 13 {
		s := compare.Session{Setup: r.Before, Start: day.AddDate(0, 0, i), Date: day.AddDate(0, 0, i).Format(time.DateOnly), Adjusted: ptr(210 * math.Exp(0.35*rnd.NormFloat64()))}
		if i >= 6 {
			s.Setup, s.Adjusted = r.After, ptr(88*math.Exp(0.35*rnd.NormFloat64()))
		}
		r.Sessions = append(r.Sessions, s)
	}
	var none words.Text
	coarse := words.Of("indicative: many optical sensors work out coarse dust from the fine signal")
	for i, x := range []struct {
		label, unit   string
		note          words.Text
		before, ratio float64
	}{
		{"PM1", "µg/m³", none, 120, 0.55}, {"PM2.5", "µg/m³", none, 210, 0.42}, {"PM10", "µg/m³", coarse, 320, 0.3},
		{"0.3–0.5 µm", "1/cm³", none, 2600, 0.62}, {"0.5–1 µm", "1/cm³", none, 900, 0.5}, {"1–2.5 µm", "1/cm³", none, 160, 0.41},
		{"2.5–5 µm", "1/cm³", coarse, 12, 0.28}, {"5–10 µm", "1/cm³", coarse, 1.9, 0.22}, {"> 10 µm", "1/cm³", coarse, 0.4, 0.3},
	} {
		w := math.Exp(0.3 + 0.08*float64(i))
		r.Bins = append(r.Bins, compare.Effect{Label: words.Number(x.label).Text(), Unit: x.unit, Note: x.note, Before: ptr(x.before), After: ptr(x.before * x.ratio),
			Ratio: ptr(x.ratio), CILow: ptr(x.ratio / w), CIHigh: ptr(x.ratio * w)})
	}
	return r
}

func madeUpDoses() exposure.Result {
	r := exposure.Result{Metric: "pm2_5"}
	add := func(d string, twa float64, names []string, shares []float64) {
		s := exposure.ShiftResult{Date: d, Sensor: "bench-1", TWA8h: ptr(twa)}
		for i, n := range names {
			s.TaskDoseShares = append(s.TaskDoseShares, exposure.TaskDose{Task: n, Minutes: 30, Share: shares[i]})
		}
		r.Shifts = append(r.Shifts, s)
	}
	add("2026-03-02", 0.134, []string{"sanding", "sawing", "routing", ""}, []float64{0.42, 0.2, 0.3, 0.08})
	add("2026-03-03", 0.071, []string{"planing", "sawing", "sweeping", ""}, []float64{0.2, 0.45, 0.2, 0.15})
	add("2026-03-04", 0.212, []string{"sanding", "sweeping", ""}, []float64{0.8, 0.17, 0.03})
	add("2026-03-05", 0.05, []string{"turning", "gluing up", ""}, []float64{0.55, 0.05, 0.4})
	return r
}
