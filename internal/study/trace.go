package study

import (
	"context"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Trace is one shift, reading by reading, with what a picture of it needs.
type Trace struct {
	Shift  exposure.ShiftResult
	Series *dust.Series
	Mean15 []exposure.MeanPoint
	Tasks  []dust.Task
}

// Trace fetches the readings of a shift that Exposure assessed.
func (s *Study) Trace(ctx context.Context, shift exposure.ShiftResult, metric dust.Channel) (Trace, error) {
	t := Trace{Shift: shift}
	sensor, err := s.Sensor(shift.Sensor)
	if err != nil {
		return t, err
	}
	if t.Series, err = s.Series(ctx, sensor, metric, Window{shift.Start, shift.End}); err != nil {
		return t, err
	}
	t.Mean15 = exposure.Mean15Curve(t.Series, shift.Start, shift.End)
	t.Tasks, err = s.records.Tasks(ctx, shift.Start, shift.End)
	return t, err
}
