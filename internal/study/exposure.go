package study

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Exposure assesses every shift in the window for every sensor that sends the
// metric.
func (s *Study) Exposure(ctx context.Context, metric dust.Channel, w Window) (exposure.Result, error) {
	var all []*dust.Series
	for _, sensor := range s.sensors {
		series, err := s.Series(ctx, sensor, metric, w)
		if err != nil {
			return exposure.Result{}, err
		}
		if series.Len() > 0 {
			all = append(all, series)
		}
	}
	if len(all) == 0 {
		return exposure.Result{}, fmt.Errorf("%w of %s in the time asked about", dust.ErrNoReadings, metric.Label())
	}
	tasks, err := s.records.Tasks(ctx, w.From, w.To)
	if err != nil {
		return exposure.Result{}, err
	}
	shifts := s.shifts(all, w)
	if len(shifts) == 0 {
		return exposure.Result{}, fmt.Errorf("%w that can be used in the time asked about: %s", dust.ErrNoReadings, against(all))
	}
	result, err := exposure.Assess(exposure.Input{
		Shifts:        shifts,
		Series:        all,
		Tasks:         tasks,
		Setups:        s.setups,
		Limit:         s.settings.Limit,
		Factors:       s.settings.Factors,
		DeclaredShift: s.settings.Hours != nil,
	})
	result.Warnings = append(result.Warnings, sparse(all)...)
	return result, err
}

// sparse warns of sensors whose readings are far apart.
func sparse(all []*dust.Series) []string {
	var out []string
	for _, series := range all {
		if series.LongestHold() > dust.DefaultHold {
			out = append(out, fmt.Sprintf("sensor %q: its readings are far apart, so each is taken to speak until the next, for up to %s; shorter peaks cannot be seen",
				series.Sensor.Name, series.LongestHold()))
		}
	}
	return out
}

// shifts are the declared hours of the days with readings, or what the readings
// themselves span.
func (s *Study) shifts(all []*dust.Series, w Window) []dust.Shift {
	if s.settings.Hours == nil {
		return exposure.ShiftsFromReadings(all, s.settings.Zone)
	}
	var from, to time.Time
	for _, series := range all {
		first, last, _ := series.Bounds()
		if from.IsZero() || first.Before(from) {
			from = first
		}
		if last.After(to) {
			to = last
		}
	}
	var shifts []dust.Shift
	for _, shift := range s.settings.Hours.Between(from, to) {
		if anyReading(all, shift) {
			shifts = append(shifts, shift)
		}
	}
	return shifts
}

func anyReading(all []*dust.Series, shift dust.Shift) bool {
	for _, series := range all {
		for range series.Spans(shift.Start, shift.End) {
			return true
		}
	}
	return false
}

// against says what is held against the readings there are.
func against(all []*dust.Series) string {
	total, flagged := 0, map[string]int{}
	for _, series := range all {
		_, _, flags := series.Columns()
		for _, f := range flags {
			total++
			for _, name := range f.Names() {
				flagged[name]++
			}
		}
	}
	var parts []string
	for _, name := range slices.Sorted(maps.Keys(flagged)) {
		parts = append(parts, fmt.Sprintf("%d %s", flagged[name], name))
	}
	if len(parts) == 0 {
		return fmt.Sprintf("%d readings, none within the shift hours", total)
	}
	return fmt.Sprintf("%d readings, flagged: %s", total, strings.Join(parts, ", "))
}
