package exposure

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
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
	Also          []Limit           // judged beside Limit, each by its own averaging time
	Materials     map[string]string // a user's names for materials, see WoodOf
	LongShifts    ShiftAdjustment
	Factors       map[string][]Factor // by sensor name
	DeclaredShift bool                // false: hours were taken from the first and last reading
}

// Assess works out every shift with every sensor that was recording in it, every
// run of every task, and the respirator question. The error wraps
// dust.ErrNoReadings if there is nothing to assess, or says why the limit or the
// channel cannot be used. Numbers that are missing carry their reason.
func Assess(in Input) (Result, error) {
	a := NewAssessor(in)
	for _, s := range in.Series {
		if s != nil {
			t := a.Track(s.Sensor, s.Channel)
			if first, last, ok := s.Bounds(); ok {
				if err := t.AddSeries(s, first, last); err != nil {
					return Result{}, err
				}
			}
		}
	}
	return a.Result()
}

// result joins what was worked out. Everything was advanced over.
func (a *Assessor) result() (Result, error) {
	a.tracks = slices.DeleteFunc(a.tracks, func(t *Track) bool { return t.count == 0 })
	if err := a.check(); err != nil {
		return Result{}, err
	}
	_, last, _ := bounds(a.tracks)
	tasks, open, warnings := closeTasks(a.tasks, time.UnixMilli(last).UTC())
	r := Result{
		Schema: Schema, Metric: a.tracks[0].channel.Metric(), Limit: a.in.Limit, Also: append([]Limit{}, a.in.Also...),
		Shifts: []ShiftResult{}, Tasks: []TaskResult{}, Masks: []MaskResult{},
		Method: method(a.in.Limit), Warnings: slices.Concat(a.warnings(), a.faults, warnings, a.in.backwardShifts()),
	}
	diary := slices.Clone(tasks)
	diary = slices.DeleteFunc(diary, func(t dust.Task) bool { return t.Running() })
	for _, i := range a.order() {
		r.Shifts = append(r.Shifts, a.shiftResults(i, diary)...)
	}
	if len(r.Shifts) == 0 {
		return Result{}, fmt.Errorf("assess exposure: %w in any of the %d shifts: check the dates and the shift hours", dust.ErrNoReadings, len(a.closed))
	}
	if !a.in.DeclaredShift {
		r.Warnings = append(r.Warnings, overMidnight(r.Shifts)...)
	}
	runs, warnings := a.runTasks(tasks, open)
	r.Warnings = append(r.Warnings, warnings...)
	for _, run := range runs {
		r.Tasks = append(r.Tasks, run.TaskResult)
	}
	r.Masks, warnings = masks(a.in, diary, runs)
	r.Warnings = append(r.Warnings, warnings...)
	return r, nil
}

// order lists the shifts in time order, without those that nobody recorded.
func (a *Assessor) order() []int {
	var kept []int
	for i := range a.closed {
		if a.shifts.empty() || slices.ContainsFunc(a.tracks, func(t *Track) bool { return t.pieces[i].any }) {
			kept = append(kept, i)
		}
	}
	slices.SortStableFunc(kept, func(i, j int) int { return a.closed[i].Start.Compare(a.closed[j].Start) })
	return kept
}

// shiftResults is one shift with every sensor that was recording.
func (a *Assessor) shiftResults(i int, diary []dust.Task) (results []ShiftResult) {
	shift := a.closed[i]
	for _, t := range a.tracks {
		if t.recording(shift.Start, shift.End) {
			results = append(results, a.assessShift(shift, t, &t.pieces[i], diary))
		}
	}
	return results
}

func (a *Assessor) check() error {
	if a.in.Limit.ID == "" {
		return fmt.Errorf("assess exposure: no limit chosen: see `dustlog limits`")
	}
	for _, l := range a.in.limits() {
		if err := l.Assessable(); err != nil {
			return fmt.Errorf("assess exposure: %w", err)
		}
	}
	if len(a.tracks) == 0 {
		return fmt.Errorf("assess exposure: %w: no sensor has any", dust.ErrNoReadings)
	}
	if len(a.closed) == 0 {
		return fmt.Errorf("assess exposure: %w in any shift: %w lies in the time asked about", dust.ErrNoReadings, ErrNoShift)
	}
	for _, t := range a.tracks {
		if !t.channel.IsMass() {
			return fmt.Errorf("assess exposure: limits are masses of dust, and %s of sensor %q is not: use pm1, pm2_5, pm4 or pm10", t.channel.Metric(), t.sensor.Name)
		}
	}
	return nil
}

// ErrNoShift says that there are readings but no shift.
var ErrNoShift = errors.New("no shift")

// backwardShifts tells of shifts that cannot be.
func (in Input) backwardShifts() (warnings []words.Text) {
	for _, s := range in.Shifts {
		if s.Duration().Milliseconds() <= 0 {
			warnings = append(warnings, words.Of("shift of %s was left out: it does not end after it starts", words.Day(s.Date)))
		}
	}
	return warnings
}

func (a *Assessor) assessShift(shift dust.Shift, t *Track, p *piece, tasks []dust.Task) ShiftResult {
	m := measured{from: shift.Start, to: shift.End, sums: p.sums}
	r := ShiftResult{
		Date: shift.Date, Start: shift.Start, End: shift.End,
		Sensor: t.sensor.Name, Position: t.sensor.Position, Setup: setupsIn(a.in.Setups, shift.Start, shift.End),
		Minutes: shift.Duration().Minutes(), MinutesMeasured: m.minutes(),
		MinutesExcluded: m.excluded(), SaturatedShare: m.saturatedShare(),
		TWA8h: m.twa(eightHours), TWA8hFilled: m.filled(eightHours), TWAShift: m.twa(m.length()), MeasuredMean: m.mean(),
		TWA8hWithLeftOut: m.withLeftOut(eightHours), TWA8hWithoutDoubtful: m.withoutDoubt(eightHours),
		LimitID: a.in.Limit.ID, LimitMgM3: a.in.Limit.MgM3,
		TaskDoseShares: p.taskShares,
	}
	if p.ms > 0 {
		minutes := float64(p.aboveMs) / msPerMinute
		r.P50, r.P95, r.P99, r.MinutesAboveLimit = milligrams(p.p50), milligrams(p.p95), milligrams(p.p99), &minutes
	}
	if p.peakErr == nil {
		r.Max15min, r.Max15minStart = milligrams(p.peak.Mean), &p.peak.Start
	}
	r.tellTasks(&m)
	r.Limits = a.againstLimits(shift, t, p, m, tasks)
	r.take(r.Limits[0])
	if p.peakErr != nil && a.in.Limit.Averaging != FifteenMinutes {
		r.Why = words.Of("%s; no highest 15 minutes: %s", r.Why, words.OfError(p.peakErr))
	}
	return r
}

func method(l Limit) words.Text {
	text := words.Of("8-h TWA = sum of C·dt / 8 h, unmeasured time as zero (29 CFR 1910.1000(d)(1)(i)); a reading speaks until the next, at most its hold time; " +
		"highest 15 min: rolling window inside the shift, exact, time-weighted over the measured part, counted where at least 75 %% was measured")
	if l.Averaging == TenHours {
		text = words.Of("%s; for the up-to-10-hour limit the dose is divided by the shift's length, at least 8 h and at most 10 h", text)
	}
	return text
}

// warnings are what holds for the whole result.
func (a *Assessor) warnings() []words.Text {
	w := []words.Text{}
	if !a.in.DeclaredShift {
		w = append(w, words.Of("no shift hours are declared: each shift runs from the first to the last reading of the day, so work without readings is not in it"))
	}
	for _, l := range a.in.limits() {
		w = append(w, l.warnings()...)
	}
	w = append(w, longShifts(a.in.limits(), a.in.LongShifts, longest(a.closed))...)
	zone := false
	for _, t := range a.tracks {
		zone = zone || t.sensor.Position == dust.BreathingZone
		if Extrapolated(t.channel) {
			w = append(w, words.Of("sensor %q: %s of an optical sensor is extrapolated from finer particles", t.sensor.Name, ChannelText(t.channel)))
		}
	}
	if !zone {
		w = append(w, words.Of("no sensor is in the breathing zone: area readings are not personal exposure and can be several times lower"))
	}
	return w
}

func (l Limit) warnings() []words.Text {
	var w []words.Text
	add := func(yes bool, text words.Text) {
		if yes {
			w = append(w, words.Of("limit %s: %s", l.ID, text))
		}
	}
	status := strings.ToLower(l.LegalStatus)
	add(l.Doubtful, words.Of("its value or fraction is doubtful: check with the issuing body before relying on it"))
	add(l.FromMemory && !l.Doubtful, words.Of("its value was not looked up again for this table: check it"))
	add(strings.Contains(status, "historic"), words.Of("it is no longer in force"))
	add(strings.Contains(status, "proposal"), words.Of("it is a proposal, not in force"))
	add(strings.Contains(l.Notes, "Replaced by"), words.Literal(l.Notes))
	add(strings.Contains(l.Kind, "not a limit"), words.Of("it is a threshold at which rules begin to apply, not a limit"))
	add(l.Species == "not_wood", words.Of("it is not for wood dust, which has values of its own"))
	add(l.Species == "softwood", words.Of("it holds for softwood only: with any hardwood in the mix the hardwood limit holds for all of it"))
	add(strings.HasPrefix(l.Species, "any_except"), words.Of("it does not hold for western red cedar, which has a lower one"))
	return w
}
