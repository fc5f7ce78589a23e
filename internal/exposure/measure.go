package exposure

import (
	"slices"
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

// measured is what one series holds in a stretch of time.
type measured struct {
	from, to    time.Time
	spans       []dust.Span // usable ones, if kept
	dose        float64     // ΣC·Δt in µg/m³·ms
	ms          int64
	saturatedMs int64
	humidMs     int64
	excluded    map[string]float64 // minutes of unusable readings by flag
}

// measure keeps the usable spans. For many long stretches, tally does not.
func measure(s *dust.Series, from, to time.Time) measured {
	ms, _, _ := s.Columns()
	first, _ := slices.BinarySearch(ms, from.UnixMilli())
	last, _ := slices.BinarySearch(ms, to.UnixMilli())
	spans := make([]dust.Span, 0, max(0, last-first)+1)
	m := tally(s, from, to, func(p dust.Span) { spans = append(spans, p) })
	m.spans = spans
	return m
}

// tally sums the usable spans and shows each to see.
func tally(s *dust.Series, from, to time.Time, see func(dust.Span)) measured {
	m := measured{from: from, to: to, excluded: map[string]float64{}}
	for p := range s.Spans(from, to) {
		ms := p.To - p.From
		if why := unusable(p); why != "" {
			m.excluded[why] += float64(ms) / msPerMinute
			continue
		}
		see(p)
		m.dose += p.Value * float64(ms)
		m.ms += ms
		if p.Flags.Has(dust.Saturated) {
			m.saturatedMs += ms
		}
		if p.Flags.Has(dust.Humid) {
			m.humidMs += ms
		}
	}
	return m
}

// unusable names the first flag that takes a reading out, so that the excluded
// minutes add up. A value that is no number or below zero is taken out even
// where nobody flagged it.
func unusable(p dust.Span) string {
	for bit := dust.Flags(1); bit != 0 && p.Flags.Unusable(); bit <<= 1 {
		if p.Flags.Has(bit) && bit.Unusable() {
			return bit.String()
		}
	}
	switch {
	case !finite(p.Value):
		return dust.MissingValue.String()
	case p.Value < 0:
		return dust.NegativeMass.String()
	}
	return ""
}

func (m measured) minutes() float64 { return float64(m.ms) / msPerMinute }

func (m measured) length() time.Duration { return m.to.Sub(m.from) }

// coverage is the measured share of the stretch.
func (m measured) coverage() float64 { return float64(m.ms) / float64(m.length().Milliseconds()) }

func (m measured) saturatedShare() float64 { return share(m.saturatedMs, m.ms) }

func (m measured) humidShare() float64 { return share(m.humidMs, m.ms) }

func share(part, whole int64) float64 {
	if whole <= 0 {
		return 0
	}
	return float64(part) / float64(whole)
}

// mean is the measured mean in mg/m³; nil if nothing was measured.
func (m measured) mean() *float64 {
	if m.ms <= 0 {
		return nil
	}
	return milligrams(m.dose / float64(m.ms))
}

// twa divides the dose by a fixed time; unmeasured time counts as zero.
func (m measured) twa(over time.Duration) *float64 {
	if m.ms <= 0 {
		return nil
	}
	return milligrams(m.dose / float64(over.Milliseconds()))
}

// filled is twa with the unmeasured time at the measured mean.
func (m measured) filled(over time.Duration) *float64 {
	if m.ms <= 0 {
		return nil
	}
	return milligrams(m.dose / float64(m.ms) * (float64(m.length()) / float64(over)))
}

// milligrams turns µg/m³ into mg/m³. Sums that left the range of numbers are
// missing, not infinite.
func milligrams(micrograms float64) *float64 {
	x := dust.Concentration(micrograms).MilligramsPerM3()
	if !finite(x) {
		return nil
	}
	return &x
}
