package study

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Exposure assesses every shift in the window for every sensor that sends the
// metric. Readings are taken day by day, so a year needs no more memory than a
// week.
func (s *Study) Exposure(ctx context.Context, metric dust.Channel, w Window) (exposure.Result, error) {
	tasks, err := s.records.Tasks(ctx, w.From, w.To)
	if err != nil {
		return exposure.Result{}, err
	}
	in := exposure.Input{
		Tasks:         tasks,
		Setups:        s.setups,
		Limit:         s.settings.Limit,
		Also:          s.settings.Also,
		Materials:     s.settings.Materials,
		LongShifts:    s.settings.LongShifts,
		Factors:       s.factors,
		DeclaredShift: s.settings.Hours != nil,
	}
	assessor := exposure.NewAssessorOfDays(in, s.settings.Zone)
	if s.settings.Hours != nil {
		assessor = exposure.NewAssessorOfHours(in, *s.settings.Hours)
	}
	feeds, err := s.feeds(ctx, assessor, metric, w)
	defer stopAll(feeds)
	if err == nil {
		err = feedByDay(ctx, assessor, feeds)
	}
	if err != nil {
		return exposure.Result{}, err
	}
	var tracks []*exposure.Track
	for _, f := range feeds {
		if f.track.Count() > 0 {
			tracks = append(tracks, f.track)
		}
	}
	if len(tracks) == 0 {
		return exposure.Result{}, fmt.Errorf("%w of %s in the time asked about", dust.ErrNoReadings, metric.Label())
	}
	result, err := assessor.Result()
	if errors.Is(err, exposure.ErrNoShift) {
		return exposure.Result{}, fmt.Errorf("%w that can be used in the time asked about: %s", dust.ErrNoReadings, against(tracks))
	}
	if err != nil {
		return exposure.Result{}, err
	}
	result.Warnings = append(result.Warnings, sparse(tracks)...)
	return result, s.addHumidity(ctx, in, &result, metric)
}

// sparse warns of sensors whose readings are far apart.
func sparse(tracks []*exposure.Track) []words.Text {
	var out []words.Text
	for _, t := range tracks {
		if t.LongestHold() > dust.DefaultHold {
			out = append(out, words.Of("sensor %q: its readings are far apart, so each is taken to speak until the next, for up to %s; shorter peaks cannot be seen",
				t.Sensor().Name, words.Literal(t.LongestHold().String())))
		}
	}
	return out
}

// against says what is held against the readings there are.
func against(tracks []*exposure.Track) string {
	total, flagged := 0, map[string]int{}
	for _, t := range tracks {
		total += t.Count()
		for name, n := range t.Flagged() {
			flagged[name] += n
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
