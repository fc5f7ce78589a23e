package airflow

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// Input is what Analyse works on.
type Input struct {
	Collectors []Collector
	Entries    []dust.Entered // of the diary; those that are no gauge readings are passed over
	Setups     []dust.SetupPeriod
	Clearances map[string]Clearance // measured, by setup
	Sessions   []SessionDust
}

// SessionDust is one session's fine dust in a unit that is the same for all.
type SessionDust struct {
	Start time.Time
	Setup string
	Dust  float64
}

// together is how far apart in time readings may lie that belong together (our choice).
const together = 30 * time.Minute

// Analyse tells what the readings off the collector mean, setup by setup. It reads no
// clock. The error wraps ErrInput if a record contradicts itself; readings that cannot
// be used are listed, not refused.
func Analyse(in Input) (Result, error) {
	for _, c := range in.Collectors {
		if err := c.Check(); err != nil {
			return Result{}, fmt.Errorf("record of the collector under setup %q: %w", c.Setup, err)
		}
	}
	r := Result{Schema: schemaVersion, LeftOut: []LeftOut{}, Stops: []words.Text{}, Warnings: []words.Text{}, Ranked: []Suggestion{}, Setups: []SetupAirflow{}, Method: method()}
	gauges := map[string][]Gauge{}
	for _, e := range in.Entries {
		if e.Kind != dust.GaugeEntry || !e.Stands() {
			continue
		}
		g, err := GaugeOf(e.Entry)
		if err != nil {
			r.leaveOut(e.At, e.Name+" "+e.Text, words.Literal(err.Error()))
			continue
		}
		setup := dust.SetupAt(in.Setups, g.At)
		gauges[setup] = append(gauges[setup], g)
	}
	names := setupNames(in)
	for setup := range gauges {
		if !slices.Contains(names, setup) {
			names = append(names, setup) // readings from before any setup was declared
		}
	}
	for _, name := range names {
		r.Setups = append(r.Setups, r.setup(in, name, gauges[name]))
	}
	r.Dust = RegressDust(r.sessions(in.Sessions))
	r.rank(in.Setups)
	r.caution(in.Collectors)
	return r, nil
}

// setupNames lists the setups with a record, readings or not, and those of the diary.
func setupNames(in Input) (names []string) {
	add := func(name string) {
		if !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	for _, p := range in.Setups {
		add(p.Setup)
	}
	for _, c := range in.Collectors {
		add(c.Setup)
	}
	return names
}

func (r *Result) leaveOut(at time.Time, what string, why words.Text) {
	r.LeftOut = append(r.LeftOut, LeftOut{At: at, What: what, Why: why})
}

// setup works one setup out.
func (r *Result) setup(in Input, name string, gauges []Gauge) SetupAirflow {
	slices.SortStableFunc(gauges, func(a, b Gauge) int { return a.At.Compare(b.At) })
	var c Collector
	s := SetupAirflow{Setup: name, Readings: len(gauges), Missing: []words.Text{}, Flows: []FlowMeasurement{}, Transport: []TransportCheck{}, Hints: []Hint{}, Motors: []MotorCheck{}}
	for _, one := range in.Collectors {
		if one.Setup == name {
			c = one
			s.Record = &c
		}
	}
	s.Missing = c.missing()
	s.Density, s.DensityFrom = c.air()
	for _, g := range gauges {
		f, ok, why := c.flow(g, s.Density)
		if !why.IsZero() {
			r.leaveOut(g.At, g.String(), why)
		}
		if ok {
			s.Flows = append(s.Flows, f)
		}
		if g.Kind == StaticGauge {
			s.Static = &PressureReading{At: g.At, Pressure: g.Pressures[0]}
		}
	}
	s.Motors = append(s.Motors, c.motors(gauges)...)
	s.Flow = latest(s.Flows, func(f FlowMeasurement) bool { return f.Main })
	s.Filter = FilterLoading(s.filterDrops(gauges), c.Filter.Cleaned, c.Filter.Limit)
	s.fillTransport(c)
	s.fillFilterFlow(c)
	s.fillCapture(c)
	s.fillChanges(c, in.Clearances)
	s.fillSystem(c, gauges)
	s.fillFan(c)
	s.fillHints(c)
	return s
}

func latest(flows []FlowMeasurement, which func(FlowMeasurement) bool) *FlowMeasurement {
	for _, f := range slices.Backward(flows) {
		if which(f) {
			return &f
		}
	}
	return nil
}

// flow turns a reading into a flow; why says nothing where it is none or could be used.
func (c Collector) flow(g Gauge, rho units.Density) (f FlowMeasurement, ok bool, why words.Text) {
	switch g.Kind {
	case VelocityGauge, VelocityPressureGauge, FlowGauge, HoodGauge:
	default:
		return f, false, words.Text{}
	}
	place := g.Place
	if g.Kind == HoodGauge && place == "" && c.Hood != nil {
		place = c.Hood.Duct
	}
	d, main, err := c.duct(place)
	if err != nil {
		return f, false, words.OfError(err)
	}
	f = FlowMeasurement{At: g.At, From: g.Kind, Duct: d.Name, Main: main}
	if g.Kind == FlowGauge {
		f.Flow = *g.Flow
		return f, true, words.Text{}
	}
	area, err := d.Duct().Area()
	if err != nil {
		return f, false, words.OfError(err)
	}
	if g.Kind == HoodGauge {
		if c.Hood == nil || c.Hood.EntryCoefficient == 0 {
			return f, false, words.Of("the record tells no hood with its entry_coefficient")
		}
		f.Flow, err = HoodFlow(area, c.Hood.EntryCoefficient, g.Pressures[0], rho)
		v := Speed(f.Flow, area)
		f.Velocity = &v
		return f, err == nil, errorText(err)
	}
	var t Traverse
	if g.Kind == VelocityGauge {
		t, err = MeanOfVelocities(g.Velocities)
	} else {
		t, err = MeanOfPressures(g.Pressures, rho)
	}
	if err != nil {
		return f, false, words.OfError(err)
	}
	low, high := Flow(*t.Low, area), Flow(*t.High, area)
	f.Flow, f.Low, f.High, f.Velocity, f.Traverse = Flow(t.Velocity, area), &low, &high, &t.Velocity, &t
	return f, true, words.Text{}
}

func errorText(err error) words.Text {
	if err == nil {
		return words.Text{}
	}
	return words.OfError(err)
}

// duct finds the duct that a reading was taken in; main is the first of the record.
func (c Collector) duct(place string) (d DuctRecord, main bool, err error) {
	var names []string
	for i, one := range c.Ducts {
		if one.Name == place || place == "" && len(c.Ducts) == 1 {
			return one, i == 0, nil
		}
		names = append(names, one.Name)
	}
	switch {
	case len(c.Ducts) == 0:
		return d, false, fmt.Errorf("the record of this setup holds no duct, so its flow %w", ErrInput)
	case place == "":
		return d, false, fmt.Errorf("it does not say in which duct, so it %w: there are %s", ErrInput, strings.Join(names, ", "))
	}
	return d, false, fmt.Errorf("duct %q is not in the record of this setup, so its flow %w: there are %s", place, ErrInput, strings.Join(names, ", "))
}

// nearest is the flow through the first duct nearest in time, if it is near enough.
func (s *SetupAirflow) nearest(at time.Time, within time.Duration) *FlowMeasurement {
	var best *FlowMeasurement
	for i, f := range s.Flows {
		if f.Main && (best == nil || f.At.Sub(at).Abs() < best.At.Sub(at).Abs()) {
			best = &s.Flows[i]
		}
	}
	if best == nil || within > 0 && best.At.Sub(at).Abs() > within {
		return nil
	}
	return best
}

func (s *SetupAirflow) filterDrops(gauges []Gauge) (list []DropReading) {
	for _, g := range gauges {
		if g.Kind != FilterGauge {
			continue
		}
		d := DropReading{At: g.At, Drop: g.Pressures[0]}
		if f := s.nearest(g.At, together); f != nil {
			d.Flow = &f.Flow
		}
		list = append(list, d)
	}
	return list
}

// sessions puts a measured flow beside each session: the nearest in time under the
// same setup.
func (r *Result) sessions(list []SessionDust) (out []Session) {
	for _, x := range list {
		for i := range r.Setups {
			if r.Setups[i].Setup != x.Setup {
				continue
			}
			if f := r.Setups[i].nearest(x.Start, 0); f != nil {
				out = append(out, Session{Start: x.Start, Setup: x.Setup, Dust: x.Dust, Flow: f.Flow, Measured: f.At})
			}
		}
	}
	return out
}

func method() words.Text {
	return words.Join(" ",
		words.Of("Q = V·A; V = √(2·VP/ρ), roots averaged; density from the record's altitude and temperature."),
		words.Of("Traverse: plain mean of the points, Student's t on their spread. System: ΔP = k·Q² through flows and static pressures read within 30 min."),
		words.Of("Filter: drops brought to one flow in proportion, straight line since the last cleaning, date by Fieller's range."),
		words.Of("Capture: Dalla Valle. Dust on flow: ln dust on flow, one point for each measurement of the flow. Sources: docs/airflow.md."))
}
