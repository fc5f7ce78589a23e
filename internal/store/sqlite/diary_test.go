package sqlite_test

import (
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

func at(minutes int) time.Time { return start.Add(time.Duration(minutes) * time.Minute) }

func task(name, person string, from, to int) dust.Task {
	task := dust.Task{Name: name, Person: person, Material: "oak", Start: at(from)}
	if to > 0 {
		task.Stop = at(to)
	}
	return task
}

func TestTaskRuns(t *testing.T) {
	s := tempStore(t)
	started, err := s.StartTask(t.Context(), task("sanding", "", 10, 0))
	require.NoError(t, err)
	require.NotZero(t, started.ID)

	_, err = s.StartTask(t.Context(), task("sawing", "", 12, 0))
	require.ErrorIs(t, err, dust.ErrTaskOpen)
	require.ErrorContains(t, err, `"sanding" from 2025-03-10T08:10:00Z, still running`)

	_, err = s.StopTask(t.Context(), "", at(10))
	require.ErrorIs(t, err, dust.ErrTimeBackwards)
	stopped, err := s.StopTask(t.Context(), "", at(20))
	require.NoError(t, err)
	started.Stop = at(20)
	require.Equal(t, started, stopped)

	_, err = s.StopTask(t.Context(), "", at(30))
	require.ErrorIs(t, err, dust.ErrNoTaskOpen)
	list, err := s.Tasks(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, []dust.Task{stopped}, list)
}

func TestTasksOfTwoPersons(t *testing.T) {
	s := tempStore(t)
	_, err := s.StartTask(t.Context(), task("sanding", "A", 0, 0))
	require.NoError(t, err)
	_, err = s.StartTask(t.Context(), task("sawing", "B", 5, 0))
	require.NoError(t, err, "two persons may work at once")
	_, err = s.StartTask(t.Context(), task("turning", "", 5, 0))
	require.ErrorIs(t, err, dust.ErrTaskOverlap, "a task without a person may be anyone's")
	_, err = s.StopTask(t.Context(), "C", at(9))
	require.ErrorIs(t, err, dust.ErrNoTaskOpen)
	require.ErrorContains(t, err, `"sanding" of A`)
	b, err := s.StopTask(t.Context(), "B", at(10))
	require.NoError(t, err)
	require.Equal(t, "sawing", b.Name)
}

func TestAddTaskRefuses(t *testing.T) {
	s := tempStore(t)
	kept, err := s.AddTask(t.Context(), task("sanding", "A", 10, 20))
	require.NoError(t, err)
	for _, test := range []struct {
		name string
		task dust.Task
		want error
	}{
		{"inside", task("x", "A", 12, 13), dust.ErrTaskOverlap},
		{"around", task("x", "A", 5, 25), dust.ErrTaskOverlap},
		{"over the start", task("x", "A", 5, 11), dust.ErrTaskOverlap},
		{"over the end", task("x", "A", 19, 30), dust.ErrTaskOverlap},
		{"same", task("x", "A", 10, 20), dust.ErrTaskOverlap},
		{"turned round", task("x", "A", 40, 30), dust.ErrTimeBackwards},
		{"no length", task("x", "A", 30, 30), dust.ErrTimeBackwards},
	} {
		_, err := s.AddTask(t.Context(), test.task)
		require.ErrorIs(t, err, test.want, test.name)
		if test.want == dust.ErrTaskOverlap {
			require.ErrorContains(t, err, `"sanding" of A from 2025-03-10T08:10:00Z to 2025-03-10T08:20:00Z`)
		}
	}
	for _, bad := range []dust.Task{task("", "A", 30, 31), task("x", "A", 30, 0), {Name: "x", Stop: at(3)}} {
		_, err := s.AddTask(t.Context(), bad)
		require.Error(t, err)
	}
	list, err := s.Tasks(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, []dust.Task{kept}, list)

	for _, fits := range []dust.Task{task("before", "A", 5, 10), task("after", "A", 20, 25), task("beside", "B", 10, 20)} {
		_, err := s.AddTask(t.Context(), fits)
		require.NoError(t, err, fits.Name)
	}
	_, err = s.StartTask(t.Context(), task("before all", "A", 1, 0))
	require.ErrorIs(t, err, dust.ErrTaskOverlap, "a running task would run into the later ones")
}

func TestTasksInRange(t *testing.T) {
	s := tempStore(t)
	for _, one := range []dust.Task{task("a", "", 0, 10), task("b", "", 10, 20), task("c", "", 20, 30)} {
		_, err := s.AddTask(t.Context(), one)
		require.NoError(t, err)
	}
	_, err := s.StartTask(t.Context(), task("d", "", 40, 0))
	require.NoError(t, err)
	for _, test := range []struct {
		from, to time.Time
		want     string
	}{
		{time.Time{}, time.Time{}, "abcd"},
		{at(10), at(20), "b"},
		{at(9), at(21), "abc"},
		{at(35), at(40), ""},
		{at(50), time.Time{}, "d"},
		{time.Time{}, at(10), "a"},
	} {
		list, err := s.Tasks(t.Context(), test.from, test.to)
		require.NoError(t, err)
		var got string
		for _, one := range list {
			got += one.Name
		}
		require.Equal(t, test.want, got, "%s to %s", test.from, test.to)
	}
}

// period writes a setup period with minutes since start; -1 means no end.
type period struct {
	setup    string
	from, to int
}

func TestUseSetup(t *testing.T) {
	type use struct {
		setup string
		at    int
	}
	for _, test := range []struct {
		name string
		uses []use
		want []period
	}{
		{"none", nil, nil},
		{"one", []use{{"old", 0}}, []period{{"old", 0, -1}}},
		{"ends the running one", []use{{"old", 0}, {"new", 10}}, []period{{"old", 0, 10}, {"new", 10, -1}}},
		{"dated back into the running one", []use{{"old", 0}, {"new", 20}, {"newer", 30}, {"between", 25}},
			[]period{{"old", 0, 20}, {"new", 20, 25}, {"between", 25, 30}, {"newer", 30, -1}}},
		{"dated back into an earlier one", []use{{"old", 0}, {"new", 20}, {"between", 5}},
			[]period{{"old", 0, 5}, {"between", 5, 20}, {"new", 20, -1}}},
		{"dated before all", []use{{"old", 10}, {"first", 0}}, []period{{"first", 0, 10}, {"old", 10, -1}}},
		{"corrected", []use{{"old", 0}, {"wrong", 10}, {"right", 10}}, []period{{"old", 0, 10}, {"right", 10, -1}}},
		{"corrected to no change", []use{{"old", 0}, {"wrong", 10}, {"old", 10}}, []period{{"old", 0, -1}}},
		{"said twice", []use{{"old", 0}, {"old", 10}, {"new", 20}}, []period{{"old", 0, 20}, {"new", 20, -1}}},
		{"said twice, then between", []use{{"old", 0}, {"old", 10}, {"new", 5}}, []period{{"old", 0, 5}, {"new", 5, 10}, {"old", 10, -1}}},
		{"there and back", []use{{"old", 0}, {"new", 10}, {"old", 20}}, []period{{"old", 0, 10}, {"new", 10, 20}, {"old", 20, -1}}},
	} {
		t.Run(test.name, func(t *testing.T) {
			s := tempStore(t)
			for _, u := range test.uses {
				require.NoError(t, s.UseSetup(t.Context(), u.setup, "", at(u.at)))
			}
			list, err := s.SetupPeriods(t.Context())
			require.NoError(t, err)
			var got []period
			for _, p := range list {
				one := period{p.Setup, int(p.From.Sub(start).Minutes()), -1}
				if !p.To.IsZero() {
					one.to = int(p.To.Sub(start).Minutes())
				}
				got = append(got, one)
			}
			require.Equal(t, test.want, got)
		})
	}
}

func TestSetups(t *testing.T) {
	s := tempStore(t)
	require.NoError(t, s.PutSetup(t.Context(), dust.Setup{Name: "old bag", Note: "felt"}))
	require.NoError(t, s.UseSetup(t.Context(), "cartridge", "new filter", at(1)))
	require.NoError(t, s.UseSetup(t.Context(), "old bag", "", at(2)))
	require.NoError(t, s.UseSetup(t.Context(), "cartridge", "cleaned", at(3)))
	got, err := s.Setups(t.Context())
	require.NoError(t, err)
	require.Equal(t, []dust.Setup{{Name: "cartridge", Note: "cleaned"}, {Name: "old bag", Note: "felt"}}, got)
	require.Error(t, s.UseSetup(t.Context(), "", "", at(1)))
	require.Error(t, s.UseSetup(t.Context(), "x", "", time.Time{}))
	require.Error(t, s.PutSetup(t.Context(), dust.Setup{}))
}

func TestSensors(t *testing.T) {
	now := func() time.Time { return at(7) }
	s, err := open(t, filepath.Join(t.TempDir(), "dust.db"), sqlite.Options{Create: true, Now: now})
	require.NoError(t, err)
	require.NoError(t, s.PutSensor(t.Context(), dust.Sensor{Name: "saw", Model: "m", Position: dust.Room}))
	_, err = s.Append(t.Context(), []dust.Reading{{Time: start, Sensor: "bench"}, {Time: start, Sensor: "saw"}})
	require.NoError(t, err)
	require.NoError(t, s.PutSensor(t.Context(), dust.Sensor{Name: "bench", Position: dust.BreathingZone}))
	require.NoError(t, s.PutSensor(t.Context(), dust.Sensor{Name: "saw"}))
	want := []dust.Sensor{{Name: "bench", Position: dust.BreathingZone}, {Name: "saw", Model: "m", Position: dust.Room}}
	got, err := s.Sensors(t.Context())
	require.NoError(t, err)
	require.Equal(t, want, got)
	events, err := s.Events(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Empty(t, events, "telling what was not known changes nothing")

	require.NoError(t, s.PutSensor(t.Context(), dust.Sensor{Name: "saw", Position: dust.Exhaust}))
	events, err = s.Events(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, []dust.Event{{Time: at(7), Sensor: "saw", Kind: "sensor_changed", Text: "was m, room; now m, exhaust"}}, events)
	require.Error(t, s.PutSensor(t.Context(), dust.Sensor{}))
	require.ErrorContains(t, s.PutSensor(t.Context(), dust.Sensor{Name: "saw", Position: "ceiling"}), "unknown position")
}

func TestEventsAndLineQuality(t *testing.T) {
	s := tempStore(t)
	events := []dust.Event{
		{Time: at(1), Sensor: "bench", Kind: "lost", Text: "port went away"},
		{Time: at(2), Kind: "note", Text: "it's\n\"quoted\""},
	}
	for _, i := range []int{1, 0} {
		require.NoError(t, s.AddEvent(t.Context(), events[i]))
	}
	require.Error(t, s.AddEvent(t.Context(), dust.Event{Kind: "no time"}))
	got, err := s.Events(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, events, got)
	got, err = s.Events(t.Context(), at(1), at(2))
	require.NoError(t, err)
	require.Equal(t, events[:1], got)

	quality := []dust.LineQuality{
		{Sensor: "bench", From: at(0), To: at(1), Frames: 60, ChecksumErrors: 1, OtherErrors: 2, BytesSkipped: 3},
		{Sensor: "bench", From: at(1), To: at(1), Frames: 1},
		{Sensor: "bench", From: at(1), To: at(2), Frames: 60},
	}
	for _, q := range quality {
		require.NoError(t, s.AddLineQuality(t.Context(), q))
	}
	require.Error(t, s.AddLineQuality(t.Context(), dust.LineQuality{Sensor: "bench"}))
	list, err := s.LineQuality(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, quality, list)
	list, err = s.LineQuality(t.Context(), at(1), time.Time{})
	require.NoError(t, err)
	require.Equal(t, quality[1:], list)
}
