package web

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"net/http"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/study"
)

const (
	lookBack    = 60 * 24 * time.Hour // for tasks to offer
	mostChoices = 8
	entriesBack = 12 * time.Hour
	undoAtHand  = 15 * time.Minute // later an entry is taken back on the diary's page
)

var (
	keepDiary     = keep{fresh: 2 * time.Second, old: 2 * time.Second}
	keepForgotten = keep{fresh: 2 * time.Minute, old: 2 * time.Minute}
)

// diaryNow is what the diary says at this moment.
type diaryNow struct {
	running []dust.Task
	choices []dust.Task // the latest tasks that differ
	setup   string
	setups  []string
	entries []dust.Entered // of the last hours
	gauges  []gaugeChoice

	forgotten []forgottenView
}

// dockView is the diary as it stands at the foot of the page.
type dockView struct {
	MayWrite  bool
	Running   []runningView
	Choices   []choiceView
	Setup     string
	Others    []string // setups that are not in use
	Gauges    []gaugeChoice
	Undo      *entryView
	Forgotten []forgottenView
	Version   string
}

type runningView struct{ Name, Material, Person, Since string }

type choiceView struct {
	Name, Material, Person string
	Running                bool
}

// entryView is one entry in words.
type entryView struct {
	ID, When, Words string
	Stands          bool
	Kind            dust.EntryKind
}

// forgottenView is a stop that may have been forgotten.
type forgottenView struct {
	Task, Person string
	Stop         string // as on a clock
	StopMs       int64
	Why          string
}

func (s *Server) diaryNow(ctx context.Context) (diaryNow, error) {
	at := s.o.Now()
	return s.diary.get(ctx, at, keepDiary, s.background, func(ctx context.Context) (diaryNow, error) {
		var d diaryNow
		tasks, err := s.o.Records.Tasks(ctx, at.Add(-lookBack), time.Time{})
		if err != nil {
			return d, err
		}
		d.running, d.choices = sortTasks(tasks)
		periods, err := s.o.Records.SetupPeriods(ctx)
		if err != nil {
			return d, err
		}
		d.setup = dust.SetupAt(periods, at)
		for _, p := range slices.Backward(periods) {
			if !slices.Contains(d.setups, p.Setup) {
				d.setups = append(d.setups, p.Setup)
			}
		}
		d.entries, err = s.o.Records.Entries(ctx, at.Add(-entriesBack), time.Time{})
		d.gauges = gaugeChoices(d.entries)
		d.forgotten = s.forgottenOf(ctx, d.running, at)
		return d, err
	})
}

// sortTasks finds the running tasks and the latest that differ in what is tapped.
func sortTasks(tasks []dust.Task) (running, choices []dust.Task) {
	for _, t := range slices.Backward(tasks) {
		if t.Running() {
			running = append(running, t)
		}
		same := func(u dust.Task) bool { return u.Name == t.Name && u.Material == t.Material && u.Person == t.Person }
		if len(choices) < mostChoices && !slices.ContainsFunc(choices, same) {
			choices = append(choices, t)
		}
	}
	// In a fixed order, so that a button stays where it was.
	slices.SortFunc(choices, func(a, b dust.Task) int {
		return strings.Compare(a.Name+"\x00"+a.Material+"\x00"+a.Person, b.Name+"\x00"+b.Material+"\x00"+b.Person)
	})
	return running, choices
}

func (s *Server) dock(d diaryNow) dockView {
	v := dockView{Setup: d.setup, Others: without(d.setups, d.setup), Gauges: d.gauges, Forgotten: d.forgotten, Version: d.version()}
	now := s.o.Now()
	for _, t := range d.running {
		since := fmt.Sprintf("since %s, %s", t.Start.In(s.zone()).Format("15:04"), ago(now.Sub(t.Start).Truncate(time.Minute)))
		if now.Sub(t.Start) < time.Minute {
			since = "since " + t.Start.In(s.zone()).Format("15:04")
		}
		v.Running = append(v.Running, runningView{t.Name, t.Material, t.Person, since})
	}
	for _, t := range d.choices {
		runs := slices.ContainsFunc(d.running, func(u dust.Task) bool {
			return u.Name == t.Name && u.Material == t.Material && u.Person == t.Person
		})
		v.Choices = append(v.Choices, choiceView{t.Name, t.Material, t.Person, runs})
	}
	for _, e := range slices.Backward(d.entries) {
		if e.Stands() && e.Kind != dust.UndoEntry && now.Sub(e.Received) < undoAtHand {
			words := s.entryWords(e)
			v.Undo = &words
			break
		}
	}
	return v
}

func without(names []string, one string) []string {
	return slices.DeleteFunc(slices.Clone(names), func(name string) bool { return name == one })
}

// version changes whenever what the dock shows may have changed.
func (d diaryNow) version() string {
	h := fnv.New64a()
	fmt.Fprint(h, d.setup, d.setups, d.forgotten)
	for _, t := range d.running {
		fmt.Fprint(h, t.ID, t.Name, t.Start.UnixMilli())
	}
	for _, t := range d.choices {
		fmt.Fprint(h, t.Name, t.Material, t.Person)
	}
	for _, e := range d.entries {
		fmt.Fprint(h, e.ID, e.Stands())
	}
	return fmt.Sprintf("%x", h.Sum64())
}

func (s *Server) entryWords(e dust.Entered) entryView {
	v := entryView{ID: e.ID, Kind: e.Kind, Stands: e.Stands(), When: e.At.In(s.zone()).Format("15:04")}
	task := taskWords(e.Name, e.Material, e.Person)
	switch e.Kind {
	case dust.StartEntry:
		v.Words = task + " started"
	case dust.StopEntry:
		v.Words = task + " stopped"
	case dust.SetupEntry:
		v.Words = "setup " + e.Name
	case dust.NoteEntry:
		v.Words = "note: " + e.Text
	case dust.GaugeEntry:
		v.Words = gaugeEntryWords(e.Entry)
	case dust.UndoEntry:
		v.Words = "something taken back"
	}
	return v
}

func taskWords(name, material, person string) string {
	text := strings.Join(slices.DeleteFunc([]string{name, material}, func(s string) bool { return s == "" }), ", ")
	if person != "" {
		text += " (" + person + ")"
	}
	return text
}

// showDock serves the dock alone, for the script.
func (s *Server) showDock(w http.ResponseWriter, r *http.Request) {
	diary, err := s.diaryNow(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	v := s.dock(diary)
	v.MayWrite = s.mayWrite(r)
	s.fragment(w, r, "dock", v)
}

// forgottenOf looks for stops that were forgotten. That is a courtesy: without an
// answer the page stands without it.
func (s *Server) forgottenOf(ctx context.Context, running []dust.Task, at time.Time) []forgottenView {
	if len(running) == 0 {
		return nil
	}
	found, err := s.forgotten.get(ctx, at, keepForgotten, s.background, func(ctx context.Context) ([]study.ForgottenStop, error) {
		st, err := s.study(ctx)
		if errors.Is(err, dust.ErrNoReadings) {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
		return st.Forgotten(ctx, running, at)
	})
	if err != nil && ctx.Err() == nil {
		s.o.Log.Warn("forgotten stops cannot be looked for", "error", err)
	}
	var out []forgottenView
	for _, f := range found {
		if !slices.ContainsFunc(running, func(t dust.Task) bool { return t.ID == f.Task.ID }) {
			continue // stopped meanwhile
		}
		out = append(out, forgottenView{
			Task: f.Task.Name, Person: f.Task.Person, Stop: f.Stop.In(s.zone()).Format("15:04"), StopMs: f.Stop.UnixMilli(), Why: f.Why(s.zone()),
		})
	}
	return out
}
