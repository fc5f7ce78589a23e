package airflow

import (
	"math"
	"slices"
	"time"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// DropReading is a filter's pressure drop, with the flow then if it is known.
type DropReading struct {
	At   time.Time      `json:"at"`
	Drop units.Pressure `json:"drop"`
	Flow *units.Flow    `json:"flow"`
	// AtReference is the drop at the reference flow; nil where none is used.
	AtReference *units.Pressure `json:"drop_at_reference_flow"`
}

// TrendPoint is a point of the line.
type TrendPoint struct {
	At   time.Time      `json:"at"`
	Drop units.Pressure `json:"drop_at_reference_flow"`
}

// Loading is the trend of a filter's pressure drop since it was last cleaned.
type Loading struct {
	Readings   []DropReading   `json:"readings"`
	Since      time.Time       `json:"since,omitzero"` // last cleaning; zero: not known
	Reference  *units.Flow     `json:"reference_flow"` // nil: drops are as read
	Latest     *units.Pressure `json:"latest_drop"`    // at the reference flow
	PerWeek    *units.Pressure `json:"rise_per_week"`
	PerWeekLow *units.Pressure `json:"rise_per_week_low"` // 95 %
	PerWeekHi  *units.Pressure `json:"rise_per_week_high"`
	Robust     *units.Pressure `json:"rise_per_week_theil_sen"`
	Trend      []TrendPoint    `json:"trend"` // the line's two ends, at the first and the last reading; none without a line
	Limit      *units.Pressure `json:"limit"`
	ReachedAt  time.Time       `json:"limit_reached_at,omitzero"`
	Earliest   time.Time       `json:"limit_reached_earliest,omitzero"` // 95 %
	LatestAt   time.Time       `json:"limit_reached_latest,omitzero"`
	Answer     string          `json:"answer"`
	Why        words.Text      `json:"why"`
}

// Words for a filter's loading.
const (
	Rising     = "rising"
	NotRising  = "no rise shown"
	Falling    = "falling"
	OverLimit  = "at the limit"
	CannotTell = "cannot tell"
)

const (
	fewestDrops  = 5
	leastSpan    = 3 * 24 * time.Hour
	week         = 7 * 24 * time.Hour
	furthestAway = 4 // spans of the readings that a date may lie ahead
)

// FilterLoading fits a straight line to the drops at one flow since the last
// cleaning. A cloth filter's drag ΔP/V rises in a straight line with the dust it has
// taken, ΔP = K1·V + K2·c·V²·t (Williams, Hatch and Greenburg 1940, as in texts on
// air cleaning, from memory): so drops are brought to one flow in proportion,
// ΔP·Qref/Q, Qref being the median of the flows known. Readings without a flow are
// used only if none has one.
//
// A date is told only if the rise is clear, its 95 % interval above zero, and lies no
// further ahead than four times the span of the readings; its range is Fieller's.
// Days are days of the calendar: with less work it takes longer. limit 0: none.
func FilterLoading(readings []DropReading, cleaned []time.Time, limit units.Pressure) Loading {
	l := Loading{Answer: CannotTell, Readings: []DropReading{}, Trend: []TrendPoint{}}
	if limit > 0 {
		l.Limit = &limit
	}
	readings = slices.Clone(readings)
	slices.SortStableFunc(readings, func(a, b DropReading) int { return a.At.Compare(b.At) })
	if len(readings) == 0 {
		l.Why = words.Of("no pressure drop of the filter was entered")
		return l
	}
	l.Since = lastCleaning(cleaned, readings[len(readings)-1].At)
	l.Reference = referenceFlow(readings, l.Since)
	var days, drops []float64
	unplaced := 0
	for _, r := range readings {
		if r.At.Before(l.Since) {
			continue
		}
		y := r.Drop
		if l.Reference != nil {
			if r.Flow == nil || !(*r.Flow > 0) {
				unplaced++
				l.Readings = append(l.Readings, r)
				continue
			}
			y = r.Drop * units.Pressure(*l.Reference / *r.Flow)
			r.AtReference = &y
		}
		l.Readings = append(l.Readings, r)
		days = append(days, r.At.Sub(readings[0].At).Hours()/24)
		drops = append(drops, float64(y))
	}
	l.fit(readings[0].At, days, drops)
	if unplaced > 0 {
		l.Why = words.Of("%s; %d reading(s) without a flow near in time were left out", l.Why, unplaced)
	}
	if l.Reference == nil {
		l.Why = words.Of("%s; no flow was measured beside the drops, so a drop that is high because more air goes through cannot be told from a full filter", l.Why)
	}
	return l
}

func lastCleaning(cleaned []time.Time, until time.Time) (last time.Time) {
	for _, c := range cleaned {
		if c.After(last) && !c.After(until) {
			last = c
		}
	}
	return last
}

func referenceFlow(readings []DropReading, since time.Time) *units.Flow {
	var flows []units.Flow
	for _, r := range readings {
		if !r.At.Before(since) && r.Flow != nil && *r.Flow > 0 {
			flows = append(flows, *r.Flow)
		}
	}
	if len(flows) == 0 {
		return nil
	}
	slices.Sort(flows)
	n := len(flows)
	m := (flows[n/2] + flows[(n-1)/2]) / 2
	return &m
}

// fit finds the trend and, if asked to and able to, the date.
func (l *Loading) fit(first time.Time, days, drops []float64) {
	if n := len(drops); n > 0 {
		latest := units.Pressure(drops[n-1])
		l.Latest = &latest
	}
	line, err := fitLine(days, drops)
	if len(drops) < fewestDrops || err != nil || line.spanX() < leastSpan.Hours()/24 {
		l.Why = words.Of("%d usable reading(s) since the last cleaning: a trend takes %d over at least %.0f days", len(drops), fewestDrops, leastSpan.Hours()/24)
		l.overLimit()
		return
	}
	half := line.tSlope()
	perWeek := func(slope float64) *units.Pressure { return ptr(units.Pressure(slope * 7)) }
	l.PerWeek, l.PerWeekLow, l.PerWeekHi = perWeek(line.Slope), perWeek(line.Slope-half), perWeek(line.Slope+half)
	l.Robust = perWeek(theilSen(days, drops))
	for _, day := range []float64{slices.Min(days), slices.Max(days)} {
		at := first.Add(time.Duration(day * 24 * float64(time.Hour))).Round(time.Millisecond)
		l.Trend = append(l.Trend, TrendPoint{At: at, Drop: units.Pressure(line.Intercept + line.Slope*day)})
	}
	switch {
	case line.Slope-half > 0:
		l.Answer, l.Why = Rising, words.Of("the drop at one flow rises by %s a week (95 %% interval %s to %s), from %d readings", *l.PerWeek, words.Number(l.PerWeekLow.SI()), words.Number(l.PerWeekHi.SI()), len(drops))
	case line.Slope+half < 0:
		l.Answer, l.Why = Falling, words.Of("the drop at one flow falls: the filter was cleaned in between, leaks, or the gauge's hose came off; look")
	default:
		l.Answer, l.Why = NotRising, words.Of("the interval of the rise holds zero (%s to %s a week): no rise is shown, which is not the same as no rise", words.Number(l.PerWeekLow.SI()), words.Number(l.PerWeekHi.SI()))
	}
	if slope, robust := line.Slope, float64(*l.Robust)/7; math.Abs(slope-robust) > half {
		l.Why = words.Of("%s; the median of all pairs' slopes says %s a week: single readings pull the line, check them", l.Why, *l.Robust)
	}
	l.date(first, line)
	l.overLimit()
}

// date tells when the line comes to the limit.
func (l *Loading) date(first time.Time, line line) {
	if l.Limit == nil || l.Answer != Rising {
		return
	}
	at, low, high, ok := line.reaches(float64(*l.Limit))
	switch {
	case !ok:
		l.Why = words.Of("%s; when the limit is reached cannot be told", l.Why)
		return
	case at-slices.Max(line.x) > furthestAway*line.spanX():
		l.Why = words.Of("%s; the limit lies further ahead than %d times the days measured: when it is reached cannot be told yet", l.Why, furthestAway)
		return
	}
	// To the minute, which is more than it can tell: the last bits hang on the processor.
	day := func(x float64) time.Time {
		return first.Add(time.Duration(x * 24 * float64(time.Hour))).Round(time.Minute)
	}
	l.ReachedAt, l.Earliest, l.LatestAt = day(at), day(low), day(high)
}

func (l *Loading) overLimit() {
	if l.Limit != nil && l.Latest != nil && *l.Latest >= *l.Limit {
		l.Answer = OverLimit
		l.Why = words.Of("the last drop, %s, is at or above the limit of %s: clean or change the filter, away from people, with a respirator on; %s", *l.Latest, *l.Limit, l.Why)
	}
}
