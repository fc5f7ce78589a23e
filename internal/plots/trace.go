package plots

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// MeanPoint is one value of a rolling mean, drawn at the time given.
type MeanPoint = exposure.MeanPoint

// TraceData is what a picture of one sensor over one shift shows. Only Series
// is needed. Without Shift.Start and Shift.End the picture spans the series.
type TraceData struct {
	Title          words.Text // says what is seen; one is made up if empty
	Shift          exposure.ShiftResult
	Series         *dust.Series
	Mean15         []MeanPoint // as exposure.Mean15Curve gives it
	Tasks          []dust.Task
	LimitMgM3      float64    // 0 for none
	LimitLabel     words.Text // what the limit is, as in "wood dust limit"
	LimitAveraging string     // what it is a mean over, as in "8 h"
}

// ShiftTrace draws the readings of one sensor over one shift as a line, gaps
// left open, with tasks along the top, the 15-minute mean and the limit. A limit
// far above all readings is named at the upper edge and does not press the
// line flat. The error wraps dust.ErrNoReadings if there is nothing to draw.
func ShiftTrace(w io.Writer, d TraceData, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	t, err := newTrace(d, o)
	if err != nil {
		return err
	}
	return o.write(w, t.draw())
}

// trace is a TraceData with everything that drawing needs found out.
type trace struct {
	TraceData
	o         Options
	from, to  time.Time
	unit      string
	perUnit   float64 // reading's units in one axis unit
	low, high float64 // of usable readings, in axis units
	usable    int
	mean      []sample
	limit     float64 // in axis units; 0 for none
	floor     float64 // of a logarithmic axis: lower values are drawn there
	clipped   bool
}

func newTrace(d TraceData, o Options) (*trace, error) {
	t := &trace{TraceData: d, o: o, perUnit: 1, low: math.Inf(1), high: math.Inf(-1)}
	if err := t.findRange(); err != nil {
		return nil, err
	}
	any := false
	least := math.Inf(1) // above zero
	for p := range d.Series.Spans(t.from, t.to) {
		any = true
		if p.Flags.Unusable() || math.IsNaN(p.Value) || math.IsInf(p.Value, 0) {
			continue
		}
		t.usable++
		t.low, t.high = math.Min(t.low, p.Value), math.Max(t.high, p.Value)
		if p.Value > 0 {
			least = math.Min(least, p.Value)
		}
	}
	if !any {
		return nil, fmt.Errorf("draw sensor %q from %s to %s: %w", d.Series.Sensor.Name,
			t.from.Format(time.RFC3339), t.to.Format(time.RFC3339), dust.ErrNoReadings)
	}
	if t.usable == 0 {
		t.low, t.high = 0, 0
	}
	t.chooseUnit(least)
	return t, nil
}

func (t *trace) findRange() error {
	if t.Series == nil || t.Series.Len() == 0 {
		return fmt.Errorf("draw a shift: %w", dust.ErrNoReadings)
	}
	t.from, t.to = t.Shift.Start, t.Shift.End
	if !t.to.After(t.from) || t.from.IsZero() {
		t.from, t.to, _ = t.Series.Bounds()
	}
	if t.to.Sub(t.from) < time.Second {
		t.to = t.from.Add(time.Second)
	}
	return nil
}

// chooseUnit turns large masses into mg/m³ and brings mean and limit to the
// axis' unit. least is the lowest reading above zero.
func (t *trace) chooseUnit(least float64) {
	c := t.Series.Channel
	t.unit = c.Unit()
	if c.IsMass() {
		top := t.high
		for _, m := range t.Mean15 {
			top = math.Max(top, m.MgM3*1000)
		}
		if top >= 10000 {
			t.unit, t.perUnit = "mg/m³", 1000
		}
		t.takeMean(1000 / t.perUnit)
		if t.LimitMgM3 > 0 && !math.IsInf(t.LimitMgM3, 0) {
			t.limit = t.LimitMgM3 * 1000 / t.perUnit
		}
	}
	t.low, t.high = t.low/t.perUnit, t.high/t.perUnit
	t.floor = math.Min(sensorStep, least) / t.perUnit
	t.clipped = t.o.LogY && t.usable > 0 && t.low < t.floor
}

// sensorStep is the coarsest step in which dust sensors report mass, in µg/m³
// (PMS5003 data sheet: resolution 1 µg/m³).
const sensorStep = 1.0

// takeMean turns the mean's points into samples. A pause of more than three
// usual steps is a gap.
func (t *trace) takeMean(perMg float64) {
	var steps []time.Duration
	for i := 1; i < len(t.Mean15); i++ {
		steps = append(steps, t.Mean15[i].At.Sub(t.Mean15[i-1].At))
	}
	slices.Sort(steps)
	usual := time.Duration(math.MaxInt64)
	if len(steps) > 0 {
		usual = steps[len(steps)/2]
	}
	var last time.Time
	for _, m := range t.Mean15 {
		if math.IsNaN(m.MgM3) || math.IsInf(m.MgM3, 0) {
			last = time.Time{}
			continue
		}
		if m.At.Before(t.from) || m.At.After(t.to) || (!last.IsZero() && !m.At.After(last)) {
			continue
		}
		joined := !last.IsZero() && m.At.Sub(last)/3 <= usual
		t.mean = append(t.mean, sample{ms: m.At.UnixMilli(), v: m.MgM3 * perMg, joined: joined})
		last = m.At
		t.high, t.low = math.Max(t.high, m.MgM3*1000), math.Min(t.low, m.MgM3*1000)
	}
}

// samples are the usable readings, in axis units.
func (t *trace) samples(yield func(sample) bool) {
	end := int64(math.MinInt64)
	for p := range t.Series.Spans(t.from, t.to) {
		if p.Flags.Unusable() || math.IsNaN(p.Value) || math.IsInf(p.Value, 0) {
			continue
		}
		if !yield(sample{ms: p.From, v: p.Value / t.perUnit, joined: p.From <= end}) {
			return
		}
		end = p.To
	}
}

// stretch is a stretch of time in Unix milliseconds.
type stretch struct{ from, to int64 }

// pauses lists the stretches without a usable reading and those with an
// unusable one. Neighbours closer than least milliseconds are joined.
func (t *trace) pauses(least int64) (none, unusable []stretch) {
	end := t.from.UnixMilli()
	for p := range t.Series.Spans(t.from, t.to) {
		if p.Flags.Unusable() {
			if n := len(unusable); n > 0 && p.From-unusable[n-1].to < least {
				unusable[n-1].to = p.To
			} else {
				unusable = append(unusable, stretch{p.From, p.To})
			}
			continue
		}
		if p.From-end >= least {
			none = append(none, stretch{end, p.From})
		}
		end = p.To
	}
	if to := t.to.UnixMilli(); to-end >= least {
		none = append(none, stretch{end, to})
	}
	return none, unusable
}
