package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
)

// Model is how levels spread, in ln units.
type Model struct {
	Day, Session, Run float64
	// Tails4: effects from Student's t with 4 degrees of freedom, of the same
	// standard deviation, and not from the normal distribution.
	Tails4 bool
	// NewNoisier multiplies the spread under the new setup; 0: 1.
	NewNoisier float64
	// DriftPerDay is added to ln level each day, whatever the setup.
	DriftPerDay float64
}

// Usual is the model of the package comment.
var Usual = Model{Day: 0.30, Session: 0.20, Run: 0.45}

// Design is who measured what when.
type Design struct {
	Name string
	N    int // sessions per setup; within a day: days
	// Order of the setups.
	Order Order
}

// Order is how the setups take turns.
type Order int

// The orders.
const (
	Blocks    Order = iota // one block before, one after; one session a day
	Alternate              // one session a day, setups in turn
	WithinDay              // both setups on each day, taking turns in coming first
)

// names of the setups.
const (
	before = "before"
	after  = "after"
)

// A run is five minutes long with a reading a minute: what happens inside a run
// plays no part here.
const (
	runMinutes = 5
	runEvery   = 20 * time.Minute
	fewestRuns = 2
	mostRuns   = 5
)

var (
	tasks     = []string{"sanding", "sawing", "sweeping"}
	taskLevel = []float64{math.Log(300), math.Log(150), math.Log(90)} // µg/m³
	start     = time.Date(2024, time.May, 6, 8, 0, 0, 0, time.UTC)
	bench     = dust.Sensor{Name: "bench", Position: dust.BreathingZone}
)

// effect draws one effect of the given standard deviation.
func (m Model) effect(rng *rand.Rand, sd float64, isNew bool) float64 {
	if isNew && m.NewNoisier > 0 {
		sd *= m.NewNoisier
	}
	if m.Tails4 {
		t := distuv.StudentsT{Sigma: 1, Nu: 4, Src: rng}
		return sd * t.Rand() / math.Sqrt2 // the variance of t4 is 2
	}
	return sd * rng.NormFloat64()
}

// Study makes one study with a true ratio after/before.
func (m Model) Study(rng *rand.Rand, d Design, ratio float64) compare.Input {
	series := dust.NewSeries(bench, dust.PM25)
	series.Hold = time.Minute
	s := study{model: m, rng: rng, in: compare.Input{Before: before, After: after, Metric: dust.PM25, Series: []*dust.Series{series}}, ratio: ratio}
	for day := range d.days() {
		s.dayEffect = m.effect(rng, m.Day, false) + m.DriftPerDay*float64(day)
		for k, isNew := range d.sessions(day) {
			s.session(start.AddDate(0, 0, day).Add(time.Duration(k)*4*time.Hour), isNew)
		}
	}
	return s.in
}

func (d Design) days() int {
	if d.Order == WithinDay {
		return d.N
	}
	return 2 * d.N
}

// sessions lists whether the sessions of a day are under the new setup.
func (d Design) sessions(day int) []bool {
	switch d.Order {
	case WithinDay:
		return []bool{day%2 == 1, day%2 == 0}
	case Alternate:
		return []bool{day%2 == 1}
	}
	return []bool{day >= d.N}
}

type study struct {
	model     Model
	rng       *rand.Rand
	in        compare.Input
	ratio     float64
	dayEffect float64
}

func (s *study) session(at time.Time, isNew bool) {
	setup, change := before, 0.0
	if isNew {
		setup, change = after, math.Log(s.ratio)
	}
	s.in.Setups = append(s.in.Setups, dust.SetupPeriod{Setup: setup, From: at})
	level := s.dayEffect + change + s.model.effect(s.rng, s.model.Session, isNew)
	for range fewestRuns + s.rng.IntN(mostRuns-fewestRuns+1) {
		task := s.rng.IntN(len(tasks))
		s.run(at, tasks[task], math.Exp(taskLevel[task]+level+s.model.effect(s.rng, s.model.Run, isNew)))
		at = at.Add(runEvery)
	}
}

func (s *study) run(at time.Time, task string, level float64) {
	s.in.Tasks = append(s.in.Tasks, dust.Task{ID: int64(len(s.in.Tasks) + 1), Name: task, Start: at, Stop: at.Add(runMinutes * time.Minute)})
	for range runMinutes {
		if err := s.in.Series[0].Append(at, level, 0); err != nil {
			panic(fmt.Sprint("simulate: ", err)) // times rise by construction
		}
		at = at.Add(time.Minute)
	}
}
