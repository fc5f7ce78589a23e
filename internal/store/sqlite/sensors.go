package sqlite

import (
	"context"
	"errors"
	"fmt"

	"dustlog/internal/dust"
)

// PutSensor adds a sensor or corrects what is known of it; an empty model or
// position leaves what was known. A change of a known model or position is
// kept as an event "sensor_changed", since readings taken before it then stand
// under the new description.
func (s *Store) PutSensor(ctx context.Context, sensor dust.Sensor) error {
	return s.update(ctx, "put sensor", func(t *tx) error { return t.PutSensor(ctx, sensor) })
}

// PutSensor is Store.PutSensor within the transaction.
func (t *tx) PutSensor(ctx context.Context, sensor dust.Sensor) error {
	if sensor.Name == "" {
		return errors.New("sensor has no name")
	}
	if sensor.Position != "" {
		known, err := dust.ParsePosition(string(sensor.Position))
		if err != nil {
			return fmt.Errorf("sensor %q: %w", sensor.Name, err)
		}
		sensor.Position = known
	}
	id, err := t.sensorID(ctx, sensor.Name)
	if err != nil {
		return err
	}
	var was dust.Sensor
	if err := t.QueryRowContext(ctx, "SELECT model, position FROM sensor WHERE id = ?", id).Scan(&was.Model, &was.Position); err != nil {
		return err
	}
	if sensor.Model == "" {
		sensor.Model = was.Model
	}
	if sensor.Position == "" {
		sensor.Position = was.Position
	}
	if (was.Model != "" && was.Model != sensor.Model) || (was.Position != "" && was.Position != sensor.Position) {
		text := fmt.Sprintf("was %s, %s; now %s, %s", was.Model, was.Position.Label(), sensor.Model, sensor.Position.Label())
		if err := t.AddEvent(ctx, dust.Event{Time: t.s.now(), Sensor: sensor.Name, Kind: "sensor_changed", Text: text}); err != nil {
			return err
		}
	}
	_, err = t.ExecContext(ctx, "UPDATE sensor SET model = ?, position = ? WHERE id = ?", sensor.Model, string(sensor.Position), id)
	return err
}

// Sensors lists the sensors by name. Model and position are empty where they
// were never told.
func (s *Store) Sensors(ctx context.Context) ([]dust.Sensor, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT name, model, position FROM sensor ORDER BY name")
	if err != nil {
		return nil, explain("list sensors", s.path, err)
	}
	defer rows.Close()
	var sensors []dust.Sensor
	for rows.Next() {
		var sensor dust.Sensor
		if err := rows.Scan(&sensor.Name, &sensor.Model, &sensor.Position); err != nil {
			return nil, explain("list sensors", s.path, err)
		}
		sensors = append(sensors, sensor)
	}
	return sensors, explain("list sensors", s.path, rows.Err())
}
