package exposure

import (
	"fmt"
	"slices"
	"strings"

	"dustlog/internal/dust"
)

// Schema is the version of Result's JSON.
const Schema = 1

// Input is everything a Result is made from.
type Input struct {
	Shifts        []dust.Shift
	Series        []*dust.Series // mass channels, one per sensor
	Tasks         []dust.Task
	Setups        []dust.SetupPeriod
	Limit         Limit
	Factors       map[string]Factor // by sensor name
	DeclaredShift bool              // false: hours were taken from the first and last reading
}

// Factor turns a sensor's reading into the mass a filter sampler would find:
// mean of filter / mean of sensor over the same time, from samples side by side.
// It holds for its dust and its fraction only.
type Factor struct {
	Factor        float64  `json:"factor"`
	Fraction      Fraction `json:"fraction"`
	SpreadPercent float64  `json:"spread_percent"` // between the pairs, either way; 0 means not stated
	Source        string   `json:"source"`
	Date          string   `json:"date"`
	Material      string   `json:"material"`
}

// Assess works out every shift with every sensor that was recording in it, every
// run of every task, and the respirator question. The error wraps
// dust.ErrNoReadings if there is nothing to assess, or says why the limit or the
// channel cannot be used. Numbers that are missing carry their reason.
func Assess(in Input) (Result, error) {
	in.Series = slices.DeleteFunc(slices.Clone(in.Series), func(s *dust.Series) bool { return s == nil || s.Len() == 0 })
	if err := in.check(); err != nil {
		return Result{}, err
	}
	tasks, warnings := closeTasks(in.Tasks, in.Series)
	r := Result{
		Schema: Schema, Metric: in.Series[0].Channel.Metric(), Limit: in.Limit,
		Shifts: []ShiftResult{}, Tasks: []TaskResult{}, Masks: []MaskResult{},
		Method: method(in.Limit), Warnings: append(in.warnings(), warnings...),
	}
	shifts, warnings := in.shifts()
	r.Warnings = append(r.Warnings, warnings...)
	for _, shift := range shifts {
		for _, s := range in.Series {
			if recording(s, shift.Start, shift.End) {
				r.Shifts = append(r.Shifts, assessShift(in, shift, s, tasks))
			}
		}
	}
	if len(r.Shifts) == 0 {
		return Result{}, fmt.Errorf("assess exposure: %w in any of the %d shifts: check the dates and the shift hours", dust.ErrNoReadings, len(in.Shifts))
	}
	runs, warnings := runTasks(in, tasks)
	r.Warnings = append(r.Warnings, warnings...)
	for _, run := range runs {
		r.Tasks = append(r.Tasks, run.TaskResult)
	}
	r.Masks, warnings = masks(in, tasks, runs)
	r.Warnings = append(r.Warnings, warnings...)
	return r, nil
}

func (in Input) check() error {
	if in.Limit.ID == "" {
		return fmt.Errorf("assess exposure: no limit chosen: see `dustlog limits`")
	}
	if err := in.Limit.Assessable(); err != nil {
		return fmt.Errorf("assess exposure: %w", err)
	}
	if len(in.Series) == 0 {
		return fmt.Errorf("assess exposure: %w: no sensor has any", dust.ErrNoReadings)
	}
	if len(in.Shifts) == 0 {
		return fmt.Errorf("assess exposure: %w in any shift: no shift lies in the time asked about", dust.ErrNoReadings)
	}
	for _, s := range in.Series {
		if !s.Channel.IsMass() {
			return fmt.Errorf("assess exposure: limits are masses of dust, and %s of sensor %q is not: use pm1, pm2_5, pm4 or pm10", s.Channel.Metric(), s.Sensor.Name)
		}
	}
	return nil
}

// shifts are the possible shifts in time order.
func (in Input) shifts() (kept []dust.Shift, warnings []string) {
	for _, s := range in.Shifts {
		if s.Duration().Milliseconds() <= 0 {
			warnings = append(warnings, fmt.Sprintf("shift of %s was left out: it does not end after it starts", s.Date))
			continue
		}
		kept = append(kept, s)
	}
	slices.SortStableFunc(kept, func(a, b dust.Shift) int { return a.Start.Compare(b.Start) })
	return kept, warnings
}

func assessShift(in Input, shift dust.Shift, s *dust.Series, tasks []dust.Task) ShiftResult {
	m := measure(s, shift.Start, shift.End)
	r := ShiftResult{
		Date: shift.Date, Start: shift.Start, End: shift.End,
		Sensor: s.Sensor.Name, Position: s.Sensor.Position, Setup: setupsIn(in.Setups, shift.Start, shift.End),
		Minutes: shift.Duration().Minutes(), MinutesMeasured: m.minutes(),
		MinutesExcluded: m.excluded, SaturatedShare: m.saturatedShare(),
		TWA8h: m.twa(TWAHours(EightHours, 0)), TWA8hFilled: m.filled(TWAHours(EightHours, 0)), MeasuredMean: m.mean(),
		LimitID: in.Limit.ID, LimitMgM3: in.Limit.MgM3,
		TaskDoseShares: TaskDoseShares(m.spans, tasks, shift.Start, shift.End),
	}
	peak, peakErr := Max15min(m.spans, shift.Start, shift.End)
	if peakErr == nil {
		r.Max15min, r.Max15minStart = milligrams(peak.Mean), &peak.Start
	}
	j := judgement{
		limit: in.Limit, channel: s.Channel, position: s.Sensor.Position, declared: in.DeclaredShift, m: m,
		factor: calibrate(in.Factors, s.Sensor.Name, in.Limit, materials(tasks, shift)),
	}
	j.compare(peak, peakErr)
	r.Fraction = j.factor.label(s.Channel)
	r.Finding, r.Why = j.decide()
	j.fill(&r)
	if peakErr != nil && in.Limit.Averaging != FifteenMinutes {
		r.Why += "; no highest 15 minutes: " + peakErr.Error()
	}
	return r
}

// materials are those the diary names in a shift.
func materials(tasks []dust.Task, shift dust.Shift) []string {
	var found []string
	for _, t := range tasks {
		name := strings.TrimSpace(t.Material)
		if name != "" && t.Start.Before(shift.End) && t.Stop.After(shift.Start) && !slices.Contains(found, name) {
			found = append(found, name)
		}
	}
	return found
}

func method(l Limit) string {
	text := "8-h TWA = sum of C·dt / 8 h, unmeasured time as zero (29 CFR 1910.1000(d)(1)(i)); a reading speaks until the next, at most its hold time; " +
		"highest 15 min: rolling window inside the shift, exact, time-weighted over the measured part, counted where at least 75 % was measured"
	if l.Averaging == TenHours {
		text += "; for the up-to-10-hour limit the dose is divided by the shift's length, at least 8 h and at most 10 h"
	}
	return text
}

// warnings are what holds for the whole result.
func (in Input) warnings() []string {
	w := []string{}
	if !in.DeclaredShift {
		w = append(w, "no shift hours are declared: each shift runs from the first to the last reading of the day, so work without readings is not in it")
	}
	w = append(w, in.Limit.warnings()...)
	zone := false
	for _, s := range in.Series {
		zone = zone || s.Sensor.Position == dust.BreathingZone
		if extrapolated(s.Channel) {
			w = append(w, fmt.Sprintf("sensor %q: %s of an optical sensor is extrapolated from finer particles", s.Sensor.Name, s.Channel.Label()))
		}
	}
	if !zone {
		w = append(w, "no sensor is in the breathing zone: area readings are not personal exposure and can be several times lower")
	}
	return w
}

func (l Limit) warnings() []string {
	var w []string
	add := func(yes bool, text string) {
		if yes {
			w = append(w, fmt.Sprintf("limit %s: %s", l.ID, text))
		}
	}
	status := strings.ToLower(l.LegalStatus)
	add(l.Doubtful, "its value or fraction is doubtful: check with the issuing body before relying on it")
	add(l.FromMemory && !l.Doubtful, "its value was not looked up again for this table: check it")
	add(strings.Contains(status, "historic"), "it is no longer in force")
	add(strings.Contains(status, "proposal"), "it is a proposal, not in force")
	add(strings.Contains(l.Notes, "Replaced by"), l.Notes)
	add(strings.Contains(l.Kind, "not a limit"), "it is a threshold at which rules begin to apply, not a limit")
	add(l.Species == "not_wood", "it is not for wood dust, which has values of its own")
	add(l.Species == "softwood", "it holds for softwood only: with any hardwood in the mix the hardwood limit holds for all of it")
	add(strings.HasPrefix(l.Species, "any_except"), "it does not hold for western red cedar, which has a lower one")
	return w
}
