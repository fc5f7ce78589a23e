package airflow

import (
	"encoding/json"
	"fmt"
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// shop is an invented collector: a 6-inch main duct and a 4-inch branch to a hood.
func shop() Collector {
	temperature := units.Temperature(20)
	return Collector{
		Setup: "old filter",
		Blowers: []Blower{{Name: "blower", RatedFlow: units.CFM(1500), RatedCurrent: 9,
			Curve: []FanPoint{{0, units.InWG(10)}, {units.CFM(400), units.InWG(9.5)}, {units.CFM(800), units.InWG(7.5)}, {units.CFM(1200), units.InWG(4)}, {units.CFM(1500), 0}}}},
		Filter: FilterRecord{Area: 4, Limit: 900},
		Ducts:  []DuctRecord{{Name: "main", Diameter: units.Inches(6)}, {Name: "saw", Diameter: units.Inches(4)}},
		Hood:   &HoodRecord{Duct: "saw", Width: units.Inches(8), Height: units.Inches(6), Distance: units.Inches(8), EntryCoefficient: 0.8},
		Room:   120, Temperature: &temperature,
	}
}

type book struct {
	t       *testing.T
	entries []dust.Entered
}

func (b *book) read(when float64, kind GaugeKind, place, figures string) {
	b.t.Helper()
	e, err := GaugeEntry(fmt.Sprint(len(b.entries)), day(when), kind, place, figures)
	require.NoError(b.t, err)
	b.entries = append(b.entries, dust.Entered{Entry: e})
}

var inUseOld = []dust.SetupPeriod{{Setup: "old filter", From: monday.Add(-time.Hour)}}

func analyse(t *testing.T, in Input) Result {
	t.Helper()
	if in.Setups == nil {
		in.Setups = inUseOld
	}
	r, err := Analyse(in)
	require.NoError(t, err)
	text, err := json.Marshal(r)
	require.NoError(t, err, "everything can be printed as JSON")
	require.NotContains(t, string(text), "NaN")
	return r
}

func TestOneDayOnTheCollector(t *testing.T) {
	b := &book{t: t}
	b.read(0, VelocityPressureGauge, "main", "0.60 0.70 0.75 0.78 0.72 0.63 0.58 0.69 0.77 0.79 0.70 0.61 in. w.g.")
	b.read(0.01, StaticGauge, "", "-4.0 in. w.g.")
	b.read(0.011, FilterGauge, "", "1.5 in. w.g.")
	b.read(0.012, CurrentGauge, "", "7.2 A")
	b.read(0.013, HoodGauge, "", "-1.5 in. w.g.")
	r := analyse(t, Input{Collectors: []Collector{shop()}, Entries: b.entries, Clearances: map[string]Clearance{"old filter": {PerHour: ptr(4.0), Low: ptr(3.5), High: ptr(4.5)}}})
	require.Empty(t, r.LeftOut)
	require.Len(t, r.Setups, 1)
	s := r.Setups[0]

	// By hand: the mean of the roots is 0.8315; 4008.6 fpm at VP 1 in standard air;
	// 0.19635 ft²; the air of the record is lighter by √(1.2014/ρ).
	root := 0.0
	for _, vp := range []float64{0.60, 0.70, 0.75, 0.78, 0.72, 0.63, 0.58, 0.69, 0.77, 0.79, 0.70, 0.61} {
		root += math.Sqrt(vp) / 12
	}
	want := root * 4008.6 * 0.19635 * math.Sqrt(1.20138/float64(s.Density))
	require.InEpsilon(t, want, s.Flow.Flow.CFM(), 1e-4)
	require.InDelta(t, 1.1988, float64(s.Density), 0.001)
	require.Equal(t, "main", s.Flow.Duct)
	require.True(t, s.Flow.Main)
	require.NotNil(t, s.Flow.Low)
	require.Len(t, s.Flows, 2)

	require.Len(t, s.System.Points, 1)
	require.InDelta(t, 5.5, s.System.Points[0].Static.InWG(), 1e-9, "suction and the drop of a filter behind the blower")
	require.InDelta(t, 80, *s.Motors[0].Percent, 1e-9)
	require.Equal(t, Slow, s.Transport[0].Answer)
	require.InEpsilon(t, s.Flow.Flow.M3H()/4, *s.FilterFlow, 1e-9)
	require.InEpsilon(t, s.Flow.Flow.M3H()/120, s.Changes.PerHour, 1e-9)
	require.Contains(t, s.Changes.Answer.String(), "more slowly")

	// The branch: Q = 4008.6·0.08727·0.8·√1.5 cfm; in front of the hood Q/(10·X² + A).
	branch := 4008.6 * 0.087266 * 0.8 * math.Sqrt(1.5) * math.Sqrt(1.20138/float64(s.Density))
	require.InEpsilon(t, branch, s.Capture.Flow.CFM(), 1e-4)
	require.InEpsilon(t, branch/(10*64.0/144+48.0/144), s.Capture.Velocity.FPM(), 1e-4)
	require.Equal(t, CaptureRanges[0].What, s.Capture.Range)

	require.NotNil(t, s.Fan.Operating)
	require.InEpsilon(t, 100*s.Flow.Flow.CFM()/1500, *s.Fan.OfRated, 1e-9)
	require.Equal(t, []string{Unsourced, Unsourced, "DGUV Information 209-044, read"}, []string{s.Hints[0].Source, s.Hints[1].Source, s.Hints[2].Source})
	require.Empty(t, r.Stops)
	require.NotEmpty(t, r.Cautions)

	// By formula: (10·64 + 48)/(10·16 + 48) = 3.31 times, and a third for the flange.
	require.Contains(t, r.Ranked[0].What.String(), "bring the hood")
	require.InDelta(t, 100*(688.0/208-1), *r.Ranked[0].Gain, 1e-6)
	require.InDelta(t, 100.0/3, *r.Ranked[1].Gain, 1e-9)
	last := r.Ranked[len(r.Ranked)-1]
	require.Contains(t, last.What.String(), "measure the filter's pressure drop, now and then")
}

func TestStopLines(t *testing.T) {
	b := &book{t: t}
	b.read(0, CurrentGauge, "", "9.5 A")
	c := shop()
	r := analyse(t, Input{Collectors: []Collector{c}, Entries: b.entries})
	require.Len(t, r.Stops, 1)
	require.Contains(t, r.Stops[0].String(), "ask an electrician")
	require.Equal(t, "switch the blower off and have the motor looked at", r.Ranked[0].What.String())

	c.Blowers = append(c.Blowers, c.Blowers[0])
	c.Arrangement = Series
	r = analyse(t, Input{Collectors: []Collector{c}, Entries: b.entries})
	require.Len(t, r.Stops, 1, "of two motors the reading does not tell which")
	require.Contains(t, r.Stops[0].String(), "Blowers in series, restricted or not")
	require.Contains(t, r.Setups[0].Motors[0].Answer.String(), CannotTell)

	// Named, each motor is told apart, and a current that was once too high stays said.
	c.Blowers[0].Name, c.Blowers[1].Name = "first", "second"
	b.read(1, CurrentGauge, "first", "9.2 A")
	b.read(2, CurrentGauge, "second", "5 A")
	b.read(3, CurrentGauge, "first", "8 A")
	r = analyse(t, Input{Collectors: []Collector{c}, Entries: b.entries})
	require.Len(t, r.Setups[0].Motors, 3)
	require.Len(t, r.Stops, 2)
	require.Contains(t, r.Stops[0].String(), "blower first: 89 % of the rated 9.00 A, but it was 9.20 A before")
	require.False(t, r.Setups[0].Motors[2].Over)
}

func TestAFilterThatCostsFlow(t *testing.T) {
	b := &book{t: t}
	for i := range 8 {
		when := float64(3 * i)
		b.read(when, FlowGauge, "main", "700 cfm")
		b.read(when+0.001, StaticGauge, "", "-4 in. w.g.")
		b.read(when+0.002, FilterGauge, "", fmt.Sprintf("%d Pa", 300+60*i+5*(i%2)))
	}
	r := analyse(t, Input{Collectors: []Collector{shop()}, Entries: b.entries})
	s := r.Setups[0]
	require.Equal(t, Rising, s.Filter.Answer, s.Filter.Why)
	require.InDelta(t, 140, float64(*s.Filter.PerWeek), 3)
	require.Equal(t, "2026-04-01", s.Filter.ReachedAt.Format(time.DateOnly)) // (900 − 302)/20 = 29.9 days after 2 March, 08:00
	var cleaning *Suggestion
	for i, x := range r.Ranked {
		if x.What.String() == "clean or change the filter" {
			cleaning = &r.Ranked[i]
		}
	}
	require.NotNil(t, cleaning)
	require.Equal(t, ByCurve, cleaning.HowSure)
	require.Greater(t, *cleaning.Gain, 1.0)
	require.Less(t, *cleaning.Gain, 30.0)

	// Cleaned before the last reading: too few are left, and the system is anew too.
	c := shop()
	c.Filter.Cleaned = []time.Time{day(19)}
	r = analyse(t, Input{Collectors: []Collector{c}, Entries: b.entries})
	require.Equal(t, CannotTell, r.Setups[0].Filter.Answer)
	require.Len(t, r.Setups[0].System.Points, 1)
}

func TestReadingsThatCannotBeUsedAreListed(t *testing.T) {
	b := &book{t: t}
	b.read(0, VelocityGauge, "", "20 m/s")
	b.read(0, VelocityGauge, "planer", "20 m/s")
	b.read(1, FlowGauge, "main", "700 cfm")
	b.read(-1, FlowGauge, "main", "700 cfm") // before any setup was declared
	b.entries = append(b.entries,
		dust.Entered{Entry: dust.Entry{ID: "x", Kind: dust.GaugeEntry, At: day(1), Name: "current", Text: "many"}},
		dust.Entered{Entry: dust.Entry{ID: "y", Kind: dust.GaugeEntry, At: day(1), Name: "flow", Text: "main: 100 cfm"}, Undone: day(2)},
		dust.Entered{Entry: dust.Entry{ID: "z", Kind: dust.NoteEntry, At: day(1), Text: "bag changed"}})
	r := analyse(t, Input{Collectors: []Collector{shop()}, Entries: b.entries})
	require.Len(t, r.LeftOut, 4)
	require.Contains(t, r.LeftOut[0].Why.String(), "current")
	require.Contains(t, r.LeftOut[1].Why.String(), "in which duct")
	require.Contains(t, r.LeftOut[2].Why.String(), `duct "planer" is not in the record of this setup`)
	require.Contains(t, r.LeftOut[3].Why.String(), "holds no duct")
	require.InDelta(t, 700, r.Setups[0].Flow.Flow.CFM(), 1e-9)
	require.Equal(t, "", r.Setups[1].Setup)
	require.Equal(t, []string{"a duct with its diameter: no flow without it", "the blower's rated flow", "the motor's rated current, from its plate",
		"the blower's fan curve, as points", "the filter's area", "the pressure at which the filter is to be cleaned", "the hood's opening and its distance from the dust", "the room's volume"}, words.Strings(r.Setups[1].Missing))
}

func TestNothingKnownSaysSo(t *testing.T) {
	r := analyse(t, Input{})
	require.Nil(t, r.Setups[0].Flow)
	require.Equal(t, CannotTell, r.Setups[0].Filter.Answer)
	require.Equal(t, TooLittleData, r.Dust.Answer)
	require.Len(t, r.Ranked, 1)
	require.Contains(t, r.Ranked[0].What.String(), "measure the flow")
	r, err := Analyse(Input{})
	require.NoError(t, err)
	require.Empty(t, r.Setups)
}

func TestDustIsPutBesideTheNearestFlow(t *testing.T) {
	b := &book{t: t}
	var sessions []SessionDust
	for i := range 6 {
		b.read(float64(i), FlowGauge, "main", fmt.Sprintf("%d cfm", 400+100*i))
		sessions = append(sessions, SessionDust{Start: day(float64(i) + 0.2), Setup: "old filter", Dust: 300 * math.Pow(0.8, float64(i)) * (1 + 0.02*float64(i%2))})
	}
	sessions = append(sessions, SessionDust{Start: day(1), Setup: "never measured", Dust: 100})
	r := analyse(t, Input{Collectors: []Collector{shop()}, Entries: b.entries, Sessions: sessions})
	require.Equal(t, LessDust, r.Dust.Answer)
	require.Equal(t, 6, r.Dust.Sessions)
	require.InDelta(t, -20, *r.Dust.Percent, 1)
	found := false
	for _, x := range r.Ranked {
		found = found || x.What.String() == "more flow"
	}
	require.True(t, found)
}

func TestRecordsThatContradictThemselves(t *testing.T) {
	for want, change := range map[string]func(*Collector){
		"has no name":                   func(c *Collector) { c.Ducts[0].Name = "" },
		`two ducts named "saw"`:         func(c *Collector) { c.Ducts[0].Name = "saw" },
		"diameter, or width and height": func(c *Collector) { c.Ducts[0].Width = 1 },
		`duct "planer"`:                 func(c *Collector) { c.Hood.Duct = "planer" },
		"hood: the duct's":              func(c *Collector) { c.Hood.Width = 0 },
		"entry coefficient 1.4":         func(c *Collector) { c.Hood.EntryCoefficient = 1.4 },
		`arranged in "row"`:             func(c *Collector) { c.Arrangement = "row" },
		"2 blowers":                     func(c *Collector) { c.Blowers = append(c.Blowers, Blower{}) },
		"room of 0.000 m³":              func(c *Collector) { c.Room = 1e-9 },
		"duct diameter of 152400 mm":    func(c *Collector) { c.Ducts[0].Diameter = 152.4 },
		"rated current of 5000 A":       func(c *Collector) { c.Blowers[0].RatedCurrent = 5000 },
		"fan curve of 1 point":          func(c *Collector) { c.Blowers[0].Curve = c.Blowers[0].Curve[:1] },
	} {
		c := shop()
		change(&c)
		_, err := Analyse(Input{Collectors: []Collector{c}})
		require.ErrorIs(t, err, ErrInput, want)
		require.ErrorContains(t, err, want)
		require.ErrorContains(t, err, `under setup "old filter"`)
	}
}

func TestGaugesAsTheyAreWritten(t *testing.T) {
	for _, test := range []struct {
		kind GaugeKind
		text string
		want string
	}{
		{StaticGauge, "-4.2 in. w.g.", "static-pressure -1046 Pa (-4.20 in. w.g.)"},
		{VelocityGauge, "main: 18 19 20 21 m/s", "velocity in duct main: 4 points, 18.0 m/s (3543 fpm) … 21.0 m/s (4134 fpm)"},
		{FlowGauge, "saw: 500 cfm", "flow in duct saw: 850 m³/h (500 cfm)"},
		{CurrentGauge, "8.5 A", "current 8.50 A"},
	} {
		g, err := ParseGauge(test.kind, test.text)
		require.NoError(t, err)
		require.Equal(t, test.want, g.String())
	}
	for kind, text := range map[GaugeKind]string{FilterGauge: "-3 Pa", "humidity": "50 %", StaticGauge: "4", FlowGauge: "main: 500 fpm", CurrentGauge: "", VelocityGauge: "4000 m/s", VelocityPressureGauge: "1 3 200 kPa"} {
		_, err := ParseGauge(kind, text)
		require.ErrorIs(t, err, dust.ErrEntry, kind)
		_, err = GaugeEntry("id", monday, kind, "", text)
		require.ErrorIs(t, err, dust.ErrEntry)
	}
	_, err := GaugeOf(dust.Entry{Kind: dust.NoteEntry})
	require.ErrorIs(t, err, dust.ErrEntry)
}

// Altitude and heat thin the air, so the same velocity pressure is more velocity.
func TestThinAirIsReckonedWith(t *testing.T) {
	b := &book{t: t}
	b.read(0, VelocityPressureGauge, "main", "0.8 0.8 in. w.g.")
	high := shop()
	high.Altitude = 1500
	low := analyse(t, Input{Collectors: []Collector{shop()}, Entries: b.entries}).Setups[0]
	up := analyse(t, Input{Collectors: []Collector{high}, Entries: b.entries}).Setups[0]
	require.InEpsilon(t, math.Sqrt(float64(low.Density/up.Density)), float64(up.Flow.Flow/low.Flow.Flow), 1e-9)
	require.Contains(t, up.DensityFrom.String(), "1500 m above the sea")
}

// A blower that pushes through a filter works against its drop too: without it
// nothing is held against the curve.
func TestAPressureWithoutTheFiltersIsNotHeldAgainstTheCurve(t *testing.T) {
	b := &book{t: t}
	b.read(0, FlowGauge, "main", "700 cfm")
	b.read(0.001, StaticGauge, "", "-4 in. w.g.")
	r := analyse(t, Input{Collectors: []Collector{shop()}, Entries: b.entries})
	require.Nil(t, r.Setups[0].System)
	require.Contains(t, r.Setups[0].Fan.Answer.String(), "whose drop was not read")
	c := shop()
	c.Filter.BeforeBlower = true
	r = analyse(t, Input{Collectors: []Collector{c}, Entries: b.entries})
	require.InDelta(t, 4, r.Setups[0].System.Points[0].Static.InWG(), 1e-9)
	c.Filter = FilterRecord{} // none: blown outside
	r = analyse(t, Input{Collectors: []Collector{c}, Entries: b.entries})
	require.NotNil(t, r.Setups[0].Fan.Operating)
}

// The curve of the shop's blower makes 8 in. w.g. and more at 700 cfm.
func TestABlowerBelowItsCurve(t *testing.T) {
	answer := func(inWG string) FanCheck {
		b := &book{t: t}
		b.read(0, FlowGauge, "main", "700 cfm")
		b.read(0.001, StaticGauge, "", inWG)
		b.read(0.002, FilterGauge, "", "1 in. w.g.")
		return *analyse(t, Input{Collectors: []Collector{shop()}, Entries: b.entries}).Setups[0].Fan
	}
	weak, sound := answer("-4 in. w.g."), answer("-6.9 in. w.g.")
	require.InDelta(t, 62, *weak.Percent, 2)
	require.Contains(t, weak.Answer.String(), "a wheel worn, caked or turning too slowly")
	require.NotContains(t, sound.Answer.String(), "wheel")
	require.InDelta(t, 700, sound.Operating.Flow.CFM(), 30)
	require.Greater(t, weak.Operating.Flow.CFM(), 750.0)
}

// Side by side the claims of two blowers add; one behind the other, the lesser holds.
func TestWhatTwoBlowersClaim(t *testing.T) {
	c := Collector{Blowers: []Blower{{RatedFlow: 1}, {RatedFlow: 2}}, Arrangement: Parallel}
	require.Equal(t, units.Flow(3), c.ratedFlow())
	c.Arrangement = Series
	require.Equal(t, units.Flow(1), c.ratedFlow())
	c.Blowers[1].RatedFlow = 0
	require.Zero(t, c.ratedFlow(), "one that is not known leaves the sum unknown")
}
