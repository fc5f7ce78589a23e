package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

// daysOnPage is how many days a page lists.
const daysOnPage = 14

// daysView is a fortnight, newest day first.
type daysView struct {
	From, To     time.Time // the first and the last day
	Rows         []exposure.ShiftResult
	Reasons      []exposure.Reason
	Warnings     []string
	Limit        string
	Older, Newer string     // addresses; "" if there is nothing there
	Newest       *time.Time // day of the newest reading, if these days have none
}

// showDays lists the shifts of a fortnight where someone breathes.
func (s *Server) showDays(w http.ResponseWriter, r *http.Request) {
	today := s.dayOf(s.o.Now())
	last := today
	if text := r.URL.Query().Get("to"); text != "" {
		day, err := s.parseDay(text)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		last = day
	}
	first := last.AddDate(0, 0, 1-daysOnPage)
	result, err := s.spell(r.Context(), study.Window{From: first.UTC(), To: last.AddDate(0, 0, 1).UTC()})
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := daysView{From: first, To: last, Limit: limitWords(s.o.Settings.Limit), Warnings: words.Strings(result.Warnings)}
	person := breathed(result)
	v.Rows, v.Reasons = person.Shifts, person.Reasons()
	slices.Reverse(v.Rows)
	v.Older = "/days?to=" + first.AddDate(0, 0, -1).Format(time.DateOnly)
	if last.Before(today) {
		v.Newer = "/days?to=" + last.AddDate(0, 0, daysOnPage).Format(time.DateOnly)
	}
	if len(v.Rows) == 0 && s.o.Newest != nil {
		newest, err := s.o.Newest(r.Context())
		if err != nil {
			s.fail(w, r, err)
			return
		}
		if day := s.dayOf(newest); !newest.IsZero() && (day.Before(first) || day.After(last)) {
			v.Newest = &day
		}
	}
	s.show(w, r, http.StatusOK, "days", "Days", v)
}

// breathed leaves only the shifts and tasks of sensors where someone breathes.
func breathed(r exposure.Result) exposure.Result {
	there := func(p dust.Position) bool { return p == dust.BreathingZone || p == dust.Room }
	r.Shifts = slices.DeleteFunc(slices.Clone(r.Shifts), func(one exposure.ShiftResult) bool { return !there(one.Position) })
	r.Tasks = slices.DeleteFunc(slices.Clone(r.Tasks), func(one exposure.TaskResult) bool { return !there(one.Position) })
	return r
}

// dayOf is the local midnight before a moment.
func (s *Server) dayOf(t time.Time) time.Time {
	y, m, d := t.In(s.zone()).Date()
	return time.Date(y, m, d, 0, 0, 0, 0, s.zone())
}

func (s *Server) parseDay(text string) (time.Time, error) {
	day, err := time.ParseInLocation(time.DateOnly, text, s.zone())
	if err != nil {
		return day, fmt.Errorf("%w: %q is no day; write it as in 2026-03-02", errNotUnderstood, text)
	}
	return day, nil
}

// spell assesses a stretch of days, once for all who ask.
func (s *Server) spell(ctx context.Context, w study.Window) (exposure.Result, error) {
	held := keep{fresh: 30 * time.Second, old: time.Hour}
	return s.spells.of(w).get(ctx, s.o.Now(), held, s.background, func(ctx context.Context) (exposure.Result, error) {
		return s.assess(ctx, w)
	})
}

// dayView is one day.
type dayView struct {
	Day      time.Time
	Shifts   []exposure.ShiftResult
	Tasks    []exposure.TaskResult
	Notes    []entryView
	Pictures []pictureView
	Limit    string
	Warnings []string
}

// showDay serves one day.
func (s *Server) showDay(w http.ResponseWriter, r *http.Request) {
	v, err := s.dayView(r.Context(), r.PathValue("day"))
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "day", v.Day.Format(time.DateOnly), v)
}

func (s *Server) dayView(ctx context.Context, text string) (dayView, error) {
	day, err := s.parseDay(text)
	if err != nil {
		return dayView{}, err
	}
	result, err := s.dayResult(ctx, day)
	if err != nil {
		return dayView{}, err
	}
	v := dayView{Day: day, Shifts: result.Shifts, Tasks: breathed(result).Tasks, Limit: limitWords(s.o.Settings.Limit), Warnings: words.Strings(result.Warnings)}
	entries, err := s.o.Records.Entries(ctx, day.UTC(), day.AddDate(0, 0, 1).UTC())
	if err != nil {
		return v, err
	}
	for _, e := range entries {
		if (e.Kind == dust.NoteEntry || e.Kind == dust.GaugeEntry) && e.Stands() {
			v.Notes = append(v.Notes, s.entryWords(e))
		}
	}
	for _, shift := range v.Shifts {
		v.Pictures = append(v.Pictures, pictureView{
			Title:   capital(shift.Sensor),
			Address: "/days/" + text + "/trace.svg?" + url.Values{"sensor": {shift.Sensor}}.Encode(),
			Alt:     shiftAlt(shift),
		})
	}
	return v, nil
}

// shiftAlt says in words what the picture of a shift shows.
func shiftAlt(shift exposure.ShiftResult) string {
	return fmt.Sprintf("Fine dust at %s over the shift of %s: 8-hour mean %s mg/m³, highest 15 minutes %s mg/m³, finding: %s.",
		shift.Sensor, shift.Date, given(shift.TWA8h, milligrams), given(shift.Max15min, milligrams), shift.Finding)
}

// dayResult assesses the shifts that begin on a day.
func (s *Server) dayResult(ctx context.Context, day time.Time) (exposure.Result, error) {
	// A night shift ends on the next day, and is measured as far as that.
	result, err := s.spell(ctx, study.Window{From: day.UTC(), To: day.AddDate(0, 0, 2).UTC()})
	date := day.Format(time.DateOnly)
	result.Shifts = slices.DeleteFunc(slices.Clone(result.Shifts), func(one exposure.ShiftResult) bool { return one.Date != date })
	result.Tasks = slices.DeleteFunc(slices.Clone(result.Tasks), func(one exposure.TaskResult) bool {
		return one.Start.In(s.zone()).Format(time.DateOnly) != date
	})
	return result, err
}

// drawDay serves the picture of one sensor's shift.
func (s *Server) drawDay(w http.ResponseWriter, r *http.Request) {
	name, text := r.URL.Query().Get("sensor"), r.PathValue("day")
	s.servePicture(w, r, "day\x00"+text+"\x00"+name, func(ctx context.Context, out io.Writer, o plots.Options) error {
		day, err := s.parseDay(text)
		if err != nil {
			return err
		}
		result, err := s.dayResult(ctx, day)
		if err != nil {
			return err
		}
		i := slices.IndexFunc(result.Shifts, func(one exposure.ShiftResult) bool { return one.Sensor == name })
		if i < 0 {
			return fmt.Errorf("%w at %q on %s", dust.ErrNoReadings, name, text)
		}
		st, err := s.study(ctx)
		if err != nil {
			return err
		}
		t, err := st.Trace(ctx, result.Shifts[i], dust.PM25)
		if err != nil {
			return err
		}
		return plots.ShiftTrace(out, s.traceData(t), o)
	})
}

// traceData is a shift for the picture; where nobody breathes without a limit.
func (s *Server) traceData(t study.Trace) plots.TraceData {
	d := plots.TraceData{Title: words.Literal(t.Shift.Sensor), Shift: t.Shift, Series: t.Series, Mean15: t.Mean15, Tasks: t.Tasks}
	if limit := s.o.Settings.Limit; t.Shift.ShareOfLimit != nil {
		d.LimitMgM3, d.LimitLabel, d.LimitAveraging = limit.MgM3, words.Of("limit %s", limit.ID), string(limit.Averaging)
	}
	return d
}
