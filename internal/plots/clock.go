package plots

import (
	"fmt"
	"strings"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/words"
)

// clockSteps are the distances of two time ticks that people count in.
var clockSteps = []time.Duration{
	time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second, 15 * time.Second, 30 * time.Second,
	time.Minute, 2 * time.Minute, 5 * time.Minute, 10 * time.Minute, 15 * time.Minute, 30 * time.Minute,
	time.Hour, 2 * time.Hour, 3 * time.Hour, 6 * time.Hour, 12 * time.Hour,
	24 * time.Hour, 2 * 24 * time.Hour, 7 * 24 * time.Hour, 14 * 24 * time.Hour, 28 * 24 * time.Hour,
}

// clockTicks marks round clock times of zone on an axis of Unix milliseconds,
// as many as have room; the label is clock time, or the date at midnight of a
// picture that spans days. Across a change of the clocks the marks stay on round
// wall times. (gonum's TimeTicks mark round numbers of seconds.)
type clockTicks struct {
	zone  *time.Location
	width vg.Length
	sty   text.Style
	words *words.Printer
}

// Ticks implements plot.Ticker.
func (c clockTicks) Ticks(lo, hi float64) []plot.Tick {
	const perLabel = 42 // points
	from, to := time.UnixMilli(int64(lo)), time.UnixMilli(int64(hi))
	norm := func(v float64) float64 { return plot.LinearScale{}.Normalize(lo, hi, v) }
	return apart(c.times(from, to, int(c.width/perLabel)), norm, c.width, 5, c.sty)
}

// times marks round clock times in [from, to], at most n of them.
func (c clockTicks) times(from, to time.Time, n int) []plot.Tick {
	n = max(n, 2)
	span := to.Sub(from)
	step := clockSteps[len(clockSteps)-1]
	for _, s := range clockSteps {
		if int(span/s) < n {
			step = s
			break
		}
	}
	for int(span/step) >= n {
		step *= 2
	}
	days := step >= 24*time.Hour
	var ticks []plot.Tick
	for _, t := range roundTimes(from, to, c.zone, step) {
		ticks = append(ticks, plot.Tick{Value: float64(t.UnixMilli()), Label: c.words.Moment(clockLabel(t, step, span, days))})
	}
	return ticks
}

func clockLabel(t time.Time, step, span time.Duration, days bool) words.Moment {
	midnight := t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0
	switch {
	case days || (midnight && span > 20*time.Hour):
		return words.Time(t, "2 Jan")
	case step < time.Minute:
		return words.Time(t, "15:04:05")
	}
	return words.Clock(t)
}

// roundTimes lists multiples of step on the wall clock of zone. Below an hour
// real time is counted, since offsets are whole quarter hours.
func roundTimes(from, to time.Time, zone *time.Location, step time.Duration) []time.Time {
	var out []time.Time
	if step <= time.Hour {
		local := from.In(zone)
		past := time.Duration(local.Minute())*time.Minute + time.Duration(local.Second())*time.Second + time.Duration(local.Nanosecond())
		for t := local.Add(-past); !t.After(to); t = t.Add(step) {
			if !t.Before(from) {
				out = append(out, t)
			}
		}
		return out
	}
	y, m, d := from.In(zone).Date()
	for k := 0; ; k++ {
		wall := time.Duration(k) * step
		days, rest := int(wall/(24*time.Hour)), int(wall%(24*time.Hour)/time.Hour)
		t := time.Date(y, m, d+days, rest, 0, 0, 0, zone)
		if t.After(to) {
			return out
		}
		skipped := t.Hour() != rest // the clocks jump over this hour
		if !t.Before(from) && !skipped && (len(out) == 0 || t.After(out[len(out)-1])) {
			out = append(out, t)
		}
	}
}

// zoneLabel names the zone of a time axis with its distance from UTC, and both
// if the clocks change in between.
func zoneLabel(from, to time.Time, zone *time.Location) words.Text {
	a, b := zoneName(from.In(zone)), zoneName(to.In(zone))
	if a == b {
		return words.Literal(a)
	}
	return words.Of("%s, later %s", a, b)
}

func zoneName(t time.Time) string {
	name, offset := t.Zone()
	if name == "UTC" && offset == 0 {
		return "UTC"
	}
	sign := "+"
	if offset < 0 {
		sign, offset = "−", -offset
	}
	utc := fmt.Sprintf("UTC%s%d", sign, offset/3600)
	if offset%3600 != 0 {
		utc += fmt.Sprintf(":%02d", offset%3600/60)
	}
	if name == "" || strings.ContainsAny(name, "+-0123456789") {
		return utc
	}
	return name + ", " + utc
}
