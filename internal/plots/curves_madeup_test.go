package plots

import (
	"math"
	"math/rand/v2"
	"time"

	"dustlog/internal/calibrate"
	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/efficiency"
	"dustlog/internal/exposure"
	"dustlog/internal/exposure/group"
	"dustlog/internal/words"
)

// madeUpFalls is a room that clears at 4 1/h under one setup and 9 1/h under the
// other, watched over two tasks.
func madeUpFalls(level float64) ClearanceData {
	rnd := rand.New(rand.NewPCG(5, 1))
	s := dust.NewSeries(dust.Sensor{Name: "shelf", Model: "SPS30", Position: dust.Room}, dust.PM25)
	hour := func(h float64) time.Time { return day.Add(time.Duration(h * float64(time.Hour))) }
	tasks := []dust.Task{{Name: "sawing", Material: "oak", Start: hour(0.1), Stop: hour(0.6)}, {Name: "sanding", Start: hour(3), Stop: hour(3.5)}}
	c := 12.0
	for at := day; at.Before(hour(5)); at = at.Add(2 * time.Second) {
		rate, source := 4.0, 0.0
		if at.After(hour(2)) {
			rate = 9
		}
		for _, t := range tasks {
			if !at.Before(t.Start) && at.Before(t.Stop) {
				source = 300
			}
		}
		c += (12 + source - c) * (1 - math.Exp(-rate*2/3600))
		_ = s.Append(at, math.Max(0, c*(1+0.35*rnd.NormFloat64())), 0)
	}
	trace := clearance.NewTrace(s.Sensor, s.Channel)
	trace.Add(s)
	r, err := clearance.Analyse(clearance.Input{Trace: trace, Tasks: tasks, Level: level, Zone: zone,
		Setups: []dust.SetupPeriod{{Setup: "window shut", From: day.Add(-time.Hour), To: hour(2)}, {Setup: "air cleaner on", From: hour(2)}}})
	if err != nil {
		panic(err)
	}
	return ClearanceData{Result: r, Trace: trace, Falls: FallsTo(r, r.Decays), Zone: zone}
}

// madeUpGroups is one group well below its limit and one that reaches over it.
func madeUpGroups() []exposure.GroupResult {
	return []exposure.GroupResult{
		groupOf("hose on blower", 5, 0.41, 0.52, 0.33, 0.61, 0.47, 0.72, 0.38),
		groupOf("separator and fine filter", 0.5, 0.11, 0.16, 0.08, 0.24, 0.13, 0.31),
	}
}

func groupOf(setup string, limit float64, values ...float64) exposure.GroupResult {
	var list []group.Value
	for i, v := range values {
		list = append(list, group.Value{Label: day.AddDate(0, 0, i).Format(time.DateOnly), MgM3: v})
	}
	return exposure.GroupResult{Sensor: "bench-1", Position: dust.BreathingZone, Setup: setup, Values: words.Join(", ", words.Of("the sensor's own reading"), words.Literal("mean over 8 h")), Summary: group.Summarise(list, limit, group.Options{})}
}

// madeUpSideBySide is two sensors beside a reference for three hours.
func madeUpSideBySide() SideBySideData {
	rnd := rand.New(rand.NewPCG(6, 1))
	beside := make([]calibrate.Beside, 3)
	for i, name := range []string{"bench-1", "shelf", "door"} {
		beside[i].Mass = dust.NewSeries(dust.Sensor{Name: name}, dust.PM25)
	}
	for s := range 3 * 3600 {
		true := 60 + 50*math.Sin(float64(s)/260) + 20*math.Sin(float64(s)/71)
		for i, gain := range []float64{1, 1.3, 0.8} {
			_ = beside[i].Mass.Append(day.Add(time.Duration(s)*time.Second), math.Max(0, 2*float64(i)+gain*true*(1+0.25*rnd.NormFloat64())), 0)
		}
	}
	c, err := calibrate.Collocate(beside, day, day.Add(3*time.Hour), calibrate.CollocationOptions{})
	if err != nil {
		panic(err)
	}
	d := SideBySideData{Collocation: c, Means: map[string][]float64{}, Zone: zone}
	for _, b := range beside {
		d.Means[b.Mass.Sensor.Name] = c.MeansOf(b.Mass)
	}
	return d
}

// madeUpFactor is six filters beside a sensor, one of them below its detection
// limit.
func madeUpFactor(pairs ...[2]float64) FactorData {
	d := FactorData{Sensor: "bench-1"}
	for i, p := range pairs {
		s := calibrate.Pairable{ID: int64(i + 3)}
		s.Fraction, s.Source, s.Volume, s.WeighingSD = exposure.RespirableFraction, "a made-up method", 900, 0.01
		s.Sensor = &calibrate.SensorBeside{Metric: "pm2_5", SensorMean: calibrate.SensorMean{Mean: 1000 * p[0], MeasuredShare: 1}}
		if p[1] < 0 {
			s.AtMost, s.Sensor.Why = ptr(-p[1]), "below the detection limit"
		} else {
			s.Detected, s.Concentration, s.Uncertainty, s.Sensor.Pair = true, ptr(p[1]), ptr(15.0), ptr(p[1]/p[0])
		}
		d.Samples = append(d.Samples, s)
	}
	var err error
	if d.Fit, err = calibrate.FitFactor(d.Samples); err != nil {
		panic(err)
	}
	return d
}

func usualFactor() FactorData {
	return madeUpFactor([2]float64{0.2, 0.52}, [2]float64{0.35, 0.8}, [2]float64{0.11, 0.33}, [2]float64{0.5, 1.15}, [2]float64{0.28, 0.79}, [2]float64{0.04, -0.11})
}

func madeUpLoading() efficiency.Result {
	r := efficiency.Result{Upstream: "duct", Downstream: "outlet"}
	for _, s := range []struct {
		setup string
		slope float64
	}{{"new cartridge", -0.12}, {"old bag", 0.09}} {
		l := &efficiency.Loading{Label: "0.5–1 µm"}
		for i := range 9 {
			hours := float64(i) * 1.5
			l.Runs = append(l.Runs, efficiency.LoadingRun{Date: day.AddDate(0, 0, i).Format(time.DateOnly), Task: "sawing", HoursBefore: hours, Minutes: 60,
				Penetration: ptr(8 * math.Exp(s.slope*(hours+0.5)) * (1 + 0.1*math.Sin(float64(7*i))))})
		}
		l.AtStart = ptr(8.0)
		l.ChangePer10h, l.ChangeLow, l.ChangeHigh = ptr(100*math.Expm1(10*s.slope)), ptr(100*math.Expm1(10*s.slope-0.3)), ptr(100*math.Expm1(10*s.slope+0.3))
		r.Setups = append(r.Setups, efficiency.SetupEfficiency{Setup: s.setup, Loading: l})
	}
	return r
}

// madeUpQuarters is n days of work from eight to five with a lunch break.
func madeUpQuarters(n int, height float64) WeekData {
	d := WeekData{Sensor: dust.Sensor{Name: "bench-1", Model: "PMS5003", Position: dust.BreathingZone}, Channel: dust.PM25,
		LimitMgM3: 0.3, LimitLabel: words.Literal("limit"), LimitAveraging: "8 h"}
	first := time.Date(2026, time.March, 2, 0, 0, 0, 0, zone)
	d.From, d.To = first, first.AddDate(0, 0, n)
	for i := range n {
		for q := 8 * 4; q < 17*4; q++ {
			if q == 12*4 || q == 12*4+1 || i%7 > 4 {
				continue
			}
			v := height * (0.15 + math.Abs(math.Sin(float64(q)/5+float64(i)))*math.Abs(math.Sin(float64(q)/2.3)))
			d.Means = append(d.Means, exposure.MeanPoint{At: first.AddDate(0, 0, i).Add(time.Duration(q+1) * quarter), MgM3: v})
		}
	}
	return d
}

// madeUpMonths is n days of several sensors, a reading every step.
func madeUpMonths(n int, step time.Duration) []*Envelope {
	var out []*Envelope
	for k, name := range []string{"bench-1", "shelf", "store room", "outlet"} {
		e := NewEnvelope(dust.Sensor{Name: name, Model: "SPS30", Position: dust.Room}, dust.PM25, day, day.AddDate(0, 0, n))
		for i := range n {
			if (i+k)%9 == 8 {
				continue // a day without readings
			}
			if err := e.Add(madeUpDay(day.AddDate(0, 0, i), step, k)); err != nil {
				panic(err)
			}
		}
		out = append(out, e)
	}
	return out
}

func madeUpDay(from time.Time, step time.Duration, k int) exposure.Columns {
	c := exposure.Columns{PerUnit: 10, Hold: max(dust.DefaultHold, 2*step)}
	rnd := rand.New(rand.NewPCG(uint64(from.Unix()), uint64(k)))
	for at := from; at.Before(from.AddDate(0, 0, 1)); at = at.Add(step) {
		v := 80 + rnd.IntN(60)
		if h := at.Hour(); h >= 8 && h < 17 {
			v += rnd.IntN(900)
		}
		if rnd.IntN(40000) == 0 {
			v *= 8
		}
		f := dust.Flags(0)
		if at.Sub(from) < 5*time.Minute && k == 1 {
			f = dust.WarmUp
		}
		c.MS, c.Ints, c.Flags = append(c.MS, at.UnixMilli()), append(c.Ints, int32(v)), append(c.Flags, f)
	}
	return c
}

// curvePictures are the same for extreme data.
func curvePictures() []picture {
	falls := func(name string, d ClearanceData) picture {
		return picture{"clearance/" + name, func(o Options) (*figure, error) { return d.draw(o), nil }}
	}
	cannot := madeUpFalls(0)
	for i := range cannot.Falls {
		f := &cannot.Falls[i]
		f.State, f.Why, f.PerHour, f.C0, f.Background = clearance.CannotTell, words.Literal(longName), nil, nil, nil
	}
	late := madeUpFalls(14)
	late.Falls[0].Minutes, late.Falls[0].Upper = ptr(5000), nil
	named := madeUpFalls(50)
	named.Result.Sensor, named.Falls[0].Setup, named.Falls[0].After, named.Falls[0].BackgroundFrom = longName, longName, longName, words.Literal(longName)
	empty := madeUpFalls(0)
	empty.Trace = clearance.NewTrace(dust.Sensor{Name: "x"}, dust.PM25)
	empty.Falls = empty.Falls[:1]
	empty.Falls[0].C0, empty.Falls[0].Background, empty.Falls[0].State = nil, nil, clearance.CannotTell

	probability := func(name string, g ...exposure.GroupResult) picture {
		return picture{"probability/" + name, func(o Options) (*figure, error) { return drawProbability(drawable(g), o), nil }}
	}
	wordy := groupOf(longName, 1, 0.2, 0.3, 0.5)
	wordy.Sensor, wordy.Values = longName, words.Literal(longName)
	below := groupOf("below", 1, 0.2, 0.3, 0.25, 0.4)
	below.Plot[0].Below, below.Plot[1].MgM3 = true, 0
	many := make([]float64, 60)
	for i := range many {
		many[i] = 0.1 * math.Exp(math.Sin(float64(i*7)))
	}

	beside := func(name string, d SideBySideData) picture {
		return picture{"side by side/" + name, func(o Options) (*figure, error) { return d.draw(d.panels(), o), nil }}
	}
	noLine := madeUpSideBySide()
	noLine.Others[0].Deming, noLine.Others[0].Why = nil, longName
	noLine.Others[1].Sensor, noLine.Reference = longName, longName
	noLine.Means[longName] = []float64{0, 1e6, math.NaN()}
	factor := func(name string, d FactorData) picture {
		return picture{"factor/" + name, func(o Options) (*figure, error) { return d.draw(d.panel(), o), nil }}
	}

	load := func(name string, r efficiency.Result) picture {
		return picture{"loading/" + name, func(o Options) (*figure, error) { return drawLoading(r, loadings(r), o), nil }}
	}
	few := madeUpLoading()
	few.Setups[0].Setup, few.Setups[0].Loading.Label, few.Setups[0].Loading.Why = longName, longName, words.Literal(longName)
	few.Setups[0].Loading.Runs, few.Setups[0].Loading.AtStart, few.Setups[0].Loading.ChangePer10h = few.Setups[0].Loading.Runs[:1], nil, nil
	few.Setups[1].Loading.Runs[0].Penetration, few.Setups[1].Loading.Runs[1].Penetration, few.Setups[1].Loading.Runs[2].Penetration = ptr(0), nil, ptr(1e4)

	week := func(name string, d WeekData) picture {
		return picture{"week/" + name, func(o Options) (*figure, error) {
			o.Zone = zone
			return newWeek(d, o).draw(), nil
		}}
	}
	one := madeUpQuarters(1, 1)
	one.Means = one.Means[:1]
	zero := madeUpQuarters(3, 0)
	odd := madeUpQuarters(2, 1e9)
	odd.Sensor.Name, odd.LimitLabel = longName, words.Literal(longName)
	odd.Means[1].MgM3, odd.Means[2].MgM3 = math.NaN(), -1
	night := madeUpQuarters(2, 0.2)
	for h := range 24 {
		night.Means = append(night.Means, exposure.MeanPoint{At: night.From.Add(time.Duration(h) * time.Hour), MgM3: 0.01})
	}

	flat := NewEnvelope(dust.Sensor{Name: longName, Model: longName}, dust.PM25, day, day.Add(time.Hour))
	_ = flat.Add(exposure.Columns{MS: []int64{day.UnixMilli()}, Floats: []float64{0}, Flags: []dust.Flags{0}})
	left := NewEnvelope(dust.Sensor{Name: "left out"}, dust.PM25, day, day.Add(time.Hour))
	_ = left.Add(exposure.Columns{MS: []int64{day.UnixMilli()}, Floats: []float64{3}, Flags: []dust.Flags{dust.Stuck}})
	long := func(name string, list ...*Envelope) picture {
		return picture{"months/" + name, func(o Options) (*figure, error) { return newMonths(list, o).draw(), nil }}
	}

	return []picture{
		falls("usual", madeUpFalls(0)), falls("level", madeUpFalls(50)), falls("cannot tell", cannot), falls("late", late), falls("long names", named), falls("no mean", empty),
		probability("usual", madeUpGroups()...), probability("one shift", groupOf("", 5, 0.2)), probability("two equal", groupOf("x", 5, 0.2, 0.2)),
		probability("tiny", groupOf("x", 5, 1e-6, 3e-6, 2e-6)), probability("wide", groupOf("x", 0.1, 1e-4, 10, 1000)), probability("long names", wordy),
		probability("below detection", below), probability("60 shifts", groupOf("x", 5, many...)), probability("no limit", groupOf("x", 0, 0.3, 0.4, 0.2)),
		beside("usual", madeUpSideBySide()), beside("no line", noLine),
		factor("usual", usualFactor()), factor("one pair", madeUpFactor([2]float64{0.2, 0.3})), factor("wide", madeUpFactor([2]float64{1e-3, 1e-3}, [2]float64{1e-3, 5}, [2]float64{1e-3, 1e-2})),
		load("usual", madeUpLoading()), load("few and odd", few),
		week("usual", madeUpQuarters(7, 0.25)), week("limit crossed", madeUpQuarters(7, 0.6)), week("one mean", one), week("all zero", zero), week("huge and odd", odd),
		week("two months", madeUpQuarters(62, 0.2)), week("nights", night),
		long("usual", madeUpMonths(20, time.Minute)...), long("one reading, and none", flat, left),
	}
}
