package web

import (
	"net/http"
	"slices"
	"time"

	"dustlog/internal/dust"
)

const diaryDays = 7

// diaryView is the last days of the diary.
type diaryView struct {
	Dock    dockView
	Entries []entryView // of the last hours, newest first
	Days    []diaryDay  // newest first
	Notes   bool
}

// diaryDay is one day: tasks, changes of setup and notes in the order of the clock.
type diaryDay struct {
	Day   time.Time
	Lines []diaryLine
}

type diaryLine struct {
	at                  time.Time
	When, Words, Lasted string
}

func (s *Server) showDiary(w http.ResponseWriter, r *http.Request) {
	v, err := s.diaryView(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "diary", "Diary", v)
}

func (s *Server) diaryView(r *http.Request) (diaryView, error) {
	ctx := r.Context()
	diary, err := s.diaryNow(ctx)
	if err != nil {
		return diaryView{}, err
	}
	v := diaryView{Dock: s.dock(diary)}
	v.Dock.MayWrite, v.Dock.Undo = s.mayWrite(r), nil // the list has it
	for _, e := range slices.Backward(diary.entries) {
		if e.Kind != dust.UndoEntry {
			v.Entries = append(v.Entries, s.entryWords(e))
		}
	}
	lines, err := s.diaryLines(r)
	if err != nil {
		return v, err
	}
	slices.SortStableFunc(lines, func(a, b diaryLine) int { return b.at.Compare(a.at) })
	for _, l := range lines {
		day := s.dayOf(l.at)
		if n := len(v.Days); n == 0 || !v.Days[n-1].Day.Equal(day) {
			v.Days = append(v.Days, diaryDay{Day: day})
		}
		last := &v.Days[len(v.Days)-1]
		last.Lines = append(last.Lines, l)
	}
	return v, nil
}

// diaryLines are what was done in the last days.
func (s *Server) diaryLines(r *http.Request) (lines []diaryLine, err error) {
	now := s.o.Now()
	from := s.dayOf(now).AddDate(0, 0, 1-diaryDays).UTC()
	clock := func(t time.Time) string { return t.In(s.zone()).Format("15:04") }
	tasks, err := s.o.Records.Tasks(r.Context(), from, time.Time{})
	if err != nil {
		return nil, err
	}
	for _, t := range tasks {
		l := diaryLine{at: t.Start, When: clock(t.Start) + "–" + clock(t.Stop), Words: taskWords(t.Name, t.Material, t.Person), Lasted: ago(t.Stop.Sub(t.Start).Round(time.Second))}
		if t.Running() {
			l.When, l.Lasted = clock(t.Start), "runs, "+ago(now.Sub(t.Start))
		}
		lines = append(lines, l)
	}
	periods, err := s.o.Records.SetupPeriods(r.Context())
	if err != nil {
		return nil, err
	}
	for _, p := range periods {
		if !p.From.Before(from) {
			lines = append(lines, diaryLine{at: p.From, When: clock(p.From), Words: "setup: " + p.Setup})
		}
	}
	entries, err := s.o.Records.Entries(r.Context(), from, time.Time{})
	for _, e := range entries {
		if (e.Kind == dust.NoteEntry || e.Kind == dust.GaugeEntry) && e.Stands() {
			lines = append(lines, diaryLine{at: e.At, When: clock(e.At), Words: s.entryWords(e).Words})
		}
	}
	return lines, err
}
