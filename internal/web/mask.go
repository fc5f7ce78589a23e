package web

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

// pastDays is how far back runs of tasks count for the respirator question.
const pastDays = 30

var keepPast = keep{fresh: 5 * time.Minute, old: 24 * time.Hour}

// pastResult assesses the last weeks.
func (s *Server) pastResult(ctx context.Context) (exposure.Result, error) {
	at := s.o.Now()
	return s.past.get(ctx, at, keepPast, s.background, func(ctx context.Context) (exposure.Result, error) {
		return s.assess(ctx, study.Window{From: at.AddDate(0, 0, -pastDays)})
	})
}

// maskNow answers the respirator question for this moment.
func (s *Server) maskNow(ctx context.Context, running []dust.Task, sensors []sensorView) (maskView, error) {
	if s.o.Mask != nil {
		return newMaskView(s.o.Mask(), s.zone()), nil
	}
	past, err := s.pastResult(ctx)
	if err != nil {
		return maskView{}, err
	}
	periods, err := s.o.Records.SetupPeriods(ctx)
	if err != nil {
		return maskView{}, err
	}
	m := maskOf(underSetup(past, dust.SetupAt(periods, s.o.Now())), running)
	return newMaskView(unwatched(m, running, sensors), s.zone()), nil
}

// underSetup takes back what runs under another setup than the one in use would let pass.
func underSetup(past exposure.Result, setup string) exposure.Result {
	past.Masks = slices.Clone(past.Masks)
	for i, m := range past.Masks {
		if m.State == exposure.NotShownNeeded && m.Setup != setup {
			past.Masks[i].State, past.Masks[i].Why = exposure.MaskCannotTell, words.Of("its runs were under another setup than the one in use now")
		}
	}
	return past
}

// unwatched is an answer from past runs alone, made as strict as it must be where
// nobody watches the air: they tell nothing of this moment.
func unwatched(m Mask, running []dust.Task, sensors []sensorView) Mask {
	if m.State != exposure.NotShownNeeded {
		return m
	}
	heard := slices.ContainsFunc(sensors, func(v sensorView) bool {
		return v.position == dust.BreathingZone && v.State == "ok" && v.level != nil
	})
	switch {
	case !heard:
		return Mask{State: exposure.KeepOn, Why: "No sensor in the breathing zone sends usable readings now. " + m.Why}
	case len(running) == 0:
		return Mask{State: exposure.MaskCannotTell, Why: "This page does not watch how the air clears after work; dustlog collect does. " + m.Why}
	}
	return m
}

// maskOf is the answer from past runs: of the running tasks the strictest, and
// without one that for all work seen.
func maskOf(past exposure.Result, running []dust.Task) Mask {
	if len(running) == 0 {
		all := exposure.OverallMask(past.Masks)
		return Mask{State: all.State, Why: "No task is running. For all the work of the last " + fmt.Sprint(pastDays) + " days: " + all.Why.String()}
	}
	strictest := Mask{State: exposure.NotShownNeeded}
	for i, task := range running {
		m := Mask{State: exposure.MaskCannotTell, Why: fmt.Sprintf("%s: no run of it in the last %d days was measured in the breathing zone", capital(task.Name), pastDays)}
		for _, r := range past.Masks {
			if r.Task == task.Name && strings.EqualFold(r.Material, task.Material) {
				m = Mask{State: r.State, Why: capital(r.Label()) + ": " + r.Why.String()}
			}
		}
		if i == 0 || strictness(m.State) > strictness(strictest.State) {
			strictest = m
		}
	}
	return strictest
}

func strictness(s exposure.MaskState) int {
	switch s {
	case exposure.KeepOn:
		return 2
	case exposure.NotShownNeeded:
		return 0
	}
	return 1
}

func newMaskView(m Mask, zone *time.Location) maskView {
	v := maskView{State: "tell", Short: "Cannot tell, so keep it on", Why: full(capital(m.Why))}
	switch m.State {
	case exposure.KeepOn:
		v.State, v.Short = "keep", "Keep it on"
		if !m.Until.IsZero() {
			v.Short += ", at most until " + m.Until.In(zone).Format("15:04")
		}
	case exposure.NotShownNeeded:
		v.State, v.Short = "not", "Not shown to be needed"
	}
	return v
}
