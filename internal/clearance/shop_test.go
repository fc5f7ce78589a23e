package clearance

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

var monday = time.Date(2026, time.March, 2, 8, 0, 0, 0, time.UTC)

// at is a moment of the simulated day.
func at(minutes float64) time.Time {
	return monday.Add(time.Duration(minutes * float64(time.Minute)))
}

func task(name string, from, to float64) dust.Task {
	return dust.Task{Name: name, Start: at(from), Stop: at(to)}
}

// shop is one mixed room, second by second: dust is given off in some stretches.
type shop struct {
	volumeM3, perHour, background float64
	sources                       []source
	hours                         float64
	lost                          [2]float64 // minutes without readings
	top                           float64    // of the sensor's range; 0: none
	seed                          uint64
}

type source struct{ from, to, mgPerMin float64 }

func (s shop) trace(t *testing.T, sensor dust.Sensor, c dust.Channel) *Trace {
	t.Helper()
	r := rand.New(rand.NewPCG(s.seed, 1))
	series := dust.NewSeries(sensor, c)
	excess := 0.0
	for i := range int(s.hours * 3600) {
		minute := float64(i) / 60
		excess *= math.Exp(-s.perHour / 3600)
		for _, g := range s.sources {
			if minute >= g.from && minute < g.to {
				excess += g.mgPerMin * 1000 / 60 / s.volumeM3
			}
		}
		if minute >= s.lost[0] && minute < s.lost[1] {
			continue
		}
		level := (s.background + excess) * (1 + 0.05*r.NormFloat64())
		var flags dust.Flags
		if s.top > 0 && level >= s.top {
			level, flags = s.top, dust.SaturatedIn(c)
		}
		require.NoError(t, series.Append(monday.Add(time.Duration(i)*time.Second), max(level, 0), flags))
	}
	trace := NewTrace(sensor, c)
	trace.Add(series)
	return trace
}

var room = dust.Sensor{Name: "wall", Position: dust.Room}

// threeTasks is a day with three pieces of work and an hour's rest after each.
func threeTasks() shop {
	return shop{volumeM3: 120, perHour: 5, background: 8, hours: 6, seed: 11,
		sources: []source{{30, 60, 8}, {120, 160, 5}, {240, 270, 10}}}
}

func diary() []dust.Task {
	return []dust.Task{task("sanding", 30, 60), task("ripping", 120, 160), task("sanding", 240, 270)}
}

func TestAShopsDay(t *testing.T) {
	s := threeTasks()
	r, err := Analyse(Input{
		Trace: s.trace(t, room, dust.PM25), Tasks: diary(), VolumeM3: s.volumeM3, Level: 50,
		Setups: []dust.SetupPeriod{{Setup: "box", From: at(0)}},
	})
	require.NoError(t, err)
	require.Len(t, r.Decays, 3)
	for _, d := range r.Decays {
		require.Equal(t, Measured, d.State, d.Why)
		require.True(t, d.Pooled)
		require.Equal(t, "box", d.Setup)
		require.Less(t, *d.Low, 5.0)
		require.Greater(t, *d.High, 5.0)
		require.InEpsilon(t, 60*math.Ln2/5, *d.HalfLifeMinutes, 0.05)
		truth := 60 * math.Log((*d.C0-8)/(50-8)) / 5
		require.InDelta(t, truth, *d.MinutesToLevel, 2)
	}
	require.Equal(t, "the next task", r.Decays[0].EndedBy.String())
	require.Equal(t, at(61), r.Decays[0].From, "1 min after the source is off")
	require.Len(t, r.Setups, 1)
	box := r.Setups[0]
	require.Equal(t, 3, box.Runs)
	require.InEpsilon(t, 5, *box.PerHour, 0.03)
	require.Less(t, *box.NextLow, *box.PerHour)
	require.InEpsilon(t, 600, *box.CleanAirM3H, 0.03) // 120 m³ · 5/h
	require.InEpsilon(t, 600/1.699, *box.CleanAirCFM, 0.03)
	require.NotNil(t, box.Wait.Upper)
	require.Greater(t, *box.Wait.Upper, *box.Wait.Estimate)
	for i, want := range []float64{240, 200, 300} { // mg given off
		require.InEpsilon(t, want, *r.Emissions[i].MassMg, 0.06, r.Emissions[i].Task)
	}
	require.Empty(t, r.Warnings)
}

func TestDecaysThatCannotBeTold(t *testing.T) {
	for name, test := range map[string]struct {
		change func(*shop)
		tasks  []dust.Task
		why    string
	}{
		"no dust": {func(s *shop) { s.sources = nil }, []dust.Task{task("assembly", 30, 60)}, ""},
		"too short": {func(*shop) {},
			[]dust.Task{task("sanding", 30, 60), task("assembly", 63, 110), task("assembly", 110, 350)}, "at least 7 are needed"},
		"dust went on": {func(s *shop) { s.sources = []source{{30, 60, 3}, {60, 80, 12}} }, []dust.Task{task("sanding", 30, 60)}, "went on rising"},
		"no readings":  {func(s *shop) { s.lost = [2]float64{59, 130} }, []dust.Task{task("sanding", 30, 60), task("ripping", 120, 160)}, "no reading after"},
	} {
		t.Run(name, func(t *testing.T) {
			s := threeTasks()
			test.change(&s)
			r, err := Analyse(Input{Trace: s.trace(t, room, dust.PM25), Tasks: test.tasks})
			require.NoError(t, err)
			require.NotEmpty(t, r.Decays)
			d := r.Decays[0]
			require.Equal(t, CannotTell, d.State)
			require.Contains(t, d.Why.String(), test.why)
			require.NotEmpty(t, d.Why)
			require.Nil(t, d.PerHour)
			require.False(t, d.Pooled)
		})
	}
}

func TestDustThatComesBackEndsTheRecord(t *testing.T) {
	s := threeTasks()
	s.sources = []source{{30, 60, 8}, {100, 104, 8}} // somebody sweeps at 100, and the diary does not know
	r, err := Analyse(Input{Trace: s.trace(t, room, dust.PM25), Tasks: diary()[:1]})
	require.NoError(t, err)
	require.Len(t, r.Decays, 2)
	first, second := r.Decays[0], r.Decays[1]
	require.Equal(t, "dust came back", first.EndedBy.String())
	require.False(t, first.To.After(at(101)))
	require.InEpsilon(t, 5, *first.PerHour, 0.06)
	require.Equal(t, "sanding", first.After)
	require.True(t, first.Pooled)
	require.Empty(t, second.After, "the second drop has no diary")
	require.False(t, second.Pooled)
	require.Equal(t, 1, r.Setups[0].Runs)
	require.Contains(t, r.Setups[0].Why.String(), "one decay")
	require.Nil(t, r.Setups[0].Low)
}

func TestAShortRecordTakesTheBackgroundFromElsewhere(t *testing.T) {
	s := threeTasks()
	s.perHour = 2
	s.sources = []source{{90, 120, 8}}
	tasks := []dust.Task{task("sanding", 90, 120), task("assembly", 150, 350)} // 30 min: 1/λ
	in := Input{Trace: s.trace(t, room, dust.PM25), Tasks: tasks}
	r, err := Analyse(in)
	require.NoError(t, err)
	d := r.Decays[0]
	require.Equal(t, Measured, d.State, d.Why)
	require.Equal(t, "day's lowest 10 min of the same sensor", d.BackgroundFrom.String())
	require.InDelta(t, 8, *d.Background, 0.3)
	require.Less(t, *d.Low, 2.0)
	require.Greater(t, *d.High, 2.0)

	outdoor := shop{volumeM3: 1e9, perHour: 1, background: 8, hours: 6, seed: 12}
	in.Background = outdoor.trace(t, dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
	r, err = Analyse(in)
	require.NoError(t, err)
	require.Contains(t, r.Decays[0].BackgroundFrom.String(), `background of sensor "yard"`)
	require.Greater(t, *r.Decays[0].High-*r.Decays[0].Low, *d.High-*d.Low, "another sensor is less sure")
	require.Equal(t, "yard", r.BackgroundSensor)
}

func TestReadingsAtTheTopAreNotFitted(t *testing.T) {
	s := threeTasks()
	s.top = 600
	s.sources = []source{{30, 60, 40}}
	r, err := Analyse(Input{Trace: s.trace(t, room, dust.PM25), Tasks: diary()[:1], VolumeM3: 120})
	require.NoError(t, err)
	d := r.Decays[0]
	require.Equal(t, Measured, d.State, d.Why)
	require.Less(t, *d.C0, 600.0)
	require.InEpsilon(t, 5, *d.PerHour, 0.06)
	require.Contains(t, r.Emissions[0].Why.String(), "at least")
}

func TestSetupsAndTheAirCleaner(t *testing.T) {
	s := threeTasks()
	slow := s
	slow.perHour, slow.seed = 1.5, 13
	on, off := s.trace(t, room, dust.PM25), slow.trace(t, room, dust.PM25)
	const day = 24 * time.Hour
	for _, m := range off.means {
		m.ms += day.Milliseconds()
		on.means = append(on.means, m)
	}
	tasks := diary()
	for _, x := range diary() {
		x.Start, x.Stop = x.Start.Add(day), x.Stop.Add(day)
		tasks = append(tasks, x)
	}
	in := Input{
		Trace: on, Tasks: tasks, VolumeM3: 120, On: "cleaner on", Off: "cleaner off",
		Setups: []dust.SetupPeriod{{Setup: "cleaner on", From: at(0), To: at(600)}, {Setup: "cleaner off", From: at(600)}},
	}
	r, err := Analyse(in)
	require.NoError(t, err)
	require.Len(t, r.Setups, 2)
	c := r.Cleaner
	require.Equal(t, 3, c.RunsOn)
	require.Equal(t, 3, c.RunsOff)
	require.InEpsilon(t, 420, *c.CADRM3H, 0.06) // 120 m³ · (5 − 1.5)/h
	require.Less(t, *c.LowM3H, 420.0)
	require.Greater(t, *c.HighM3H, 420.0)

	in.VolumeM3 = 0
	r, err = Analyse(in)
	require.NoError(t, err)
	require.Nil(t, r.Cleaner.CADRM3H)
	require.Contains(t, r.Cleaner.Why.String(), "volume")
	in.Off = ""
	_, err = Analyse(in)
	require.ErrorIs(t, err, ErrBadInput)
	in.Off = "flarp"
	_, err = Analyse(in)
	require.ErrorIs(t, err, dust.ErrUnknownSetup)
}

func TestNothingIsPooledWithoutADiary(t *testing.T) {
	r, err := Analyse(Input{Trace: threeTasks().trace(t, room, dust.PM25)})
	require.NoError(t, err)
	require.Len(t, r.Decays, 3, "the drops are seen")
	for _, d := range r.Decays {
		require.False(t, d.Pooled)
	}
	require.Zero(t, r.Setups[0].Runs)
	require.Contains(t, r.Warnings[0].String(), "no task")
}

func TestATaskThatIsStillRunningGivesNoDecay(t *testing.T) {
	r, err := Analyse(Input{Trace: threeTasks().trace(t, room, dust.PM25), Tasks: []dust.Task{{Name: "sanding", Start: at(20)}}})
	require.NoError(t, err)
	require.Empty(t, r.Decays)
}

func TestASetupChangeEndsARecord(t *testing.T) {
	r, err := Analyse(Input{
		Trace: threeTasks().trace(t, room, dust.PM25), Tasks: diary()[:1],
		Setups: []dust.SetupPeriod{{Setup: "a", From: at(0), To: at(90)}, {Setup: "b", From: at(90)}},
	})
	require.NoError(t, err)
	require.Equal(t, "a change of the setup", r.Decays[0].EndedBy.String())
	require.False(t, r.Decays[0].To.After(at(90)))
	require.Equal(t, "a", r.Decays[0].Setup)
}

func TestMeansOfATrace(t *testing.T) {
	series := dust.NewSeries(room, dust.PM25)
	add := func(second int, value float64, flags dust.Flags) {
		require.NoError(t, series.Append(monday.Add(time.Duration(second)*time.Second), value, flags))
	}
	for i := range 100 {
		switch {
		case i >= 20 && i < 26: // 6 s lost, of which the reading before speaks for 4
		case i >= 40 && i < 60:
			add(i, 5, dust.WarmUp)
		default:
			add(i, float64(i/20), 0)
		}
	}
	trace := NewTrace(room, dust.PM25)
	trace.Add(series)
	var got []float64
	for _, m := range trace.means {
		got = append(got, m.c)
	}
	// 0–20 s: zeros; 20–40 s: 4 s of zero held, 2 s gap, 14 s of one; 40–60 s:
	// unusable; then 3 and 4.
	require.InDeltaSlice(t, []float64{0, 14.0 / 18, 3, 4}, got, 1e-12)
	require.Equal(t, monday.Add(10*time.Second), trace.means[0].time())
	require.Len(t, trace.between(at(0), at(1)), 2)
	require.Len(t, trace.between(at(0.1), at(1.2)), 1, "only whole means")

	minutes := dust.NewSeries(room, dust.PM25)
	for i := range 60 {
		require.NoError(t, minutes.Append(at(float64(i)), float64(i), 0))
	}
	minutes.FitHold()
	table := NewTrace(room, dust.PM25)
	table.Add(minutes)
	require.Equal(t, 60, table.Len(), "a table of minutes does not count threefold")
}

func TestBadInput(t *testing.T) {
	_, err := Analyse(Input{Trace: NewTrace(room, dust.PM25)})
	require.ErrorIs(t, err, dust.ErrNoReadings)
	trace := threeTasks().trace(t, room, dust.PM25)
	for _, in := range []Input{
		{Trace: trace, VolumeM3: -1}, {Trace: trace, Level: math.NaN()}, {Trace: trace, Longest: -time.Hour},
	} {
		_, err := Analyse(in)
		require.ErrorIs(t, err, ErrBadInput)
	}
	humid := *trace
	humid.Channel = dust.Humidity
	_, err = Analyse(Input{Trace: &humid})
	require.ErrorContains(t, err, "relative humidity")
	r, err := Analyse(Input{Trace: trace, Tasks: []dust.Task{{Name: "backwards", Start: at(50), Stop: at(40)}}})
	require.NoError(t, err)
	require.Contains(t, r.Warnings[0].String(), "left out")
}

// A background that wanders bends the fall; its own sensor knows the course.
func TestTheCourseOfTheBackgroundIsTakenOff(t *testing.T) {
	s := threeTasks()
	inside, outside := s.trace(t, room, dust.PM25), shop{volumeM3: 1e9, perHour: 1, background: 20, hours: 6, seed: 12}.trace(t, dust.Sensor{Name: "yard", Position: dust.Background}, dust.PM25)
	for i := range outside.means {
		wander := 8 * math.Sin(float64(i)/40)
		outside.means[i].c += wander
		inside.means[i].c += 12 + wander
	}
	in := Input{Trace: inside, Background: outside, Tasks: diary()}
	with, err := Analyse(in)
	require.NoError(t, err)
	in.Background = nil
	without, err := Analyse(in)
	require.NoError(t, err)
	for i, d := range with.Decays {
		require.Equal(t, Measured, d.State, d.Why)
		require.Contains(t, d.BackgroundFrom.String(), "taken off")
		require.InEpsilon(t, 5, *d.PerHour, 0.05)
		require.Less(t, *d.Low, 5.0)
		require.Greater(t, *d.High, 5.0)
		if other := without.Decays[i]; other.State == Measured {
			require.Greater(t, *other.High-*other.Low, *d.High-*d.Low)
		}
	}
	require.InEpsilon(t, 5, *with.Setups[0].PerHour, 0.03)
}

func TestBackgroundsFromElsewhereAreNotPooledWhereNoneIsNeeded(t *testing.T) {
	decays := make([]Decay, 4)
	for i := range decays {
		decays[i] = Decay{Setup: "box", State: Measured, Pooled: true, fit: Fit{PerHour: 5, Fixed: i == 0}}
	}
	choose(decays)
	require.False(t, decays[0].Pooled)
	require.True(t, decays[1].Pooled)
	few := []Decay{{Setup: "box", Pooled: true, fit: Fit{PerHour: 5, Fixed: true}}}
	choose(few)
	require.True(t, few[0].Pooled)
}
