package web

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"slices"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/words"
)

// tasksView is what each task raised in the last weeks.
type tasksView struct {
	Days     int
	Totals   []exposure.Total
	Masks    []exposure.MaskResult
	Overall  maskView
	Picture  *pictureView
	Limit    string
	Warnings []string
}

func (s *Server) showTasks(w http.ResponseWriter, r *http.Request) {
	past, err := s.pastResult(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	all := exposure.OverallMask(past.Masks)
	v := tasksView{
		Days: pastDays, Totals: breathed(past).Totals(exposure.ByTask), Masks: past.Masks, Limit: limitWords(s.o.Settings.Limit),
		Overall: newMaskView(Mask{State: all.State, Why: all.Why.String()}, s.zone()), Warnings: words.Strings(past.Warnings),
	}
	slices.SortStableFunc(v.Totals, func(a, b exposure.Total) int { return higherFirst(a.MeanMgM3, b.MeanMgM3) })
	if person := atPerson(past); len(person.Shifts) > 0 && len(person.Tasks) > 0 {
		v.Picture = &pictureView{
			Title: "Which task makes the dose, shift by shift", Address: "/tasks/dose.svg?", Alt: plots.AltTextTaskDose(person, plots.Options{}),
			Caption: "Each bar is one shift in the breathing zone: which share of the dust measured in it each task brought.",
		}
	}
	s.show(w, r, http.StatusOK, "tasks", "Tasks", v)
}

// higherFirst orders numbers that may be missing: the highest first, none last.
func higherFirst(a, b *float64) int {
	switch {
	case a == nil && b == nil:
		return 0
	case a == nil:
		return 1
	case b == nil || *a > *b:
		return -1
	case *a < *b:
		return 1
	}
	return 0
}

// atPerson leaves only what was measured in the breathing zone.
func atPerson(r exposure.Result) exposure.Result {
	r = breathed(r)
	r.Shifts = slices.DeleteFunc(r.Shifts, func(one exposure.ShiftResult) bool { return one.Position != dust.BreathingZone })
	r.Tasks = slices.DeleteFunc(r.Tasks, func(one exposure.TaskResult) bool { return one.Position != dust.BreathingZone })
	return r
}

func (s *Server) drawDoses(w http.ResponseWriter, r *http.Request) {
	s.servePicture(w, r, "doses", func(ctx context.Context, out io.Writer, o plots.Options) error {
		past, err := s.pastResult(ctx)
		if err != nil {
			return err
		}
		person := atPerson(past)
		if len(person.Shifts) == 0 || len(person.Tasks) == 0 {
			return fmt.Errorf("%w of a task in the breathing zone", dust.ErrNoReadings)
		}
		return plots.TaskDose(out, person, o)
	})
}
