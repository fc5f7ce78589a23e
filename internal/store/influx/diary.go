package influx

import (
	"cmp"
	"context"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/influxdata/influxdb-client-go/v2/api/query"

	"dustlog/internal/dust"
)

// What belongs to readings is written as a whole, as one generation: its points
// first, then the shop's own point, which names the generation. A reader
// ignores points of an older generation, so what was taken back does not come
// back, and a copy that was cut short is not half believed.

const (
	shopMeasurement   = "dust_shop"
	sensorMeasurement = "dust_sensor"
	taskMeasurement   = "dust_task"
	setupMeasurement  = "dust_setup"
	generationField   = "generation"
)

// epoch is the time of points that are about no moment: sensors and shops.
var epoch = time.Unix(0, 0).UTC()

// Diary is what belongs to readings so that they can be understood. An alias, so
// that others need not import this package.
type Diary = struct {
	Sensors []dust.Sensor
	Tasks   []dust.Task
	Setups  []dust.Setup
	Periods []dust.SetupPeriod
	// Calibrations are all there are, retired ones included.
	Calibrations []dust.Calibration
	Generation   int64 // rises with every change; below 2^53
}

// WriteDiary replaces what the server has of sensors, tasks and setups.
func (m *Mirror) WriteDiary(ctx context.Context, d Diary) error {
	const atOnce = 5000
	for part := range slices.Chunk(diaryLines(m.s.shop, d), atOnce) {
		if err := m.send(ctx, []byte(strings.Join(part, "\n"))); err != nil {
			return err
		}
	}
	head := appendTag([]byte(shopMeasurement), shopTag, m.s.shop)
	return m.send(ctx, appendEnd(append(head, ' '), d.Generation, epoch))
}

func diaryLines(shop string, d Diary) []string {
	var lines []string
	begin := func(measurement string, tag, value string) []byte {
		b := appendTag([]byte(measurement), tag, value)
		return append(appendTag(b, shopTag, shop), ' ')
	}
	end := func(b []byte, at time.Time) {
		lines = append(lines, string(appendEnd(append(b, ','), d.Generation, at)))
	}
	for _, s := range d.Sensors {
		b := appendText(begin(sensorMeasurement, sensorTag, s.Name), "model", s.Model)
		end(appendText(append(b, ','), "position", string(s.Position)), epoch)
	}
	for _, t := range d.Tasks {
		b := appendText(begin(taskMeasurement, "person", t.Person), "name", t.Name)
		b = appendText(append(b, ','), "material", t.Material)
		b = append(strconv.AppendInt(append(b, ",id="...), t.ID, 10), ",running="...)
		b = strconv.AppendBool(b, t.Running())
		if !t.Running() {
			b = strconv.AppendInt(append(b, ",stop_ms="...), t.Stop.UnixMilli(), 10)
		}
		end(b, t.Start)
	}
	notes := map[string]string{}
	for _, s := range d.Setups {
		notes[s.Name] = s.Note
	}
	for _, p := range d.Periods {
		b := appendText(begin(setupMeasurement, "", ""), "setup", p.Setup)
		end(appendText(append(b, ','), "note", notes[p.Setup]), p.From)
	}
	for _, c := range d.Calibrations {
		end(appendCalibration(begin(calibrationMeasurement, "", ""), c), calibrationTime(c.ID))
	}
	return lines
}

func appendEnd(b []byte, generation int64, at time.Time) []byte {
	b = strconv.AppendInt(append(b, generationField+"="...), generation, 10)
	return strconv.AppendInt(append(b, ' '), at.UnixMilli(), 10)
}

// Shops names the shops whose diaries the database holds.
func (s *Store) Shops(ctx context.Context) ([]string, error) {
	all := *s
	all.shop = ""
	points, err := all.points(ctx, shopMeasurement, epoch, epoch.Add(time.Second))
	if err != nil {
		return nil, s.explain(ctx, "list shops", err)
	}
	var names []string
	for _, p := range points {
		names = append(names, decodeName(p.tag[shopTag]))
	}
	slices.Sort(names)
	return names, nil
}

// Sensors lists the sensors by name, with model and position where a diary was
// written.
func (s *Store) Sensors(ctx context.Context) ([]dust.Sensor, error) {
	points, err := s.current(ctx, sensorMeasurement, epoch, epoch.Add(time.Second))
	if err != nil {
		return nil, s.explain(ctx, "list sensors", err)
	}
	var sensors []dust.Sensor
	for _, p := range points {
		sensors = append(sensors, dust.Sensor{Name: decodeName(p.tag[sensorTag]), Model: p.text("model"), Position: dust.Position(p.text("position"))})
	}
	if len(sensors) > 0 {
		slices.SortFunc(sensors, func(a, b dust.Sensor) int { return strings.Compare(a.Name, b.Name) })
		return sensors, nil
	}
	spans, err := s.Span(ctx) // readings that came here without their diary
	for _, span := range spans {
		sensors = append(sensors, dust.Sensor{Name: span.Sensor})
	}
	return sensors, err
}

// Tasks lists the tasks that share time with [from, to) by their start; zero
// times mean open. A running task has no end.
func (s *Store) Tasks(ctx context.Context, from, to time.Time) ([]dust.Task, error) {
	_, hi := bounds(from, to)
	points, err := s.current(ctx, taskMeasurement, earliest, hi) // a task may have begun long before
	if err != nil {
		return nil, s.explain(ctx, "list tasks", err)
	}
	var tasks []dust.Task
	for _, p := range points {
		task := dust.Task{
			ID: int64(p.number("id")), Name: p.text("name"), Material: p.text("material"),
			Person: decodeName(p.tag["person"]), Start: p.at,
		}
		if running, _ := p.field["running"].(bool); !running {
			task.Stop = time.UnixMilli(int64(p.number("stop_ms"))).UTC()
		}
		if task.Running() || from.IsZero() || task.Stop.After(from) {
			tasks = append(tasks, task)
		}
	}
	slices.SortFunc(tasks, func(a, b dust.Task) int { return cmp.Or(a.Start.Compare(b.Start), cmp.Compare(a.ID, b.ID)) })
	return tasks, nil
}

// SetupPeriods lists the stretches of time under one setup in order. Only the
// last has no end.
func (s *Store) SetupPeriods(ctx context.Context) ([]dust.SetupPeriod, error) {
	points, err := s.setupPoints(ctx)
	var periods []dust.SetupPeriod
	for _, p := range points {
		if last := len(periods) - 1; last >= 0 {
			periods[last].To = p.at
		}
		periods = append(periods, dust.SetupPeriod{Setup: p.text("setup"), From: p.at})
	}
	return periods, err
}

// Setups lists the setups that were in use, by name.
func (s *Store) Setups(ctx context.Context) ([]dust.Setup, error) {
	points, err := s.setupPoints(ctx)
	var setups []dust.Setup
	for _, p := range points {
		setups = append(setups, dust.Setup{Name: p.text("setup"), Note: p.text("note")})
	}
	slices.SortFunc(setups, func(a, b dust.Setup) int { return strings.Compare(a.Name, b.Name) })
	return slices.Compact(setups), err
}

func (s *Store) setupPoints(ctx context.Context) ([]point, error) {
	points, err := s.current(ctx, setupMeasurement, earliest, latest)
	slices.SortFunc(points, func(a, b point) int { return a.at.Compare(b.at) })
	return points, s.explain(ctx, "list setups", err)
}

// LineQuality and Events are not copied to a server: both are empty.
func (s *Store) LineQuality(context.Context, time.Time, time.Time) ([]dust.LineQuality, error) {
	return nil, nil
}

// Events: see LineQuality.
func (s *Store) Events(context.Context, time.Time, time.Time) ([]dust.Event, error) { return nil, nil }

// point is one point with all its fields.
type point struct {
	at    time.Time
	tag   map[string]string
	field map[string]any
}

func (p *point) number(field string) float64 {
	x, _ := p.field[field].(float64)
	return x
}

func (p *point) text(field string) string {
	text, _ := p.field[field].(string)
	return decodeName(text)
}

// current returns the points of the shop's newest whole generation.
func (s *Store) current(ctx context.Context, of string, from, to time.Time) ([]point, error) {
	heads, err := s.points(ctx, shopMeasurement, epoch, epoch.Add(time.Second))
	if err != nil || len(heads) == 0 {
		return nil, err
	}
	points, err := s.points(ctx, of, from, to)
	newest := heads[0].number(generationField)
	return slices.DeleteFunc(points, func(p point) bool { return p.number(generationField) < newest }), err
}

// points fetches the points of a small measurement.
func (s *Store) points(ctx context.Context, of string, from, to time.Time) ([]point, error) {
	if !from.Before(to) {
		return nil, nil
	}
	type key struct {
		at                   int64
		shop, sensor, person string
	}
	place := map[key]int{}
	var list []point
	err := s.each(ctx, s.sourceOf(of, nil, nil, from, to), func(row *query.FluxRecord) error {
		tag := func(name string) string {
			value, _ := row.ValueByKey(name).(string)
			return value
		}
		k := key{row.Time().UnixNano(), tag(shopTag), tag(sensorTag), tag("person")}
		i, known := place[k]
		if !known {
			i = len(list)
			place[k] = i
			list = append(list, point{at: row.Time().UTC(), field: map[string]any{},
				tag: map[string]string{shopTag: k.shop, sensorTag: k.sensor, "person": k.person}})
		}
		list[i].field[row.Field()] = row.Value()
		return nil
	})
	return list, err
}
