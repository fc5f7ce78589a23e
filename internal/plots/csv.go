package plots

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/exposure"
)

// table writes rows as CSV (RFC 4180 with LF ends); the first row is the header.
func table(w io.Writer, rows [][]string) error {
	c := csv.NewWriter(w)
	if err := c.WriteAll(rows); err != nil {
		return fmt.Errorf("write picture's data as CSV: %w", err)
	}
	return nil
}

// exact prints v so that it reads back the same; a missing number is empty.
func exact(p *float64) string {
	if p == nil || math.IsNaN(*p) || math.IsInf(*p, 0) {
		return ""
	}
	return strconv.FormatFloat(*p, 'g', -1, 64)
}

const csvTime = "2006-01-02T15:04:05.000Z07:00"

// CSVShiftTrace writes what ShiftTrace draws: every reading of the shift, the
// 15-minute mean, the tasks and the limit, one a row, times in the zone given.
func CSVShiftTrace(w io.Writer, d TraceData, o Options) error {
	o, err := o.complete()
	if err != nil {
		return err
	}
	t, err := newTrace(d, o)
	if err != nil {
		return err
	}
	c := csv.NewWriter(w)
	c.Write([]string{"what", "time", "until", "value", "unit", "flags", "used", "name"})
	at := func(x time.Time) string {
		if x.IsZero() {
			return ""
		}
		return x.In(o.Zone).Format(csvTime)
	}
	unit := d.Series.Channel.Unit()
	for p := range d.Series.Spans(t.from, t.to) {
		used := "yes"
		if p.Flags.Unusable() {
			used = "no"
		}
		c.Write([]string{"reading", at(time.UnixMilli(p.From)), at(time.UnixMilli(p.To)), exact(&p.Value), unit, p.Flags.String(), used, d.Series.Sensor.Name})
	}
	for _, m := range d.Mean15 {
		c.Write([]string{"mean_15min", at(m.At), "", exact(&m.MgM3), "mg/m³", "", "", d.Series.Sensor.Name})
	}
	for _, k := range d.Tasks {
		c.Write([]string{"task", at(k.Start), at(k.Stop), "", "", "", "", taskName(k)})
	}
	if d.LimitMgM3 > 0 {
		c.Write([]string{"limit", at(t.from), at(t.to), exact(&d.LimitMgM3), "mg/m³", "", "", t.limitText().String()})
	}
	c.Flush()
	if err := c.Error(); err != nil {
		return fmt.Errorf("write picture's data as CSV: %w", err)
	}
	return nil
}

// CSVBeforeAfter writes what BeforeAfter draws: sessions, geometric means and
// the ratio with its interval.
func CSVBeforeAfter(w io.Writer, r compare.Result) error {
	rows := [][]string{{"what", "setup", "date", "value", "low", "high", "unit", "used"}}
	for _, s := range r.Sessions {
		used := "yes"
		if !finite(s.Adjusted) || s.Setup != r.Before && s.Setup != r.After {
			used = "no"
		}
		rows = append(rows, []string{"session", s.Setup, s.Date, exact(s.Adjusted), "", "", r.Unit, used})
	}
	return table(w, append(rows,
		[]string{"geometric_mean", r.Before, "", exact(r.GMBefore), "", "", r.Unit, ""},
		[]string{"geometric_mean", r.After, "", exact(r.GMAfter), "", "", r.Unit, ""},
		[]string{"ratio_after_before", "", "", exact(r.Ratio), exact(r.CILow), exact(r.CIHigh), "1", ""}))
}

// CSVSizeRatio writes what SizeRatio draws.
func CSVSizeRatio(w io.Writer, r compare.Result) error {
	rows := [][]string{{"metric", "label", "ratio", "low", "high", "note"}}
	for _, e := range r.Bins {
		rows = append(rows, []string{e.Metric, e.Label.String(), exact(e.Ratio), exact(e.CILow), exact(e.CIHigh), e.Note.String()})
	}
	return table(w, rows)
}

// CSVSizeDistribution writes what SizeDistribution draws.
func CSVSizeDistribution(w io.Writer, r compare.Result) error {
	rows := [][]string{{"metric", "label", "before", "after", "unit", "note"}}
	for _, e := range r.Bins {
		rows = append(rows, []string{e.Metric, e.Label.String(), exact(e.Before), exact(e.After), e.Unit, e.Note.String()})
	}
	return table(w, rows)
}

// CSVTaskDose writes what TaskDose draws; the time without a task has the name "".
func CSVTaskDose(w io.Writer, r exposure.Result) error {
	rows := [][]string{{"date", "sensor", "task", "minutes_measured", "share_of_dose"}}
	for _, s := range r.Shifts {
		for _, t := range s.TaskDoseShares {
			rows = append(rows, []string{s.Date, s.Sensor, t.Task, exact(&t.Minutes), exact(&t.Share)})
		}
	}
	return table(w, rows)
}
