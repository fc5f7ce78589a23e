package clearance

import (
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

func method() words.Text {
	return words.Of("C(t) = Cbg + (C0 − Cbg)·exp(−λt), nonlinear least squares on 20 s means from 1 min after the source is off, weights 1/C², Huber; interval widened for autocorrelation; several decays: Student's t on ln λ, the decay is the unit. One mixed room is assumed.")
}

// comparedRates are the air changes of the published table shown beside a result.
var comparedRates = []float64{2, 4, 6, 8, 10, 12, 15, 20, 50}

// Analyse finds the decays in a trace and says what they tell.
func Analyse(in Input) (Result, error) {
	in = in.withDefaults()
	if err := in.check(); err != nil {
		return Result{}, err
	}
	c := in.Trace.Channel
	r := Result{
		Schema: 1, Metric: c.Key(), Unit: c.Unit(), Sensor: in.Trace.Sensor.Name, Position: string(in.Trace.Sensor.Position),
		VolumeM3: unlessZero(in.VolumeM3), Level: unlessZero(in.Level), Method: method(),
		Decays: []Decay{}, Setups: []SetupClearance{}, Emissions: []TaskEmission{}, Warnings: []words.Text{},
	}
	if in.Background != nil {
		r.BackgroundSensor = in.Background.Sensor.Name
	}
	for _, rate := range comparedRates {
		r.AirChanges = append(r.AirChanges, AirChangeMinute{rate, RemovalMinutes(0.99, rate), RemovalMinutes(0.999, rate)})
	}
	busy, warnings := stretches(in.Tasks)
	r.Warnings = append(r.Warnings, warnings...)
	for _, p := range in.pauses(busy) {
		r.Decays = append(r.Decays, in.decays(p, busy)...)
	}
	choose(r.Decays)
	r.Cleaner = in.cleaner(r.Decays)
	if in.Setup != "" {
		r.Decays = slices.DeleteFunc(r.Decays, func(d Decay) bool { return d.Setup != in.Setup })
	}
	r.Setups = in.bySetup(r.Decays)
	r.Emissions = in.emissions(r.Setups)
	r.Warnings = append(r.Warnings, in.warnings(r, len(busy))...)
	return r, nil
}

// unlessZero is nil for what was not given.
func unlessZero(x float64) *float64 {
	if x == 0 {
		return nil
	}
	return &x
}

// decays are the falls of one pause: the one after the task, and clear drops.
func (in Input) decays(p pause, busy []work) (out []Decay) {
	if p.after != "" && p.to.Sub(p.from) > in.Longest {
		p.to, p.endedBy = p.from.Add(in.Longest), words.Of("the longest time asked for")
	}
	means := in.Trace.between(p.from, p.to)
	if len(means) == 0 {
		if p.after == "" {
			return nil
		}
		d := in.newDecay(p, p.from, p.to)
		d.After, d.State, d.Why = p.after, CannotTell, words.Of("there is no reading after the task")
		return []Decay{d}
	}
	level := smooth(means)
	for i, f := range falls(means, p.endedBy) {
		f = in.atMost(f, means)
		switch {
		case i == 0 && p.after != "":
			out = append(out, in.afterTask(p, means, level, f, busy))
		case f.clear(level):
			out = append(out, in.drop(p, means, f, busy))
		}
	}
	return out
}

// atMost cuts a fall after the longest time a record may last.
func (in Input) atMost(f fall, means []mean) fall {
	last := means[f.peak].ms + in.Longest.Milliseconds()
	for f.end > f.peak+1 && means[f.end-1].ms > last {
		f.end, f.endedBy = f.end-1, words.Of("the longest time asked for")
	}
	return f
}

func (in Input) newDecay(p pause, from, to time.Time) Decay {
	return Decay{Date: from.In(in.Zone).Format(time.DateOnly), Setup: p.setup, From: from, To: to, EndedBy: p.endedBy}
}

// afterTask is the decay after a task's end, or after the peak that follows it:
// people write down the end a little early, and dust takes its time to the sensor.
func (in Input) afterTask(p pause, means []mean, level []float64, f fall, busy []work) Decay {
	from := p.from.Add(settle)
	var late time.Duration
	if level[f.peak] > risen*level[0] {
		peak := means[f.peak].time()
		late = peak.Sub(p.from)
		from = peak.Add(settle)
	}
	if late > lateAtMost {
		d := in.newDecay(p, p.from, means[f.end-1].time())
		d.After, d.State = p.after, CannotTell
		d.Why = words.Of("the dust went on rising until %.0f min after the task's end", late.Minutes())
		return d
	}
	d := in.fitted(p, means[:f.end], from, f.endedBy, busy)
	d.After, d.Pooled = p.after, d.State == Measured
	return d
}

// drop is a fall without a task's end: it is shown, but not pooled.
func (in Input) drop(p pause, means []mean, f fall, busy []work) Decay {
	from := means[f.peak].time().Add(settle)
	d := in.fitted(p, means[:f.end], from, f.endedBy, busy)
	if d.State == Measured {
		d.Why = words.Of("the diary does not say that the source was off, so it does not count for the setup")
	}
	return d
}

// fitted judges the means from a moment on.
func (in Input) fitted(p pause, means []mean, from time.Time, endedBy words.Text, busy []work) Decay {
	end := means[len(means)-1].time().Add(stepMs / 2 * time.Millisecond)
	d := in.newDecay(p, from, end)
	d.EndedBy = endedBy
	first, _ := search(means, from.UnixMilli()+stepMs/2)
	means = means[first:]
	for i, m := range slices.Backward(means) {
		if m.saturated {
			means = means[i+1:]
			break
		}
	}
	d.Means = len(means)
	if len(means) < leastMeans {
		d.State, d.Why = CannotTell, words.Of("%d means of 20 s until %s, at least %d are needed", len(means), endedBy, leastMeans)
		return d
	}
	d.From = means[0].time().Add(-stepMs / 2 * time.Millisecond)
	d.judge(means, in.elsewhere(busy, d.From, d.To), "")
	if in.Background == nil {
		return in.withLevel(d)
	}
	if steady := in.withoutCourse(means); steady != nil {
		other := d
		other.judge(steady, in.elsewhere(busy, d.From, d.To), in.Background.Sensor.Name)
		if other.State == Measured && (d.State != Measured || other.fit.Scatter < d.fit.Scatter) {
			d = other
		}
	}
	return in.withLevel(d)
}

// judge fits the means. course is the sensor whose course was taken off.
func (d *Decay) judge(means []mean, elsewhere *Background, course string) {
	hours, c := columns(means)
	fit, why, err := Judge(hours, c, elsewhere, Options{})
	if err != nil {
		why = reason(err)
	}
	if !why.IsZero() {
		d.State, d.Why = CannotTell, why
		return
	}
	d.State, d.Why, d.Means = Measured, words.Text{}, len(means)
	d.set(fit, elsewhere, course)
}

// withoutCourse takes the ups and downs of the background sensor off: C less
// B − mean of B. What is left goes to a steady level. nil if too little of B was
// measured.
func (in Input) withoutCourse(means []mean) []mean {
	var out []mean
	var level float64
	for _, m := range means {
		if i, found := search(in.Background.means, m.ms); found {
			b := in.Background.means[i].c
			level += b
			m.c -= b
			out = append(out, m)
		}
	}
	if float64(len(out)) < enoughOfCourse*float64(len(means)) || len(out) < leastMeans {
		return nil
	}
	for i := range out {
		out[i].c += level / float64(len(out))
	}
	return out
}

func (in Input) withLevel(d Decay) Decay {
	if d.State != Measured {
		return d
	}
	if in.Level > 0 {
		d.setLevel(in.Level)
	}
	return d
}

func columns(means []mean) (hours, c []float64) {
	const perHour = float64(time.Hour / time.Millisecond)
	for _, m := range means {
		hours, c = append(hours, float64(m.ms-means[0].ms)/perHour), append(c, m.c)
	}
	return hours, c
}

// enoughOfCourse is the share of a record's means that the background sensor must
// have too.
const enoughOfCourse = 0.9

func (d *Decay) set(f Fit, elsewhere *Background, course string) {
	d.fit = f
	d.PerHour, d.Low, d.High = ptr(f.PerHour), ptr(f.Low), ptr(f.High)
	d.HalfLifeMinutes, d.C0, d.Background = ptr(f.HalfLifeMinutes()), ptr(f.C0), ptr(f.Background)
	d.EffectiveMeans, d.WeighedDown, d.ScatterPercent = ptr(f.NEff), f.WeighedDown, ptr(100*f.Scatter)
	d.BackgroundFrom = words.Of("fitted")
	if f.Fixed {
		d.BackgroundFrom = elsewhere.Kind
	}
	if course != "" {
		d.BackgroundFrom = words.Of("%s, course of sensor %q taken off", d.BackgroundFrom, course)
	}
}

func (d *Decay) setLevel(level float64) {
	to, err := d.fit.MinutesTo(level)
	if err != nil {
		d.LevelWhy = words.Of("level %.3g: no fall: the background is %.3g, so clearing does not reach it", level, d.fit.Background)
		return
	}
	d.MinutesToLevel, d.MinutesLow, d.MinutesHigh, d.BeyondRecord = ptr(to.Minutes), ptr(to.Low), ptr(to.High), to.BeyondRecord
	if math.IsInf(to.High, 1) {
		d.LevelWhy = words.Of("the background may not be below the level, so there is no upper limit")
	}
}

// A background from elsewhere is taken to be 20 % uncertain (our choice); another
// sensor of the same make may besides differ by ±10 µg/m³, as their data sheets
// say for low levels, here the half-width of a uniform distribution (JCGM
// 100:2008, 4.3.7).
const (
	backgroundShare = 0.20
	unitToUnit      = 10.0
)

// elsewhere is the background known from outside the record; nil if none is.
func (in Input) elsewhere(busy []work, from, to time.Time) *Background {
	if in.Background != nil {
		means := in.Background.between(from, to)
		if float64(len(means))*stepMs >= enoughOfMean*float64(to.Sub(from).Milliseconds()) {
			var level float64
			for _, m := range means {
				level += m.c / float64(len(means))
			}
			u := backgroundShare * level
			if in.Trace.Channel.IsMass() {
				u = math.Hypot(u, unitToUnit/math.Sqrt(3))
			}
			return &Background{level, u, words.Of("background of sensor %q", in.Background.Sensor.Name)}
		}
	}
	if level, ok := in.quietLevel(busy, from, to); ok {
		return &Background{level, backgroundShare * level, words.Of("day's lowest 10 min of the same sensor")}
	}
	return nil
}

func (in Input) warnings(r Result, tasks int) (out []words.Text) {
	add := func(when bool, text words.Text) {
		if when {
			out = append(out, text)
		}
	}
	c := in.Trace.Channel
	position := in.Trace.Sensor.Position
	add(tasks == 0, words.Of("the diary holds no task here, so no decay is known to have its source off: drops are listed, none is pooled"))
	add(position == dust.BreathingZone, words.Of("the sensor sits in the breathing zone: near a source the first minutes after it are mixing, not clearing; a sensor in the room tells the room's rate better"))
	add(position != dust.Room && position != dust.BreathingZone, words.Of("the sensor sits at %q: its rate is that place's, not the room's", position.Label()))
	add(c == dust.PM4 || c == dust.PM10 || c == dust.PM10Atm, words.Of("%s of an optical sensor is extrapolated from finer particles: its rate is the fine dust's", words.Number(c.Label())))
	measured := slices.ContainsFunc(r.Decays, func(d Decay) bool { return d.State == Measured })
	add(len(r.Decays) > 0 && !measured, words.Of("no decay could be told; let the sensor run for an hour after the dust is made, with nobody at work"))
	return out
}
