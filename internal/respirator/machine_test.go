package respirator

import (
	"errors"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/clearance"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

// shop drives a machine second by second.
type shop struct {
	t       *testing.T
	m       *Machine
	elapsed time.Duration
	ahead   time.Duration // wall clock against elapsed time
	tasks   []dust.Task
	setup   string
	level   float64 // µg/m³
	flags   dust.Flags
	mute    bool // no readings
	noDiary error
	last    Status
	told    []Status // changes of state or cause
}

var bench = dust.Sensor{Name: "bench", Model: "sps30", Position: dust.BreathingZone}

// knownRoom clears at 6 1/h, surely at 5 or more; the level without work is 10, at
// most 12 µg/m³: back at 20.
var knownRoom = Clearing{Sensor: "bench", Setup: "hood", Runs: 5,
	Rate: clearance.Rate{PerHour: 6, LowPerHour: 5, Background: 10, BackgroundHigh: 12, Hours: 1}}

func f64(x float64) *float64 { return &x }

// settled is a task whose past runs do not show that it is needed: highest run
// 0.1 mg/m³, with the most of the factor 0.3 times the limit, upper level 0.6.
var settled = exposure.MaskResult{Task: "assembly", Material: "oak", Setup: "hood", Runs: 5, Days: 5, HighestMeanMgM3: f64(0.1),
	HazardRatio: f64(0.25), HazardRatioAtMost: f64(0.3), State: exposure.NotShownNeeded, Why: words.Literal("from 5 days"),
	Limits: []exposure.MaskLimit{{Governs: true, HazardRatioToCover: f64(0.6), State: exposure.NotShownNeeded}}}

func knownFacts() Facts {
	return Facts{Masks: []exposure.MaskResult{settled}, Clearing: []Clearing{knownRoom}, LimitUgM3: 1000}
}

func newShop(t *testing.T, sensors ...dust.Sensor) *shop {
	if sensors == nil {
		sensors = []dust.Sensor{bench}
	}
	s := &shop{t: t, setup: "hood", level: 10}
	s.m = NewMachine(Rules{}, Watch(sensors, false), s.at())
	s.m.Learn(knownFacts(), nil)
	return s
}

func (s *shop) at() Instant {
	return Instant{Wall: monday.Add(s.elapsed + s.ahead), Elapsed: s.elapsed}
}

// run lets seconds pass.
func (s *shop) run(d time.Duration) Status {
	for range int(d / time.Second) {
		s.elapsed += time.Second
		if !s.mute {
			var v dust.Values
			v.Set(dust.PM25, s.level)
			s.m.Reading(s.at(), dust.Reading{Time: s.at().Wall, Sensor: "bench", Values: v, Flags: s.flags})
		}
		s.m.Diary(s.at(), s.tasks, s.setup, s.noDiary)
		now := s.m.Step(s.at())
		if now.State != s.last.State || now.Cause != s.last.Cause {
			s.told = append(s.told, now)
		}
		require.NotEmpty(s.t, now.Why)
		s.last = now
	}
	return s.last
}

func (s *shop) start(name, material string) {
	s.tasks = append(s.tasks, dust.Task{Name: name, Material: material, Start: s.at().Wall})
}

func (s *shop) stop() { s.tasks[len(s.tasks)-1].Stop = s.at().Wall }

func (s *shop) want(state exposure.MaskState, cause Cause) {
	s.t.Helper()
	require.Equal(s.t, state, s.last.State, s.last.Why)
	require.Equal(s.t, cause, s.last.Cause, s.last.Why)
}

func TestAnIdleShop(t *testing.T) {
	s := newShop(t)
	s.run(2*time.Minute + 59*time.Second)
	s.want(exposure.KeepOn, Clear)
	s.run(3 * time.Second)
	s.want(exposure.NotShownNeeded, Idle)
	require.Contains(t, s.last.Why.String(), "coarse dust")
	require.InDelta(t, 10, *s.last.LevelUgM3, 1e-9)
	require.InDelta(t, 20, *s.last.BackUgM3, 1e-9)
}

// By hand: from 400 to 20 µg/m³ over a background of at most 12 at 5 1/h or more
// takes at most 60·ln(388/8)/5 = 46.6 min. It is told two minutes after the end, when
// the air, clearing at 6 1/h over 10, is a little better: the mean of those two minutes
// is 10 + 390·(1 − e^(−0.2))/0.2 = 363.5, from where it takes 60·ln(351.5/8)/5 = 45.4,
// and the minute of Settle.
func TestCountdownAfterWork(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.start("sanding", "oak")
	s.level = 400
	s.run(5 * time.Minute)
	s.want(exposure.KeepOn, AtWork)
	require.Contains(t, s.last.Why.String(), "by default")
	require.Equal(t, "sanding (oak)", s.last.Task)
	s.stop()
	ended := s.elapsed
	for range 121 {
		s.level = 10 + 390*math.Exp(-6*(s.elapsed-ended).Hours())
		s.run(time.Second)
	}
	s.want(exposure.KeepOn, Clear)
	for s.elapsed < ended+45*time.Minute {
		s.level = 10 + 390*math.Exp(-6*(s.elapsed-ended).Hours())
		s.run(10 * time.Second)
		s.want(exposure.KeepOn, Clear)
		after := s.last.KeepOnUntil.Sub(monday.Add(ended)).Minutes()
		require.InDelta(t, 2+60*math.Log(351.5/8)/5+1, after, 0.2)
		left, ok := s.last.Minutes()
		require.True(t, ok)
		require.Equal(t, int(math.Ceil(after-(s.elapsed-ended).Minutes())), left)
	}
	require.Less(t, s.level, 20.0, "the air was back before the slowest rate would have it")
	s.run(5 * time.Minute)
	s.want(exposure.NotShownNeeded, Idle)
}

func TestDustThatComesBackStartsItAfresh(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.want(exposure.NotShownNeeded, Idle)
	s.level = 300
	s.run(2 * time.Second)
	s.want(exposure.KeepOn, Dust)
	require.Contains(t, s.last.Why.String(), "no task is in the diary")
	first := *s.last.KeepOnUntil
	s.run(30 * time.Second)
	require.True(t, s.last.KeepOnUntil.After(first), "as long as it stays dusty the end moves on")
	s.level = 10
	s.run(10 * time.Minute)
	s.want(exposure.KeepOn, Dust)
	require.Contains(t, s.last.Why.String(), "still leaving")
	s.run(40 * time.Minute)
	s.want(exposure.NotShownNeeded, Idle)
}

func TestATaskEnteredAfterwardsStartsTheCountdown(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.level = 19 // below what counts as back, so only the diary can tell
	s.run(3 * time.Minute)
	s.want(exposure.NotShownNeeded, Idle)
	s.tasks = append(s.tasks, dust.Task{Name: "sweeping", Start: s.at().Wall.Add(-time.Minute), Stop: s.at().Wall.Add(-time.Second)})
	s.m.facts.Clearing[0].Rate.Background, s.m.facts.Clearing[0].Rate.BackgroundHigh = 5, 6 // back at 10
	s.run(2 * time.Second)
	s.want(exposure.KeepOn, Clear)
}

func TestATaskWhosePastRunsSettleIt(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.start("assembly", "Oak ")
	s.level = 90
	s.run(5 * time.Minute)
	s.want(exposure.NotShownNeeded, AtWork)
	// 0.11 mg/m³ is more than the highest run's 0.1, though far from the upper level:
	// three times the limit per mg/m³ make it a third of the limit.
	s.level = 110
	s.run(3 * time.Minute)
	s.want(exposure.MaskCannotTell, AtWork)
	s.level = 250
	s.run(3 * time.Minute)
	s.want(exposure.MaskCannotTell, AtWork)
	require.Contains(t, s.last.Why.String(), "dustier")
	s.level = 400
	s.run(3 * time.Minute)
	s.want(exposure.KeepOn, AtWork)
	s.level = 1100
	s.run(3 * time.Minute)
	s.want(exposure.KeepOn, AtWork)
}

// Dust of the work before is still there when a cleaner task begins.
func TestACleanTaskAfterADirtyOne(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.start("sanding", "oak")
	s.level = 400
	s.run(5 * time.Minute)
	s.stop()
	s.start("assembly", "oak")
	s.level = 60
	s.run(10 * time.Minute)
	s.want(exposure.KeepOn, Clear)
	require.NotNil(t, s.last.KeepOnUntil)
	s.run(45 * time.Minute)
	s.want(exposure.NotShownNeeded, AtWork)
}

func TestTasksThatNothingIsKnownOf(t *testing.T) {
	for name, c := range map[string]struct {
		task, material, setup, why string
		state                      exposure.MaskState
	}{
		"never measured": {"routing", "oak", "hood", "no run of it", exposure.MaskCannotTell},
		"other material": {"assembly", "walnut", "hood", "no run of it", exposure.MaskCannotTell},
		"other setup":    {"assembly", "oak", "no hood", "another setup", exposure.MaskCannotTell},
		"allergenic":     {"assembly", "western red cedar", "hood", "sensitising", exposure.KeepOn},
		"sweeping":       {"sweeping", "", "hood", "by default", exposure.KeepOn},
		"emptying":       {"empty the filter bag", "", "hood", "by default", exposure.KeepOn},
		"blow-down":      {"blowing down", "", "hood", "by default", exposure.KeepOn},
	} {
		s := newShop(t)
		s.setup = c.setup
		s.run(4 * time.Minute)
		s.start(c.task, c.material)
		s.run(4 * time.Minute)
		require.Equal(t, c.state, s.last.State, name)
		require.Contains(t, s.last.Why.String(), c.why, name)
	}
}

// TestFailSafe: from an idle shop whose answer is "not shown to be needed", each
// kind of trouble brings the respirator back, in time, and nothing but its end and
// Settle takes it off again.
func TestFailSafe(t *testing.T) {
	in := func(d time.Duration) time.Duration { return d }
	for name, c := range map[string]struct {
		trouble func(*shop)
		within  time.Duration
		cause   Cause
		why     string
		mend    func(*shop)
	}{
		"nothing comes":     {func(s *shop) { s.mute = true }, in(12 * time.Second), NoData, "nothing for 1", func(s *shop) { s.mute = false }},
		"warm-up":           {func(s *shop) { s.flags = dust.WarmUp }, in(12 * time.Second), NoData, "warm up", func(s *shop) { s.flags = 0 }},
		"stuck":             {func(s *shop) { s.flags = dust.Stuck }, in(12 * time.Second), NoData, "stuck", func(s *shop) { s.flags = 0 }},
		"all zero":          {func(s *shop) { s.flags, s.level = dust.AllZero, 0 }, in(12 * time.Second), NoData, "all zero", func(s *shop) { s.flags, s.level = 0, 10 }},
		"fan":               {func(s *shop) { s.flags = dust.FanFault }, in(12 * time.Second), NoData, "fan fault", func(s *shop) { s.flags = 0 }},
		"laser":             {func(s *shop) { s.flags = dust.LaserFault }, in(12 * time.Second), NoData, "laser fault", func(s *shop) { s.flags = 0 }},
		"count order":       {func(s *shop) { s.flags = dust.CountOrder }, in(12 * time.Second), NoData, "count order", func(s *shop) { s.flags = 0 }},
		"flagged clock":     {func(s *shop) { s.flags = dust.ClockStep }, in(12 * time.Second), NoData, "clock step", func(s *shop) { s.flags = 0 }},
		"missing value":     {func(s *shop) { s.flags = dust.MissingValue }, in(12 * time.Second), NoData, "missing value", func(s *shop) { s.flags = 0 }},
		"NaN":               {func(s *shop) { s.level = math.NaN() }, in(12 * time.Second), NoData, "no number", func(s *shop) { s.level = 10 }},
		"below zero":        {func(s *shop) { s.level = -1 }, in(12 * time.Second), NoData, "nothing", func(s *shop) { s.level = 10 }},
		"saturated":         {func(s *shop) { s.flags = dust.Saturated }, in(time.Second), Saturated, "top of its range", func(s *shop) { s.flags = 0 }},
		"dust":              {func(s *shop) { s.level = 200 }, in(3 * time.Second), Dust, "dust came back", func(s *shop) { s.level = 10 }},
		"above the limit":   {func(s *shop) { s.level = 50000 }, in(time.Second), Dust, "above the lowest limit", func(s *shop) { s.level = 10 }},
		"clock forward":     {func(s *shop) { s.ahead += time.Hour }, in(time.Second), Clock, "clock was changed", func(*shop) {}},
		"clock back":        {func(s *shop) { s.ahead -= time.Hour }, in(time.Second), Clock, "clock was changed", func(*shop) {}},
		"clock, 3 s":        {func(s *shop) { s.ahead += 3 * time.Second }, in(time.Second), Clock, "clock was changed", func(*shop) {}},
		"stalled":           {func(s *shop) { s.elapsed += 20 * time.Second }, in(time.Second), NoData, "nobody looked", func(*shop) {}},
		"diary":             {func(s *shop) { s.noDiary = errors.New("disk on fire") }, in(time.Second), NoDiary, "disk on fire", func(s *shop) { s.noDiary = nil }},
		"facts lost":        {func(s *shop) { s.m.Learn(Facts{}, errors.New("no store")) }, in(time.Second), NotKnown, "no store", func(s *shop) { s.m.Learn(knownFacts(), nil) }},
		"no clearing known": {func(s *shop) { s.m.Learn(Facts{Masks: knownFacts().Masks}, nil) }, in(time.Second), NotKnown, "no decay", func(s *shop) { s.m.Learn(knownFacts(), nil) }},
		"another setup":     {func(s *shop) { s.setup = "no hood" }, in(time.Second), NotKnown, "no decay", func(s *shop) { s.setup = "hood" }},
		"one decay only": {func(s *shop) { s.m.facts.Clearing[0].Rate.LowPerHour = 0 }, in(time.Second), NotKnown, "how slowly",
			func(s *shop) { s.m.Learn(knownFacts(), nil) }},
		"background not sure": {func(s *shop) { s.m.facts.Clearing[0].Rate.BackgroundHigh = 25 }, in(time.Second), NotKnown, "level without work",
			func(s *shop) { s.m.Learn(knownFacts(), nil) }},
		"background no number": {func(s *shop) { s.m.facts.Clearing[0].Rate.BackgroundHigh = math.NaN() }, in(time.Second), NotKnown, "level without work",
			func(s *shop) { s.m.Learn(knownFacts(), nil) }},
		"a task": {func(s *shop) { s.start("sanding", "oak") }, in(time.Second), AtWork, "by default", func(s *shop) { s.stop() }},
	} {
		t.Run(name, func(t *testing.T) {
			s := newShop(t)
			s.run(4 * time.Minute)
			s.want(exposure.NotShownNeeded, Idle)
			c.trouble(s)
			s.run(c.within)
			require.NotEqual(t, exposure.NotShownNeeded, s.last.State)
			require.Equal(t, c.cause, s.last.Cause, s.last.Why)
			require.Contains(t, s.last.Why.String(), c.why)
			c.mend(s)
			s.run(59 * time.Second)
			require.NotEqual(t, exposure.NotShownNeeded, s.last.State, "no sooner than Settle after the end")
			for end := s.elapsed + 2*time.Hour; s.last.KeptOn() && s.elapsed < end; {
				s.run(time.Minute)
			}
			s.run(5 * time.Minute)
			require.Equal(t, exposure.NotShownNeeded, s.last.State, s.last.Why)
		})
	}
}

func TestWithoutSensorsOrReadings(t *testing.T) {
	s := newShop(t, dust.Sensor{Name: "outlet", Position: dust.Exhaust})
	s.run(4 * time.Minute)
	s.want(exposure.MaskCannotTell, NoSensor)
	s = newShop(t)
	s.mute = true
	s.run(4 * time.Minute)
	s.want(exposure.KeepOn, NoData)
	require.Contains(t, s.last.Why.String(), "nothing in the last 4 min")
}

// Who knows what was done while nothing came: the air is watched anew for two minutes.
func TestAfterABlindSpell(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.mute = true
	s.run(time.Minute)
	s.mute = false
	s.run(2*time.Minute + 55*time.Second)
	s.want(exposure.KeepOn, Clear)
	require.Contains(t, s.last.Why.String(), "not been watched")
	s.run(10 * time.Second)
	s.want(exposure.NotShownNeeded, Idle)
}

// Two sensors: the one that says less decides.
func TestEverySensorMustBeHeard(t *testing.T) {
	s := newShop(t, bench, dust.Sensor{Name: "wall", Position: dust.Room})
	s.run(4 * time.Minute)
	s.want(exposure.KeepOn, NoData)
	require.Contains(t, s.last.Why.String(), `"wall"`)
}

func TestAReadingWithoutTheChannel(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.mute = true
	for range 15 {
		var v dust.Values
		v.Set(dust.N03, 100)
		s.m.Reading(s.at(), dust.Reading{Sensor: "bench", Values: v})
		s.run(time.Second)
	}
	s.want(exposure.KeepOn, NoData)
	require.Contains(t, s.last.Why.String(), "no number")
}

// At its top a sensor reads too little: no end is counted from that.
func TestNoEndIsToldFromASaturatedReading(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.level, s.flags = 60, dust.Saturated
	s.run(time.Minute)
	s.want(exposure.KeepOn, Saturated)
	s.level, s.flags = 400, 0
	for range 119 {
		s.run(time.Second)
		s.want(exposure.KeepOn, Saturated)
		require.Nil(t, s.last.KeepOnUntil)
	}
	s.run(2 * time.Minute)
	s.want(exposure.KeepOn, Dust)
	// From 400 to 20 over at most 12, as above, and Settle.
	require.InDelta(t, 60*math.Log(388.0/8)/5+1, s.last.KeepOnUntil.Sub(s.last.Time).Minutes(), 0.1)
}

// A sensor that sleeps by plan is not lost at once, but after two minutes asleep
// nobody knows what the air is like; awake again it watches anew.
func TestASleepingSensor(t *testing.T) {
	s := newShop(t)
	watched := Watch([]dust.Sensor{bench}, false)
	watched[0].Sleeps = 5 * time.Minute
	s.m = NewMachine(Rules{}, watched, s.at())
	s.m.Learn(knownFacts(), nil)
	s.run(4 * time.Minute)
	s.mute = true
	s.run(2 * time.Minute)
	s.want(exposure.NotShownNeeded, Idle)
	s.run(2 * time.Second)
	s.want(exposure.KeepOn, NoData)
	require.Contains(t, s.last.Why.String(), "sleeps by plan")
	s.run(4 * time.Minute)
	s.want(exposure.KeepOn, NoData)
	require.Contains(t, s.last.Why.String(), "sent nothing for 6 min", "overslept")
	s.mute = false
	s.run(2*time.Minute + 58*time.Second)
	s.want(exposure.KeepOn, Clear)
	s.run(5 * time.Second)
	s.want(exposure.NotShownNeeded, Idle)
}

// Who runs it without a limit learns nothing from a reading.
func TestWithoutALimit(t *testing.T) {
	for _, none := range []float64{0, -1, math.NaN()} {
		s := newShop(t)
		f := knownFacts()
		f.LimitUgM3 = none
		s.m.Learn(f, nil)
		s.run(10 * time.Minute)
		s.want(exposure.MaskCannotTell, NotKnown)
		require.Contains(t, s.last.Why.String(), "no limit")
	}
}

// A store without a day in it, and a sensor put in place of another under a new name.
func TestNothingIsKnownOfThisSensor(t *testing.T) {
	s := newShop(t)
	s.m.Learn(Facts{LimitUgM3: 1000}, nil)
	s.run(10 * time.Minute)
	s.want(exposure.MaskCannotTell, NotKnown)
	f := knownFacts()
	f.Clearing[0].Sensor = "the one before"
	s.m.Learn(f, nil)
	s.run(10 * time.Minute)
	s.want(exposure.MaskCannotTell, NotKnown)
}

// Without a factor no ratio is known that past runs could be held to.
func TestATaskWithoutAFactor(t *testing.T) {
	for name, spoil := range map[string]func(*exposure.MaskResult){
		"no ratio at most": func(m *exposure.MaskResult) { m.HazardRatioAtMost = nil },
		"no highest run":   func(m *exposure.MaskResult) { m.HighestMeanMgM3 = nil },
		"nothing measured": func(m *exposure.MaskResult) { m.HighestMeanMgM3 = f64(0) },
		"cannot tell":      func(m *exposure.MaskResult) { m.State, m.Why = exposure.MaskCannotTell, words.Literal("no factor") },
		"a state unheard of": func(m *exposure.MaskResult) {
			m.State, m.Why = "new", words.Literal("who knows")
		},
	} {
		s := newShop(t)
		f := knownFacts()
		spoil(&f.Masks[0])
		s.m.Learn(f, nil)
		s.run(4 * time.Minute)
		s.start("assembly", "oak")
		s.run(4 * time.Minute)
		require.True(t, s.last.KeptOn(), name)
		require.Equal(t, AtWork, s.last.Cause, name)
	}
}

// An entry of the diary that is taken back while the task runs leaves no end; the dust
// is there all the same.
func TestATaskTakenBackStartsTheCountdown(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.start("sanding", "oak")
	s.level = 19 // below what counts as back
	s.run(4 * time.Minute)
	s.want(exposure.KeepOn, AtWork)
	s.tasks = nil
	s.run(90 * time.Second)
	s.want(exposure.KeepOn, Clear)
	require.Contains(t, s.last.Why.String(), "spreading")
	s.run(95 * time.Second)
	s.want(exposure.NotShownNeeded, Idle)
}

// A clock that is set back ends no task, and one set forward shortens no countdown.
func TestTheWallClockMovesNothing(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.start("sanding", "oak")
	s.level = 400
	s.run(5 * time.Minute)
	s.stop()
	s.run(4 * time.Minute)
	s.level = 10
	s.run(5 * time.Minute)
	s.want(exposure.KeepOn, Clear)
	s.ahead += 3 * time.Hour
	s.run(10 * time.Minute)
	s.want(exposure.KeepOn, Clear)
	s.ahead -= 6 * time.Hour
	s.run(10 * time.Minute)
	require.Equal(t, exposure.KeepOn, s.last.State)
	s.ahead += 3 * time.Hour
	s.run(90 * time.Minute)
	s.want(exposure.NotShownNeeded, Idle)
}

// The end of a task counts also where an earlier one ended at a later time, by a
// clock that was wrong then.
func TestATaskThatEndsBeforeAnEarlierOne(t *testing.T) {
	s := newShop(t)
	s.ahead = 5 * time.Hour
	s.tasks = []dust.Task{{Name: "assembly", Start: s.at().Wall.Add(-time.Hour), Stop: s.at().Wall.Add(-time.Minute)}}
	s.run(4 * time.Minute)
	s.ahead = 0
	s.tasks = nil
	s.run(10 * time.Minute)
	s.want(exposure.NotShownNeeded, Idle)
	s.tasks = []dust.Task{{Name: "sweeping", Start: s.at().Wall.Add(-time.Minute), Stop: s.at().Wall.Add(-time.Second)}}
	s.run(2 * time.Second)
	s.want(exposure.KeepOn, Clear)
}

// A line that comes and goes does not make the lamp flicker: at most one change
// each Settle.
func TestDebounce(t *testing.T) {
	s := newShop(t)
	s.run(4 * time.Minute)
	s.told = nil
	for range 40 {
		s.mute = !s.mute
		s.run(15 * time.Second)
	}
	require.LessOrEqual(t, len(s.told), 2, "%v", s.told)
	require.Equal(t, exposure.KeepOn, s.last.State)
}
