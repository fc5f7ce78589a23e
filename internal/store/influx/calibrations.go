package influx

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"time"

	"dustlog/internal/dust"
)

const calibrationMeasurement = "dust_calibration"

// calibrationTime puts calibrations apart from each other: their number is the
// time of their point, in milliseconds.
func calibrationTime(id int64) time.Time { return time.UnixMilli(id).UTC() }

// appendCalibration appends the fields of a calibration.
func appendCalibration(b []byte, c dust.Calibration) []byte {
	b = strconv.AppendInt(append(b, "id="...), c.ID, 10)
	for _, f := range []struct{ key, text string }{
		{"kind", string(c.Kind)}, {"name", c.Sensor}, {"metric", c.Metric}, {"fraction", c.Fraction}, {"material", c.Material},
		{"task", c.Task}, {"season", c.Season}, {"numbers", c.Numbers}, {"note", c.Note}, {"retired_why", c.RetiredWhy},
	} {
		b = appendText(append(b, ','), f.key, f.text)
	}
	for _, f := range []struct {
		key string
		at  time.Time
	}{{"made_ms", c.Made}, {"from_ms", c.From}, {"to_ms", c.To}, {"valid_ms", c.Valid}, {"expires_ms", c.Expires}, {"retired_ms", c.Retired}} {
		if !f.at.IsZero() {
			b = strconv.AppendInt(append(append(append(b, ','), f.key...), '='), f.at.UnixMilli(), 10)
		}
	}
	return b
}

// Calibrations lists all calibrations by number, retired ones included.
func (s *Store) Calibrations(ctx context.Context) ([]dust.Calibration, error) {
	const most = 1 << 40 // numbers
	points, err := s.current(ctx, calibrationMeasurement, epoch, calibrationTime(most))
	if err != nil {
		return nil, s.explain(ctx, "list calibrations", err)
	}
	var list []dust.Calibration
	for _, p := range points {
		list = append(list, dust.Calibration{
			ID: int64(p.number("id")), Kind: dust.CalibrationKind(p.text("kind")), Sensor: p.text("name"),
			Made: p.time("made_ms"), From: p.time("from_ms"), To: p.time("to_ms"), Metric: p.text("metric"),
			Fraction: p.text("fraction"), Material: p.text("material"), Task: p.text("task"), Season: p.text("season"),
			Valid: p.time("valid_ms"), Expires: p.time("expires_ms"), Numbers: p.text("numbers"), Note: p.text("note"),
			Retired: p.time("retired_ms"), RetiredWhy: p.text("retired_why"),
		})
	}
	slices.SortFunc(list, func(a, b dust.Calibration) int { return cmp.Compare(a.ID, b.ID) })
	return list, nil
}

// time is a field in Unix milliseconds; zero if it is missing.
func (p *point) time(field string) time.Time {
	ms, ok := p.field[field].(float64)
	if !ok {
		return time.Time{}
	}
	return time.UnixMilli(int64(ms)).UTC()
}
