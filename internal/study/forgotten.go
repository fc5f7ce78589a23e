package study

import (
	"context"
	"fmt"
	"slices"
	"time"

	"dustlog/internal/dust"
)

// How a forgotten stop is told (common practice, no source). Nothing is entered by
// these rules: a person is asked.
const (
	quietFor     = 45 * time.Minute // the dust must have been gone for so long
	quietLook    = 12 * time.Hour   // before now, to know what the shop's quiet air is like
	quietTimes   = 3.0              // dust is gone at or below so many times the quiet level,
	quietAndUgM3 = 10.0             // or so much above it if that is more
	quietShare   = 0.1              // the quiet level: 10 % of the minutes were no higher
	minuteNeed   = 45.0             // measured seconds for a minute to count
	measuredNeed = 0.75             // share of the quiet minutes that must have been measured
)

// ForgottenStop is a running task whose dust has long gone.
type ForgottenStop struct {
	Task   dust.Task
	Sensor string
	// Stop is the end of the last minute with a mean of at least half the level that
	// a quarter of the task's dusty minutes exceeded: work was going on, and soon
	// after not. (The median would be drawn down by the slow end of the fall.)
	Stop      time.Time
	Quiet     time.Time // since when the dust is gone
	QuietUgM3 float64   // what the shop's quiet air is like
	SinceUgM3 float64   // mean since Quiet
}

// Why says what the suggestion rests on.
func (f ForgottenStop) Why(zone *time.Location) string {
	return fmt.Sprintf("at %s the dust fell at %s, and since %s it has been at %.0f µg/m³, as in quiet hours (%.0f µg/m³)",
		f.Sensor, f.Stop.In(zone).Format("15:04"), f.Quiet.In(zone).Format("15:04"), f.SinceUgM3, f.QuietUgM3)
}

// Forgotten looks for running tasks whose dust has been gone for long. A task that
// raised no dust that can be told from quiet air is not among them.
func (s *Study) Forgotten(ctx context.Context, running []dust.Task, now time.Time) ([]ForgottenStop, error) {
	sensors := append(s.at(dust.BreathingZone), s.at(dust.Room)...)
	if len(sensors) == 0 {
		return nil, nil // none speaks for the work
	}
	sensor := sensors[0]
	var found []ForgottenStop
	for _, task := range running {
		if now.Sub(task.Start) < quietFor {
			continue
		}
		from := now.Add(-quietLook)
		if task.Start.Before(from) {
			from = task.Start
		}
		series, err := s.Series(ctx, sensor, dust.PM25, Window{from, now})
		if err != nil {
			return nil, err
		}
		if f, ok := forgottenStop(minutesOf(series, from, now), task.Start); ok {
			f.Task, f.Sensor = task, sensor.Name
			found = append(found, f)
		}
	}
	return found, nil
}

// minute is one minute of the clock.
type minute struct {
	end      time.Time
	ugM3     float64
	measured bool
}

// minutesOf are the means of whole minutes, the last one ending at to.
func minutesOf(series *dust.Series, from, to time.Time) []minute {
	n := int(to.Sub(from) / time.Minute)
	out := make([]minute, n)
	first := to.Add(-time.Duration(n) * time.Minute)
	seconds, dose := make([]float64, n), make([]float64, n)
	base := first.UnixMilli()
	for p := range series.Usable(first, to) {
		for at := p.From; at < p.To; {
			i := (at - base) / 60_000
			end := min(p.To, base+(i+1)*60_000)
			seconds[i] += float64(end-at) / 1000
			dose[i] += p.Value * float64(end-at) / 1000
			at = end
		}
	}
	for i := range out {
		out[i].end = first.Add(time.Duration(i+1) * time.Minute)
		if seconds[i] >= minuteNeed {
			out[i].measured, out[i].ugM3 = true, dose[i]/seconds[i]
		}
	}
	return out
}

// forgottenStop looks at the minutes up to now.
func forgottenStop(minutes []minute, start time.Time) (f ForgottenStop, ok bool) {
	var levels []float64
	for _, m := range minutes {
		if m.measured {
			levels = append(levels, m.ugM3)
		}
	}
	if len(levels) == 0 {
		return f, false
	}
	slices.Sort(levels)
	f.QuietUgM3 = levels[int(quietShare*float64(len(levels)))]
	gone := max(quietTimes*f.QuietUgM3, f.QuietUgM3+quietAndUgM3)
	var dusty []float64
	last := -1
	for i, m := range minutes {
		if m.measured && m.ugM3 > gone && m.end.After(start) {
			dusty, last = append(dusty, m.ugM3), i
		}
	}
	if last < 0 {
		return f, false
	}
	f.Quiet = minutes[last].end
	since, n := 0.0, 0
	for _, m := range minutes[last+1:] {
		if m.measured {
			since, n = since+m.ugM3, n+1
		}
	}
	if minutes[len(minutes)-1].end.Sub(f.Quiet) < quietFor || float64(n) < measuredNeed*float64(len(minutes)-last-1) {
		return f, false
	}
	f.SinceUgM3 = since / float64(n)
	slices.Sort(dusty)
	half := dusty[len(dusty)*3/4] / 2
	for _, m := range minutes[:last+1] {
		if m.measured && m.ugM3 >= half && m.end.After(start) {
			f.Stop = m.end
		}
	}
	return f, f.Stop.After(start)
}
