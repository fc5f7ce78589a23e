package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
)

// nowView is the page that lies open on the bench.
type nowView struct {
	Clock   string // the shop's, not the telephone's
	Mask    maskView
	Sensors []sensorView
	Stick   stick
	Limit   string
	Dock    dockView
	Trace   traceView
}

// maskView is the respirator question in words.
type maskView struct {
	State string // keep, tell or not: picks the mark beside it
	Short string
	Why   string
}

// sensorView is one sensor in words.
type sensorView struct {
	Key, Name, Place string
	State            string // ok, odd or lost: picks the mark beside it
	Level            string // µg/m³
	LevelNote        string
	Mean15, Mean15Note,
	Today, TodayNote string // mg/m³
	Health string

	level, mean15, today *float64 // µg/m³, for the stick
	position             dust.Position
}

// showNow serves the first page.
func (s *Server) showNow(w http.ResponseWriter, r *http.Request) {
	v, err := s.now(r.Context())
	if err == nil {
		v.Trace, err = s.traceFor(r)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v.Dock.MayWrite = s.mayWrite(r)
	s.show(w, r, http.StatusOK, "now", "Now", v)
}

// now puts the state into words.
func (s *Server) now(ctx context.Context) (nowView, error) {
	sensors, err := s.o.Records.Sensors(ctx)
	if err != nil {
		return nowView{}, err
	}
	today, err := s.todayResult(ctx)
	if err != nil {
		return nowView{}, err
	}
	diary, err := s.diaryNow(ctx)
	if err != nil {
		return nowView{}, err
	}
	v := nowView{Clock: s.o.Now().In(s.zone()).Format("15:04"), Limit: limitWords(s.o.Settings.Limit), Dock: s.dock(diary)}
	at := s.o.Now()
	for i, sensor := range sensors {
		one := s.sensorNow(sensor, at)
		one.Key = fmt.Sprintf("s%d", i)
		one.tellToday(today, at)
		v.Sensors = append(v.Sensors, one)
	}
	// Where someone breathes comes first.
	slices.SortStableFunc(v.Sensors, func(a, b sensorView) int { return rank(a.position) - rank(b.position) })
	v.Stick = newStick(v.Sensors, s.o.Settings.Limit)
	v.Mask, err = s.maskNow(ctx, diary.running, v.Sensors)
	return v, err
}

func rank(p dust.Position) int {
	if i := slices.Index(dust.Positions(), p); i >= 0 {
		return i
	}
	return len(dust.Positions())
}

// sensorNow says what a sensor says.
func (s *Server) sensorNow(sensor dust.Sensor, at time.Time) sensorView {
	v := sensorView{Name: sensor.Name, Place: sensor.Position.Label(), Level: none, Mean15: none, Today: none, position: sensor.Position}
	newest, spacing, series := s.recent.snapshot(sensor)
	if newest.Time.IsZero() {
		v.State, v.LevelNote = "lost", "no reading in the last "+ago(remembered)
		return v
	}
	age := at.Sub(newest.Time)
	clock := newest.Time.In(s.zone()).Format("15:04:05")
	v.tellMean(series, newest.Time)
	v.State, v.Health = health(series, spacing, newest)
	ugM3, has := newest.Values.Get(series.Channel)
	flags := newest.Flags.For(series.Channel)
	switch {
	case age > s.o.Late:
		v.State, v.LevelNote = "lost", fmt.Sprintf("no reading for %s, the last at %s", ago(age), clock)
		v.Mean15, v.Mean15Note, v.mean15 = none, "", nil
	case !has:
		v.State, v.LevelNote = "odd", "no fine dust in the reading of "+clock
	case flags.Unusable():
		v.Level, v.State = micrograms(ugM3), "odd"
		v.LevelNote = fmt.Sprintf("%s, not counted: %s", clock, spaced(strings.Join(flags.Names(), ", ")))
	case flags.Has(dust.Saturated):
		v.Level, v.level, v.State = micrograms(ugM3), &ugM3, "odd"
		v.LevelNote = clock + ", at least: the sensor is at its top"
	default:
		v.Level, v.level, v.LevelNote = micrograms(ugM3), &ugM3, "at "+clock
	}
	return v
}

// tellMean says the mean of the last 15 minutes, by exposure's own rule.
func (v *sensorView) tellMean(series *dust.Series, end time.Time) {
	from := end.Add(-15 * time.Minute)
	measured := 0.0
	for p := range series.Usable(from, end) {
		measured += p.Seconds() / 60
	}
	v.Mean15Note = fmt.Sprintf("15 min: %.0f measured", measured)
	if curve := exposure.Mean15Curve(series, from, end); len(curve) > 0 {
		mean := curve[len(curve)-1].MgM3
		ugM3 := mean * float64(dust.MilligramPerM3)
		v.Mean15, v.mean15 = milligrams(mean), &ugM3
	}
}

// mostBad is the share of unusable readings from which on a sensor is marked.
const mostBad = 0.1

// health says how well a sensor delivers.
func health(series *dust.Series, spacing time.Duration, newest dust.Reading) (state, text string) {
	_, _, flags := series.Columns()
	bad := 0
	for _, f := range flags {
		if f.Unusable() {
			bad++
		}
	}
	state = "ok"
	if n := len(flags); n > 0 {
		text = fmt.Sprintf("%s of the last %s readings usable", thousands(int64(n-bad)), thousands(int64(n)))
		if float64(bad) > mostBad*float64(n) {
			state = "odd"
		}
	}
	if spacing > 0 {
		text += fmt.Sprintf(", one every %s s", strings.TrimSuffix(fmt.Sprintf("%.1f", spacing.Seconds()), ".0"))
	}
	if names := (newest.Flags &^ dust.ClockStep).Names(); len(names) > 0 {
		state, text = "odd", text+"; now: "+spaced(strings.Join(names, ", "))
	}
	return state, text
}

// tellToday says what today's shift comes to so far.
func (v *sensorView) tellToday(r exposure.Result, at time.Time) {
	var shift *exposure.ShiftResult
	for i := range r.Shifts {
		if one := &r.Shifts[i]; one.Sensor == v.Name && !one.Start.After(at) {
			shift = one
		}
	}
	if shift == nil || shift.TWA8h == nil {
		return
	}
	ugM3 := *shift.TWA8h * float64(dust.MilligramPerM3)
	v.Today, v.today = milligrams(*shift.TWA8h), &ugM3
	passed := min(shift.Minutes, at.Sub(shift.Start).Minutes())
	v.TodayNote = fmt.Sprintf("8 h: %.0f of %.0f min measured so far", shift.MinutesMeasured, passed)
	if shift.ShareOfLimit != nil {
		v.TodayNote += ", " + shareOfLimit(shift.ShareOfLimit, shift.ShareIsAtLeast) + " of the limit"
		if shift.Finding == exposure.Over {
			v.TodayNote += ": over"
		}
	}
}

var keepToday = keep{fresh: 30 * time.Second, old: 10 * time.Minute}

// todayResult assesses the shift that runs. Before the first reading of a day it
// is empty, not an error.
func (s *Server) todayResult(ctx context.Context) (exposure.Result, error) {
	at := s.o.Now()
	return s.today.get(ctx, at, keepToday, s.background, func(ctx context.Context) (exposure.Result, error) {
		y, m, d := at.In(s.zone()).Date()
		if h := s.o.Settings.Hours; h != nil && h.End <= h.Start {
			d-- // a shift that began yesterday may still run
		}
		return s.assess(ctx, study.Window{From: time.Date(y, m, d, 0, 0, 0, 0, s.zone()).UTC()})
	})
}

// assess assesses a window. Without readings the result is empty.
func (s *Server) assess(ctx context.Context, w study.Window) (exposure.Result, error) {
	st, err := s.study(ctx)
	if errors.Is(err, dust.ErrNoReadings) {
		return exposure.Result{}, nil
	}
	if err != nil {
		return exposure.Result{}, err
	}
	r, err := st.Exposure(ctx, dust.PM25, w)
	if errors.Is(err, dust.ErrNoReadings) {
		return exposure.Result{}, nil
	}
	return r, err
}
