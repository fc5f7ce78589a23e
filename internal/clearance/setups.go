package clearance

import (
	"cmp"
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// enoughFitted decays with a background of their own need none from elsewhere.
const enoughFitted = 3

// choose takes decays with a background from elsewhere out of the pool where the
// setup has enough without: an error of that background would be in all of them.
func choose(decays []Decay) {
	fitted := map[string]int{}
	for _, d := range decays {
		if d.Pooled && !d.fit.Fixed {
			fitted[d.Setup]++
		}
	}
	for i := range decays {
		if d := &decays[i]; d.Pooled && d.fit.Fixed && fitted[d.Setup] >= enoughFitted {
			d.Pooled = false
			d.Why = words.Of("its background is from elsewhere and the setup has enough decays without, so it is not pooled")
		}
	}
}

// bySetup pools the decays of each setup, in the order of first use.
func (in Input) bySetup(decays []Decay) []SetupClearance {
	out := []SetupClearance{}
	for _, d := range decays {
		if !slices.ContainsFunc(out, func(s SetupClearance) bool { return s.Setup == d.Setup }) {
			out = append(out, in.pool(d.Setup, decays))
		}
	}
	return out
}

func (in Input) pool(setup string, decays []Decay) SetupClearance {
	s := SetupClearance{Setup: setup}
	var fits []Fit
	for _, d := range decays {
		switch {
		case d.Setup != setup:
		case d.Pooled:
			fits = append(fits, d.fit)
		case d.After != "":
			s.LeftOut++
		}
	}
	s.Runs = len(fits)
	p, err := Pool(fits)
	if err != nil {
		s.Why = words.Of("no decay after a task could be told")
		return s
	}
	s.pooled = p
	s.PerHour, s.Low, s.High, s.NextLow = ptr(p.PerHour), ptr(p.Low), ptr(p.High), ptr(p.NextLow)
	s.SpreadPercent = ptr(100 * math.Expm1(p.SpreadLn))
	s.HalfLifeMinutes, s.Background = ptr(halfLife(p.PerHour)), ptr(p.Background)
	s.Minutes99, s.Minutes999 = ptr(RemovalMinutes(0.99, p.PerHour)), ptr(RemovalMinutes(0.999, p.PerHour))
	if in.VolumeM3 > 0 {
		s.CleanAirM3H = ptr(CleanAir(in.VolumeM3, p.PerHour))
		s.CleanAirLowM3H, s.CleanAirHighM3H = ptr(CleanAir(in.VolumeM3, p.Low)), ptr(CleanAir(in.VolumeM3, p.High))
		s.CleanAirCFM = ptr(units.M3H(*s.CleanAirM3H).CFM())
	}
	switch s.Runs {
	case 1:
		s.Why = words.Of("one decay: how much runs differ is not known, so there is no interval")
	case 2:
		s.Why = words.Of("two decays: the interval is as wide as two values make it")
	}
	if in.Level > 0 {
		dustiest := slices.MaxFunc(fits, func(a, b Fit) int { return cmp.Compare(a.C0, b.C0) }).C0
		wait := MinutesUntil(in.Level, dustiest, p.Rate())
		s.Dustiest, s.Wait = ptr(dustiest), &wait
	}
	return s
}

// cleaner is the delivery rate of an air cleaner, if it was asked about.
func (in Input) cleaner(decays []Decay) *CleanerDelivery {
	if in.On == "" {
		return nil
	}
	rates := func(setup string) (perHour []float64) {
		for _, d := range decays {
			if d.Pooled && d.Setup == setup {
				perHour = append(perHour, d.fit.PerHour)
			}
		}
		return perHour
	}
	out := &CleanerDelivery{On: in.On, Off: in.Off}
	on, off := rates(in.On), rates(in.Off)
	out.RunsOn, out.RunsOff = len(on), len(off)
	if in.VolumeM3 == 0 {
		out.Why = words.Of("the volume of the room is not known")
		return out
	}
	d, err := CADR(in.VolumeM3, on, off)
	if err != nil {
		out.Why = words.Literal(err.Error())
		return out
	}
	out.CADRM3H, out.LowM3H, out.HighM3H, out.CADRCFM = ptr(d.M3PerHour), ptr(d.Low), ptr(d.High), ptr(units.M3H(d.M3PerHour).CFM())
	switch {
	case out.LowM3H == nil:
		out.Why = words.Of("with fewer than two decays in either state there is no interval")
	case d.Low <= 0:
		out.Why = words.Of("the interval includes zero: no effect of the air cleaner is shown")
	}
	return out
}

// emissions is what each task gave off, by the rate of its setup.
func (in Input) emissions(setups []SetupClearance) []TaskEmission {
	out := []TaskEmission{}
	if in.VolumeM3 == 0 || !in.Trace.Channel.IsMass() {
		return out
	}
	for i, t := range in.Tasks {
		if t.Check() != nil || t.Running() {
			continue
		}
		e := TaskEmission{
			Date: t.Start.In(in.Zone).Format(time.DateOnly), Task: t.Name,
			Setup: dust.SetupAt(in.Setups, t.Start), Minutes: t.Stop.Sub(t.Start).Minutes(),
		}
		if in.Setup != "" && e.Setup != in.Setup {
			continue
		}
		in.emit(&e, i, setups)
		out = append(out, e)
	}
	return out
}

func (in Input) emit(e *TaskEmission, index int, setups []SetupClearance) {
	t := in.Tasks[index]
	at := slices.IndexFunc(setups, func(s SetupClearance) bool { return s.Setup == e.Setup && s.Runs > 0 })
	if at < 0 {
		e.Why = words.Of("the setup's clearance rate is not known")
		return
	}
	for i, u := range in.Tasks {
		if i != index && (u.Stop.IsZero() || u.Stop.After(t.Start)) && u.Start.Before(t.Stop) {
			e.Why = words.Of("%q was on at the same time", u.Name)
			return
		}
	}
	means := in.Trace.between(t.Start, t.Stop)
	whole := int(t.Stop.Sub(t.Start).Milliseconds()/stepMs) - 1
	if len(means) < max(whole, 2) {
		e.Why = words.Of("readings are missing")
		return
	}
	if slices.ContainsFunc(means, func(m mean) bool { return m.saturated }) {
		e.Why = words.Of("readings were at the top of the sensor's range: at least")
	}
	p := setups[at].pooled
	hours, c := columns(means)
	const microgramsPerMilligram = 1000
	mass := func(perHour float64) *float64 {
		m, err := Emission(hours, c, in.VolumeM3, perHour, p.Background)
		if err != nil {
			return nil
		}
		return ptr(m / microgramsPerMilligram)
	}
	e.MassMg, e.LowMg, e.HighMg = mass(p.PerHour), mass(p.Low), mass(p.High)
	if e.LowMg != nil && e.HighMg != nil && *e.LowMg > *e.HighMg {
		e.LowMg, e.HighMg = e.HighMg, e.LowMg
	}
	if e.MassMg != nil {
		e.MgPerMin = ptr(*e.MassMg / (60 * hours[len(hours)-1]))
	}
}
