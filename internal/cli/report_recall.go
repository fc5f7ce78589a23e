package cli

import (
	"context"
	"iter"
	"slices"
	"sync"
	"time"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

// recalled remembers the days of a channel that were read once: a report asks for
// the same readings for shifts, traces, clearance and pictures. What does not fit is
// read again.
type recalled struct {
	dailyRecords
	mu   sync.Mutex
	kept map[recalledKey][]exposure.Columns
	room int // readings that may still be kept
}

type recalledKey struct {
	sensor   string
	channel  dust.Channel
	from, to int64 // Unix microseconds; of zero times too
}

// mostRecalled readings take some 64 MB.
const mostRecalled = 4_000_000

func newRecalled(r dailyRecords) *recalled {
	return &recalled{dailyRecords: r, kept: map[recalledKey][]exposure.Columns{}, room: mostRecalled}
}

// openRecalling is openStudy for a command that asks for the same readings often.
func (a *app) openRecalling(ctx context.Context, cfg config.Config) (*study.Study, records, error) {
	settings, err := studySettings(cfg)
	if err != nil {
		return nil, nil, err
	}
	records, err := a.records(ctx, cfg)
	if err != nil {
		return nil, nil, err
	}
	if daily, ok := records.(dailyRecords); ok {
		records = newRecalled(daily)
	}
	s, err := study.Open(ctx, records, settings)
	if err != nil {
		records.Close()
		return nil, nil, err
	}
	return s, records, nil
}

// DailyColumns keeps study.Daily.
func (r *recalled) DailyColumns(ctx context.Context, sensor dust.Sensor, c dust.Channel, from, to time.Time) iter.Seq2[exposure.Columns, error] {
	key := recalledKey{sensor.Name, c, from.UnixMicro(), to.UnixMicro()}
	return func(yield func(exposure.Columns, error) bool) {
		r.mu.Lock()
		days, known := r.kept[key]
		r.mu.Unlock()
		if known {
			for _, day := range days {
				if !yield(day, nil) {
					return
				}
			}
			return
		}
		days, all := nil, true
		for day, err := range r.dailyRecords.DailyColumns(ctx, sensor, c, from, to) {
			if all = all && err == nil && r.take(len(day.MS)); all {
				days = append(days, cloned(day))
			}
			if !yield(day, err) {
				return
			}
		}
		if all {
			r.mu.Lock()
			r.kept[key] = days
			r.mu.Unlock()
		}
	}
}

// take reserves room for n readings. What is not kept after all stays reserved: the
// bound is on what a report may ever hold.
func (r *recalled) take(n int) bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	if n > r.room {
		return false
	}
	r.room -= n
	return true
}

func cloned(c exposure.Columns) exposure.Columns {
	c.MS, c.Ints, c.Floats, c.Flags, c.Missing = slices.Clone(c.MS), slices.Clone(c.Ints), slices.Clone(c.Floats), slices.Clone(c.Flags), slices.Clone(c.Missing)
	return c
}

// Series keeps study.Records: one channel is taken from the days that are kept, if
// they cover the time asked about.
func (r *recalled) Series(ctx context.Context, sensor dust.Sensor, channels []dust.Channel, from, to time.Time) (map[dust.Channel]*dust.Series, error) {
	if len(channels) == 1 {
		if days, ok := r.covering(sensor.Name, channels[0], from, to); ok {
			series, err := seriesOf(sensor, channels[0], days, from, to)
			return map[dust.Channel]*dust.Series{channels[0]: series}, err
		}
	}
	return r.dailyRecords.Series(ctx, sensor, channels, from, to)
}

func (r *recalled) covering(sensor string, c dust.Channel, from, to time.Time) ([]exposure.Columns, bool) {
	open := time.Time{}.UnixMicro()
	r.mu.Lock()
	defer r.mu.Unlock()
	for key, days := range r.kept {
		begins := key.from == open || !from.IsZero() && key.from <= from.UnixMicro()
		ends := key.to == open || !to.IsZero() && key.to >= to.UnixMicro()
		if key.sensor == sensor && key.channel == c && begins && ends {
			return days, true
		}
	}
	return nil, false
}

// seriesOf joins the rows of [from, to) that have a value; zero times mean open.
func seriesOf(sensor dust.Sensor, c dust.Channel, days []exposure.Columns, from, to time.Time) (*dust.Series, error) {
	s := dust.NewSeries(sensor, c)
	for _, day := range days {
		for i, ms := range day.MS {
			at := time.UnixMilli(ms)
			if day.Missing != nil && day.Missing[i] || !from.IsZero() && at.Before(from) || !to.IsZero() && !at.Before(to) {
				continue
			}
			v := 0.0
			if day.PerUnit == 0 {
				v = day.Floats[i]
			} else {
				v = float64(day.Ints[i]) / float64(day.PerUnit)
			}
			if err := s.Append(at, v, day.Flags[i]); err != nil {
				return nil, err
			}
		}
	}
	return s, nil
}
