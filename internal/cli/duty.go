package cli

import (
	"context"
	"errors"
	"fmt"
	"time"

	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

// duty is a plan by which a sensor is on for a part of the time only, to save its laser
// and fan. The commands it needs do not survive a loss of power.
type duty struct {
	on, every time.Duration // 0: always on
	clock     collect.Clock
	switching bool // the sensor is being switched: readings in between are not used
	told      bool
}

// newDuty checks that the model can follow the plan: it must be able to sleep, and be
// on for longer than it takes to warm up.
func newDuty(m sensor.Model, s config.Sensor) (duty, error) {
	on, every, err := s.DutyCycle()
	if err != nil || on == 0 {
		return duty{}, err
	}
	if _, err := sensor.Command(m, "sleep"); err != nil {
		return duty{}, fmt.Errorf("duty %q: a %s cannot be put to sleep", s.Duty, m)
	}
	if least := m.Spec().WarmUp + 10*time.Second; on < least {
		return duty{}, fmt.Errorf("duty %q: a %s warms up for %s: leave it on for at least %s", s.Duty, m, m.Spec().WarmUp, least)
	}
	return duty{on: on, every: every, clock: collect.SystemClock()}, nil
}

// followDuty lets the sensor sleep when its time is over, and wakes it for the next.
func (s *lineSource) followDuty(ctx context.Context) error {
	plan := &s.line.duty
	if plan.on == 0 || s.Pending() {
		return nil
	}
	if !plan.told {
		plan.told = true
		s.line.event(collect.EventDuty, fmt.Sprintf("on for %s of every %s; the first %s of each are warm-up, and what lies between was planned",
			plan.on, plan.every, s.line.model.Spec().WarmUp))
	}
	now := plan.clock.Elapsed()
	switch {
	case s.wokeAt == 0: // it may be asleep since an earlier run
		return s.wake(ctx)
	case now-s.wokeAt < plan.on:
		return nil
	}
	if err := s.switched(ctx, s.Device.Sleep); errors.Is(err, dust.ErrSilent) {
		s.line.event(collect.EventDuty, fmt.Sprintf("it does not say that it sleeps, so it stays on: %v", err))
		s.wokeAt = now
		return nil
	} else if err != nil {
		return err
	}
	s.asleep = true
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-plan.clock.After(s.wokeAt + plan.every - now):
	}
	return s.wake(ctx)
}

func (s *lineSource) wake(ctx context.Context) error {
	s.wokeAt = s.line.duty.clock.Elapsed()
	if err := s.switched(ctx, s.Device.Wake); err != nil {
		return err
	}
	s.asleep = false
	return nil
}

// switched runs a command. Readings that come meanwhile would be stamped when it is
// over, so they are not used.
func (s *lineSource) switched(ctx context.Context, do func(context.Context) error) error {
	s.line.duty.switching = true
	defer func() { s.line.duty.switching = false }()
	err := do(ctx)
	s.Discard()
	return err
}

// lastWake is how long a sleeping sensor is given to wake at the end of a run.
const lastWake = 2 * time.Second

// Close leaves the sensor awake: whoever uses it next need not know of the plan.
func (s *lineSource) Close() error {
	if s.asleep {
		ctx, cancel := context.WithTimeout(context.Background(), lastWake)
		defer cancel()
		_ = s.wake(ctx)
	}
	return s.Device.Close()
}
