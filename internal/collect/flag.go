package collect

import (
	"time"

	"dustlog/internal/dust"
)

// Rules for what one sensor's stream tells about its readings.
const (
	// frozenAfter is how long values may stay exactly the same. Real air and a
	// working sensor never do that for a minute (common practice, no source).
	frozenAfter = 60 * time.Second
	// humidAbove is the relative humidity in % from which optical sensors
	// over-read (Atmos. Meas. Tech. 11, 4883, 2018).
	humidAbove = 75.0
)

// flagger adds the flags that need more than one frame to see. It goes by elapsed time,
// which no change of the wall clock disturbs.
type flagger struct {
	warmUp    time.Duration
	warmUntil time.Duration
	previous  dust.Values
	sameSince time.Duration
	started   bool
}

// restart is called when the line was opened: the sensor may just have got power.
func (f *flagger) restart(at time.Duration) {
	f.warmUntil = at + f.warmUp
	f.started = false
}

func (f *flagger) flags(at time.Duration, v dust.Values) dust.Flags {
	var flags dust.Flags
	if at < f.warmUntil {
		flags |= dust.WarmUp
	}
	if rh, ok := v.Get(dust.Humidity); ok && rh > humidAbove {
		flags |= dust.Humid
	}
	if !f.started || v != f.previous {
		f.previous, f.sameSince, f.started = v, at, true
		return flags
	}
	if at-f.sameSince > frozenAfter {
		if allZero(v) {
			flags |= dust.AllZero
		} else {
			flags |= dust.Stuck
		}
	}
	return flags
}

func allZero(v dust.Values) bool {
	for c, x := range v.All() {
		if c != dust.Humidity && c != dust.Temperature && x != 0 {
			return false
		}
	}
	return true
}
