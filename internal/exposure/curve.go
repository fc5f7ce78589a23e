package exposure

import (
	"time"

	"dustlog/internal/dust"
)

// MeanPoint is the mean over the 15 minutes before a moment.
type MeanPoint struct {
	At   time.Time
	MgM3 float64
}

// Mean15Curve is the rolling 15-minute mean of a series in µg/m³, in mg/m³, one
// point a minute, for drawing. Each point is what Max15min weighs: the mean over
// the measured part of (t−15 min, t], left out where less than 75 % of the window
// was measured or where it begins before from.
func Mean15Curve(s *dust.Series, from, to time.Time) []MeanPoint {
	var b buffer
	if ms, _, _ := s.Columns(); len(ms) > 0 {
		b.addSeries(s, 0, never)
	}
	var all stretch
	all.fill(&b, from.UnixMilli(), to.UnixMilli())
	var curve []MeanPoint
	minute := time.Minute.Milliseconds()
	for t := all.from + windowMs; t <= all.to; t += minute {
		doseHead, msHead := all.upTo(t)
		doseTail, msTail := all.upTo(t - windowMs)
		if ms := msHead - msTail; ms >= windowNeedMs {
			mean := (doseHead - doseTail) / float64(ms)
			curve = append(curve, MeanPoint{At: time.UnixMilli(t).UTC(), MgM3: mean / nanogramsPerMilligram})
		}
	}
	return curve
}
