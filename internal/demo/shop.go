// Package demo is an invented woodshop: two working weeks in which the
// separator of its dust collection was changed, as the bytes that three sensors
// of three models would have sent. Nothing in it was measured anywhere. Its
// levels are of the order published for small shops, its people, place and
// machines do not exist.
//
// The same seed gives the same bytes.
package demo

import (
	"math/rand/v2"
	"time"

	"dustlog/internal/dust"
)

// Names in the invented shop.
const (
	ShopName   = "The Invented Woodshop"
	OldSetup   = "drop box"
	NewSetup   = "cyclone separator"
	Bench      = "bench"
	Outlet     = "outlet"
	Store      = "store room"
	days       = 10
	dayStart   = 8 * time.Hour
	dayLength  = 8 * time.Hour
	ShiftHours = "08:00-16:00"
)

// DefaultSeed is the seed of the weeks that the documentation shows.
const DefaultSeed = 4

// FirstMonday is the first working day.
var FirstMonday = time.Date(2026, time.March, 2, 0, 0, 0, 0, time.UTC)

// Shop is the invented shop's two weeks.
type Shop struct {
	Sensors []dust.Sensor
	Days    []Day
	seed    uint64
}

// Day is one working day.
type Day struct {
	Start time.Time
	Setup string
	Tasks []dust.Task

	index int
	shop  *Shop
}

// End is when the sensors are switched off.
func (d Day) End() time.Time { return d.Start.Add(dayLength) }

// New plans the two weeks. firstMonday's date is the first working day.
func New(seed uint64, firstMonday time.Time) *Shop {
	s := &Shop{
		seed: seed,
		Sensors: []dust.Sensor{
			{Name: Bench, Model: "sps30", Position: dust.BreathingZone},
			{Name: Outlet, Model: "sds011", Position: dust.Exhaust},
			{Name: Store, Model: "pms5003", Position: dust.Background},
		},
	}
	plan := s.random(1000, 0)
	for i := range days {
		date := firstMonday.AddDate(0, 0, i+i/5*2) // over the weekend
		day := Day{Start: date.Add(dayStart), Setup: OldSetup, index: i, shop: s}
		if i >= days/2 {
			day.Setup = NewSetup
		}
		day.Tasks = planDay(day.Start, plan)
		s.Days = append(s.Days, day)
	}
	return s
}

// random returns the generator of one stream of one day.
func (s *Shop) random(day, stream int) *rand.Rand {
	return rand.New(rand.NewPCG(s.seed, uint64(day)<<8|uint64(stream)))
}

// work is a kind of task: what it releases into the worker's air and the room.
type work struct {
	name, material string
	fine           float64 // µg/m³ below 2.5 µm at the bench, old setup
	coarse         float64 // µg/m³ from 2.5 to 10 µm
	extracted      bool    // the dust collection serves it
}

var (
	ripping  = work{"ripping", "oak", 150, 260, true}
	planing  = work{"planing", "oak", 90, 300, true}
	sanding  = work{"sanding", "oak", 260, 330, true}
	sweeping = work{"sweeping", "mixed", 170, 420, false}
)

var works = []work{ripping, planing, sanding, sweeping}

// planDay lays out a day's tasks: the same list every day, minutes varying.
func planDay(start time.Time, r *rand.Rand) []dust.Task {
	var tasks []dust.Task
	for _, slot := range []struct {
		at, minutes int
		w           work
	}{
		{10, 40, ripping}, {65, 30, planing}, {120, 45, sanding}, {185, 30, ripping},
		{290, 45, sanding}, {350, 30, planing}, {400, 30, sanding}, {452, 18, sweeping},
	} {
		from := start.Add(time.Duration(slot.at+r.IntN(6)) * time.Minute)
		to := from.Add(time.Duration(slot.minutes-r.IntN(8)) * time.Minute)
		tasks = append(tasks, dust.Task{Name: slot.w.name, Material: slot.w.material, Start: from, Stop: to})
	}
	return tasks
}

func workOf(name string) work {
	for _, w := range works {
		if w.name == name {
			return w
		}
	}
	return work{}
}
