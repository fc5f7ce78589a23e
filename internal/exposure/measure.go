package exposure

import (
	"time"

	"dustlog/internal/dust"
)

const msPerMinute = float64(time.Minute / time.Millisecond)

// Share of a shift or run that must be measured before a low value counts:
// statistics practice for runs, taken over for shifts (no published source).
const enoughCoverage = 0.75

// Share of the measured time at the sensor's top above which a mean is only a
// lower bound (practice for runs, no published source).
const mostSaturated = 0.01

// sums are what readings add up to.
type sums struct {
	dose        float64 // ΣC·Δt in ng/m³·ms
	ms          int64
	saturatedMs int64
	humidMs     int64
	doubtMs     int64 // saturated or humid
	doubtDose   float64
	leftOutMs   int64 // left out, but with a number
	leftOutDose float64
	excludedMs  [32]int64 // unusable readings by number of the flag
}

// plausible reports whether x is a number, finite, and not below zero.
func plausible(x float64) bool { return x >= 0 && x-x == 0 }

// addMind counts time that is used but to be told.
func (s *sums) addMind(mind uint8, ng float64, ms int64) {
	s.doubtMs += ms
	s.doubtDose += ng * float64(ms)
	if mind&mindSaturated != 0 {
		s.saturatedMs += ms
	}
	if mind&mindHumid != 0 {
		s.humidMs += ms
	}
}

// addOdd counts what [from, to) leaves out.
func (s *sums) addOdd(odd []unused, from, to int64) {
	for _, u := range odd {
		if begin, end := max(u.from, from), min(u.to, to); end > begin {
			s.excludedMs[u.flag] += end - begin
			if plausible(u.ng) {
				s.leftOutMs += end - begin
				s.leftOutDose += u.ng * float64(end-begin)
			}
		}
	}
}

// unusable is the first flag that takes a reading out, so that the excluded
// minutes add up; 0 for a usable one. A value that is no number or below zero is
// taken out even where nobody flagged it.
func unusable(value float64, flags dust.Flags) dust.Flags {
	for bit := dust.Flags(1); bit != 0 && flags.Unusable(); bit <<= 1 {
		if flags.Has(bit) && bit.Unusable() {
			return bit
		}
	}
	switch {
	case !finite(value):
		return dust.MissingValue
	case value < 0:
		return dust.NegativeMass
	}
	return 0
}

// measured is what one sensor has of a stretch of time.
type measured struct {
	from, to time.Time
	sums
}

func (s *sums) minutes() float64 { return float64(s.ms) / msPerMinute }

func (s *sums) saturatedShare() float64 { return share(s.saturatedMs, s.ms) }

func (s *sums) humidShare() float64 { return share(s.humidMs, s.ms) }

// excluded are the minutes of unusable readings by flag.
func (s *sums) excluded() map[string]float64 {
	minutes := map[string]float64{}
	for i, ms := range s.excludedMs {
		if ms != 0 {
			minutes[dust.Flags(1<<i).String()] = float64(ms) / msPerMinute
		}
	}
	return minutes
}

func (m *measured) length() time.Duration { return m.to.Sub(m.from) }

// coverage is the measured share of the stretch.
func (m *measured) coverage() float64 { return float64(m.ms) / float64(m.length().Milliseconds()) }

func share(part, whole int64) float64 {
	if whole <= 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// mean is the measured mean in mg/m³; nil if nothing was measured.
func (m *measured) mean() *float64 {
	if m.ms <= 0 {
		return nil
	}
	return milligrams(m.dose / float64(m.ms))
}

// twa divides the dose by a fixed time; unmeasured time counts as zero.
func (m *measured) twa(over time.Duration) *float64 {
	if m.ms <= 0 {
		return nil
	}
	return milligrams(m.dose / float64(over.Milliseconds()))
}

// filled is twa with the unmeasured time at the measured mean.
func (m *measured) filled(over time.Duration) *float64 {
	if m.ms <= 0 {
		return nil
	}
	return milligrams(m.dose / float64(m.ms) * (float64(m.length()) / float64(over)))
}

// withLeftOut is filled as if the readings left out for a flag counted, those
// that have a number; nil if there are none.
func (m *measured) withLeftOut(over time.Duration) *float64 {
	if m.leftOutMs == 0 {
		return nil
	}
	return milligrams((m.dose + m.leftOutDose) / float64(m.ms+m.leftOutMs) * (float64(m.length()) / float64(over)))
}

// withoutDoubt is filled as if humid and saturated readings did not count; nil if
// there are none, or nothing else.
func (m *measured) withoutDoubt(over time.Duration) *float64 {
	if m.doubtMs == 0 || m.doubtMs >= m.ms {
		return nil
	}
	return milligrams((m.dose - m.doubtDose) / float64(m.ms-m.doubtMs) * (float64(m.length()) / float64(over)))
}

// milligrams turns ng/m³ into mg/m³. Sums that left the range of numbers are
// missing, not infinite.
func milligrams(nanograms float64) *float64 {
	x := nanograms / nanogramsPerMilligram
	if !finite(x) {
		return nil
	}
	return &x
}
