package respirator

import (
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Rules say how careful the machine is. The zero Rules are the defaults.
type Rules struct {
	Stale  time.Duration // a sensor without a usable reading for longer counts as lost; 0: 10 s
	Settle time.Duration // a laxer answer must hold for so long; 0: 1 min
}

func (r Rules) withDefaults() Rules {
	if r.Stale <= 0 {
		r.Stale = 10 * time.Second
	}
	if r.Settle <= 0 {
		r.Settle = time.Minute
	}
	return r
}

// Watched is a sensor that the answer rests on.
type Watched struct {
	Sensor   dust.Sensor
	Channels []dust.Channel // mass, the first that a reading has
	Sleeps   time.Duration  // how long it is silent by plan; 0: never. Asleep for over two minutes it tells nothing
}

// The stretches that readings are averaged over: the short one sees dust come, the
// long one does not forget it with one clean breath.
const (
	shortMean = 20 * time.Second
	longMean  = 2 * time.Minute
)

// watch is one sensor's latest readings.
type watch struct {
	Watched
	stale    time.Duration
	readings []sample // usable ones of the last longMean, by the newest
	began    time.Duration
	newest   dust.Flags // of the newest reading, usable or not
	missing  bool       // the newest reading has no number
	any      bool       // there was one
}

type sample struct {
	at        time.Duration // elapsed
	ugM3      float64
	saturated bool
}

func newWatch(w Watched, rules Rules, at time.Duration) *watch {
	return &watch{Watched: w, stale: rules.Stale + w.Sleeps, began: at}
}

// take looks at a reading that arrived at a moment.
func (w *watch) take(at time.Duration, r dust.Reading) {
	w.any, w.newest, w.missing = true, r.Flags, true
	for _, c := range w.Channels {
		x, ok := r.Values.Get(c)
		if !ok {
			continue
		}
		flags := r.Flags.For(c)
		w.missing = false
		if flags.Unusable() || flags.Has(dust.ClockStep) || flags.Has(dust.MissingValue) || x-x != 0 || x < 0 {
			return
		}
		w.readings = append(w.readings, sample{at, x, flags.Has(dust.Saturated)})
		old := 0
		for old < len(w.readings) && w.readings[old].at <= at-longMean {
			old++
		}
		w.readings = w.readings[old:]
		return
	}
}

// last is when the newest usable reading came, or when watching began.
func (w *watch) last() time.Duration {
	if n := len(w.readings); n > 0 {
		return w.readings[n-1].at
	}
	return w.began
}

// trouble is what is wrong with the sensor; no cause if nothing is.
func (w *watch) trouble(at time.Duration) (Cause, words.Text) {
	silent := at - w.last()
	name := words.Of("sensor %q", w.Sensor.Name)
	switch {
	case len(w.readings) > 0 && w.Sleeps > 0 && silent > longMean && silent <= w.stale:
		return NoData, words.Of("%s sleeps by plan and has seen nothing for %s: nobody knows what the air is like meanwhile", name, seconds(silent))
	case len(w.readings) > 0 && silent <= w.stale:
		if w.saturated() {
			return Saturated, words.Of("%s was at the top of its range within the last two minutes: the air is at least that dusty", name)
		}
		return "", words.Text{}
	case len(w.readings) == 0 && silent <= w.stale:
		return Starting, words.Of("%s has not sent a usable reading yet", name)
	case w.any && w.missing:
		return NoData, words.Of("%s has sent no number for %s", name, seconds(silent))
	case w.newest != 0:
		return NoData, words.Of("%s has sent nothing usable for %s (%s)", name, seconds(silent), exposure.FlagsText(w.newest))
	}
	if !w.any {
		return NoData, words.Of("%s has sent nothing in the last %s", name, seconds(silent))
	}
	return NoData, words.Of("%s has sent nothing for %s", name, seconds(silent))
}

func (w *watch) saturated() bool {
	return slices.ContainsFunc(w.readings, func(s sample) bool { return s.saturated })
}

func seconds(d time.Duration) words.Text {
	if d >= 2*time.Minute {
		return words.Of("%.0f min", d.Minutes())
	}
	return words.Of("%.0f s", d.Seconds())
}

// mean is that of the usable readings of the last stretch, µg/m³. There must be one.
func (w *watch) mean(of time.Duration) float64 {
	var sum, n float64
	for _, s := range w.readings {
		if s.at > w.last()-of {
			sum += s.ugM3
			n++
		}
	}
	return sum / n
}

// level is the higher of the short and the long mean, µg/m³.
func (w *watch) level() float64 { return max(w.mean(shortMean), w.mean(longMean)) }

func (w *watch) speaksForPerson() bool { return w.Sensor.Position == dust.BreathingZone }

// Watch chooses the sensors that count: those where someone breathes.
func Watch(sensors []dust.Sensor, atmospheric bool) (chosen []Watched) {
	channels := []dust.Channel{dust.PM25}
	if atmospheric {
		channels = []dust.Channel{dust.PM25Atm, dust.PM25}
	}
	for _, s := range sensors {
		if s.Position == dust.BreathingZone || s.Position == dust.Room {
			chosen = append(chosen, Watched{Sensor: s, Channels: channels})
		}
	}
	return chosen
}
