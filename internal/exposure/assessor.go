package exposure

import (
	"math"
	"runtime"
	"slices"
	"sync"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Assessor is Assess for readings that come day by day: it holds a day or two of
// each sensor, however long the time asked about. Add a track for each sensor,
// give every track its readings up to a moment, call Advance, and so on; Result
// ends it. What comes out is, to the last bit, what Assess makes of the whole.
type Assessor struct {
	in        Input
	shifts    schedule
	tasks     []dust.Task  // those that may be; running ones have no end yet
	faults    []words.Text // why others are left out
	tracks    []*Track
	closed    []dust.Shift
	stretches []*stretch
}

// NewAssessor assesses in.Shifts. in.Series is not used.
func NewAssessor(in Input) *Assessor {
	return newAssessor(in, &listed{pending: slices.Clone(in.Shifts)})
}

// NewAssessorOfHours assesses the shifts of the declared hours that have any
// reading. in.Shifts and in.Series are not used.
func NewAssessorOfHours(in Input, hours dust.ShiftHours) *Assessor {
	return newAssessor(in, &declared{hours: hours})
}

// NewAssessorOfDays assesses the shifts that ShiftsFromReadings would find. A nil
// zone means UTC. in.Shifts and in.Series are not used.
func NewAssessorOfDays(in Input, zone *time.Location) *Assessor {
	if zone == nil {
		zone = time.UTC
	}
	return newAssessor(in, &byDay{zone: zone})
}

func newAssessor(in Input, shifts schedule) *Assessor {
	a := &Assessor{in: in, shifts: shifts}
	a.tasks, a.faults = checkTasks(in.Tasks)
	return a
}

// Track adds a sensor. Results list sensors in the order of their tracks.
func (a *Assessor) Track(sensor dust.Sensor, channel dust.Channel) *Track {
	t := &Track{sensor: sensor, channel: channel, runs: make([]sums, len(a.tasks))}
	a.tracks = append(a.tracks, t)
	return t
}

// Advance works out what ends before the horizon. All tracks must have got all
// their readings before it, and may have got later ones. It uses all cores;
// each number is the work of one, so it does not depend on how many there are.
func (a *Assessor) Advance(horizon time.Time) { a.advance(horizon.UnixMilli(), nil) }

// AdvanceThen is Advance that hands each track to then as soon as it is done with
// it, several at a time: a track may get more readings while others are still
// worked out.
func (a *Assessor) AdvanceThen(horizon time.Time, then func(*Track)) {
	a.advance(horizon.UnixMilli(), then)
}

func (a *Assessor) advance(horizon int64, then func(*Track)) {
	shifts := a.shifts.due(a.tracks, horizon)
	a.closed = append(a.closed, shifts...)
	keepFrom := a.shifts.keepFrom(horizon)
	asked := question{limit: a.in.Limit.MgM3, peaks: a.in.peakFloor()}
	workers := min(runtime.GOMAXPROCS(0), len(a.tracks))
	for len(a.stretches) < workers {
		a.stretches = append(a.stretches, &stretch{})
	}
	next := make(chan *Track, len(a.tracks))
	for _, t := range a.tracks {
		next <- t
	}
	close(next)
	var group sync.WaitGroup
	for _, s := range a.stretches[:workers] {
		group.Go(func() {
			for t := range next {
				t.assess(shifts, a.tasks, asked, s, horizon, keepFrom)
				if then != nil {
					then(t)
				}
			}
		})
	}
	group.Wait()
}

// end is later than any reading and leaves room for a hold time.
const end = math.MaxInt64 / 4

// Result assesses the rest and joins everything. No more readings may come. The
// error is as Assess's.
func (a *Assessor) Result() (Result, error) {
	a.advance(end, nil)
	return a.result()
}
