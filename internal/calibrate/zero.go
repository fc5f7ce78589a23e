package calibrate

import (
	"fmt"
	"math"
	"time"

	"dustlog/internal/dust"
)

// The least for a zero check. Ten minutes outlast what is left in the housing;
// thirty readings settle an sd to about a quarter (common practice, no source).
const (
	zeroReadings = 30
	zeroTime     = 10 * time.Minute
)

// zeroDrift is the share of the previous floor beyond which a change of the
// offset is flagged (common practice, no source).
const zeroDrift = 0.10

// notZero are the flags that no reading of a zero check may have. A sensor that
// sends nothing but zeros, or one small value again and again, is what a good
// zero looks like, so AllZero and Stuck count here.
const notZero = dust.WarmUp | dust.CountOrder | dust.FanFault | dust.LaserFault | dust.NegativeMass | dust.Saturated

// ZeroCheck is what a sensor reads in filtered air:
//
//	floor = mean + 3 sd
//
// Below its floor a sensor cannot tell dust from its own noise. A zero check
// sees the offset only, never the gain. Source of the rule: the 3-sd detection
// limit (Currie 1968, Anal. Chem. 40:586; from memory).
type ZeroCheck struct {
	Metric   string    `json:"metric"`
	From     time.Time `json:"from"`
	To       time.Time `json:"to"`
	Readings int       `json:"readings"`
	LeftOut  int       `json:"readings_left_out"` // warming up, faulty or without a value
	Minutes  float64   `json:"minutes_measured"`
	Mean     float64   `json:"mean_ug_m3"` // the offset
	SD       float64   `json:"sd_ug_m3"`
	Floor    float64   `json:"floor_ug_m3"`
	Highest  float64   `json:"highest_ug_m3"`
	Enough   bool      `json:"enough"`

	Drift    *ZeroDrift `json:"drift"` // against the check before; null for the first
	Warnings []string   `json:"warnings"`
}

// ZeroDrift is a change of the offset between two zero checks.
type ZeroDrift struct {
	Against int64     `json:"against_id"`
	When    time.Time `json:"against_when"`
	Change  float64   `json:"offset_change_ug_m3"`
	// Percent is the change over the floor of the check before; null if that was 0.
	Percent *float64 `json:"percent_of_floor"`
	Flagged bool     `json:"flagged"`
}

// CheckZero works out a zero check from a mass channel's readings in [from, to).
// The error wraps ErrTooFew if there are not two to make an sd of.
func CheckZero(s *dust.Series, from, to time.Time) (ZeroCheck, error) {
	z := ZeroCheck{Metric: s.Channel.Metric(), From: from.UTC(), To: to.UTC(), Warnings: []string{}}
	if !s.Channel.IsMass() {
		return z, fmt.Errorf("zero check: %s is not a mass of dust", s.Channel.Metric())
	}
	var values []float64
	var measured time.Duration
	for p := range s.Spans(from, to) {
		if p.Flags&notZero != 0 || !finite(p.Value) || p.Value < 0 {
			z.LeftOut++
			continue
		}
		values = append(values, p.Value)
		measured += time.Duration(p.To-p.From) * time.Millisecond
		z.Highest = math.Max(z.Highest, p.Value)
	}
	z.Readings, z.Minutes = len(values), measured.Minutes()
	if len(values) < 2 {
		return z, fmt.Errorf("zero check of sensor %q: %w: %d readings that can be used in this time", s.Sensor.Name, ErrTooFew, len(values))
	}
	z.Mean, z.SD = meanSD(values)
	z.Floor = z.Mean + 3*z.SD
	z.Enough = z.Readings >= zeroReadings && measured >= zeroTime
	if !z.Enough {
		z.warn("only %d readings in %.1f min: %d in %g min are the least (common practice), so this check is kept but not used",
			z.Readings, z.Minutes, zeroReadings, zeroTime.Minutes())
	}
	half := len(values) / 2
	early, _ := meanSD(values[:half])
	late, lateSD := meanSD(values[half:])
	if early-late > math.Max(lateSD, 1) {
		z.warn("the reading was still falling, from %.1f to %.1f µg/m³: wait until the filter has cleared the air, then repeat", early, late)
	}
	return z, nil
}

func (z *ZeroCheck) warn(format string, args ...any) {
	z.Warnings = append(z.Warnings, fmt.Sprintf(format, args...))
}

// Compare sets the drift against the check before, which has the number id.
func (z *ZeroCheck) Compare(before ZeroCheck, id int64) {
	d := ZeroDrift{Against: id, When: before.To, Change: z.Mean - before.Mean}
	d.Flagged = math.Abs(d.Change) > zeroDrift*before.Floor
	if before.Floor > 0 {
		percent := 100 * d.Change / before.Floor
		d.Percent = &percent
	}
	z.Drift = &d
	if d.Flagged {
		z.warn("the offset moved by %.2f µg/m³ since zero check %d, more than %g %% of its floor of %.2f µg/m³: clean the sensor or shorten the time between checks",
			d.Change, id, 100*zeroDrift, before.Floor)
	}
}
