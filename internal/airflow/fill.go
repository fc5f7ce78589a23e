package airflow

import (
	"errors"
	"slices"

	"dustlog/internal/units"
	"dustlog/internal/words"
)

// fillTransport judges the latest velocity of each duct.
func (s *SetupAirflow) fillTransport(c Collector) {
	for _, d := range c.Ducts {
		f := latest(s.Flows, func(f FlowMeasurement) bool { return f.Duct == d.Name })
		area, err := d.Duct().Area()
		if f == nil || err != nil {
			continue
		}
		v := Speed(f.Flow, area)
		var low, high *units.Velocity
		if f.Low != nil && f.High != nil {
			l, h := Speed(*f.Low, area), Speed(*f.High, area)
			low, high = &l, &h
		}
		s.Transport = append(s.Transport, CheckTransport(d.Name, v, low, high, area))
	}
}

func (s *SetupAirflow) fillFilterFlow(c Collector) {
	if s.Flow != nil && c.Filter.Area > 0 {
		s.FilterFlow = ptr(s.Flow.Flow.M3H() / float64(c.Filter.Area))
	}
}

// fillCapture works the hood out with the latest flow through its own duct.
func (s *SetupAirflow) fillCapture(c Collector) {
	if c.Hood == nil || len(c.Ducts) == 0 {
		return
	}
	duct := c.Hood.Duct
	if duct == "" {
		duct = c.Ducts[0].Name
	}
	f := latest(s.Flows, func(f FlowMeasurement) bool { return f.Duct == duct })
	face, err := c.Hood.Face()
	if f == nil || err != nil {
		return
	}
	h := Hood{Face: face, Distance: c.Hood.Distance, Flanged: c.Hood.Flanged}
	v, err := h.CaptureVelocity(f.Flow)
	if err != nil {
		return
	}
	s.Capture = &Capture{Flow: f.Flow, Duct: duct, Distance: h.Distance, Flanged: h.Flanged, Velocity: &v, Far: h.Far(), Ranges: CaptureRanges}
	for _, r := range CaptureRanges {
		if v >= r.Low {
			s.Capture.Range = r.What
		}
	}
	switch {
	case s.Capture.Range == "":
		s.Capture.Answer = words.Of("%s at %s in front of the hood: below %s, too little even for dust that is hardly moved", v, h.Distance, CaptureRanges[0].Low)
	default:
		s.Capture.Answer = words.Of("%s at %s in front of the hood: within or above the lower end of the range for dust %s; saws and sanders throw it: %s to %s", v, h.Distance, RangeText(s.Capture.Range), CaptureRanges[3].Low, CaptureRanges[3].High)
	}
	if s.Capture.Far {
		s.Capture.Answer = words.Of("%s; it is further away than one and a half diameters, where the formula no longer holds: it catches less", s.Capture.Answer)
	}
}

func (s *SetupAirflow) fillChanges(c Collector, measured map[string]Clearance) {
	if s.Flow == nil || c.Room == 0 {
		return
	}
	var m *Clearance
	if one, ok := measured[s.Setup]; ok {
		m = &one
	}
	changes := ChangesOf(s.Flow.Flow, c.Room, m)
	s.Changes = &changes
}

// systemPressure is what the blower works against: its suction, and the filter's drop
// if it pushes through a filter. whole is false where that drop was not read.
func (s *SetupAirflow) systemPressure(c Collector, static Gauge, gauges []Gauge) (p units.Pressure, whole bool) {
	p = static.Pressures[0]
	if p < 0 {
		p = -p
	}
	if c.Filter.BeforeBlower {
		return p, true
	}
	var drop *Gauge
	filter := c.Filter.Area > 0 || c.Filter.Class != "" || c.Filter.Limit > 0
	for i, g := range gauges {
		if g.Kind != FilterGauge {
			continue
		}
		filter = true
		if away := g.At.Sub(static.At).Abs(); away <= together && (drop == nil || away < drop.At.Sub(static.At).Abs()) {
			drop = &gauges[i]
		}
	}
	if drop != nil {
		return p + drop.Pressures[0], true
	}
	return p, !filter
}

// fillSystem fits k·Q² through the flows and static pressures read together since the
// filter was last cleaned.
func (s *SetupAirflow) fillSystem(c Collector, gauges []Gauge) {
	var points []SystemPoint
	for _, g := range gauges {
		if g.Kind != StaticGauge || g.At.Before(s.Filter.Since) || g.Pressures[0] == 0 {
			continue
		}
		f := s.nearest(g.At, together)
		if f == nil || !(f.Flow > 0) {
			continue
		}
		p, whole := s.systemPressure(c, g, gauges)
		if !whole {
			s.SystemWhy = words.Of("the blower pushes through the filter, whose drop was not read within 30 min of the static pressure")
			continue
		}
		points = append(points, SystemPoint{Flow: f.Flow, Static: p})
	}
	system, err := FitSystem(points)
	switch {
	case err == nil:
		s.System, s.SystemWhy = &system, words.Text{}
	case s.SystemWhy.IsZero():
		s.SystemWhy = words.Of("no flow and static pressure were read within 30 min of each other")
	}
}

// fillFan holds the blower's curve, in this air, against the system measured.
func (s *SetupAirflow) fillFan(c Collector) {
	f := FanCheck{}
	rated := c.ratedFlow()
	if s.Flow != nil && rated > 0 {
		f.Rated, f.OfRated = &rated, ptr(100*float64(s.Flow.Flow/rated))
	}
	curve, err := c.curve()
	if err == nil && curve != nil {
		curve, err = curve.Scaled(Ratio{Density: float64(s.Density / StandardDensity)})
	}
	switch {
	case err != nil:
		f.Answer = words.Of("cannot tell: %s", words.OfError(err))
	case curve == nil:
		f.Answer = words.Of("cannot tell: no fan curve in the record")
	case s.System == nil:
		f.Answer = words.Of("cannot tell: %s", s.SystemWhy)
	default:
		s.holdCurve(&f, curve)
	}
	if err == nil && curve != nil {
		f.Curve = curve.drawn()
	}
	if f.Rated != nil || curve != nil {
		s.Fan = &f
	}
}

// weakFan is the share of the curve's pressure below which something is said (our choice).
const weakFan = 0.85

// holdCurve takes the last point measured for the system as it stands: the filter
// loads, so that k rises.
func (s *SetupAirflow) holdCurve(f *FanCheck, curve *FanCurve) {
	last := s.System.Points[len(s.System.Points)-1]
	f.KNow = float64(last.Static) / (float64(last.Flow) * float64(last.Flow))
	op, err := curve.Operating(f.KNow)
	if err == nil {
		f.Operating = &op
	}
	at, err2 := curve.Static(last.Flow)
	if err2 != nil {
		f.Answer = words.Of("cannot tell: %s", words.OfError(errors.Join(err, err2)))
		return
	}
	f.AtFlow, f.Measured = &at, &last.Static
	f.Percent = ptr(100 * float64(last.Static/at))
	switch {
	case f.Percent == nil:
		f.Answer = words.Of("cannot tell: the curve gives no pressure at this flow")
	case last.Static < weakFan*at:
		f.Answer = words.Of("the blower makes %.0f %% of its curve's pressure at %s: a leak before the gauge, a wheel worn, caked or turning too slowly, or a curve that claims too much", *f.Percent, last.Flow)
	default:
		f.Answer = words.Of("the blower makes %.0f %% of its curve's pressure at %s", *f.Percent, last.Flow)
	}
	if f.Operating != nil && f.Operating.Unstable {
		f.Answer = words.Of("%s; the curve crosses the system more than once, so the flow may hunt", f.Answer)
	}
}

// Rules of thumb, marked as such.
var (
	fineDustFlow    = units.CFM(1000)
	claimShare      = 50.0 // percent
	filterFlowLimit = 150.0
)

func (s *SetupAirflow) fillHints(c Collector) {
	if s.Flow == nil {
		return
	}
	q := s.Flow.Flow
	if q < fineDustFlow {
		s.Hints = append(s.Hints, Hint{words.Of("%s at the hood is what is asked for to catch fine dust at a stationary machine; measured were %s", fineDustFlow, q), Unsourced})
	} else {
		s.Hints = append(s.Hints, Hint{words.Of("%s reach the %s that is asked for at the hood to catch fine dust; whether the hood uses them is another matter", q, fineDustFlow), Unsourced})
	}
	if s.Fan != nil && s.Fan.OfRated != nil {
		text := words.Of("%.0f %% of the rated flow is delivered", *s.Fan.OfRated)
		if *s.Fan.OfRated < claimShare {
			text = words.Of("%s; well under half is usual for small collectors with ducts and a used filter, whose claims are made without them", text)
		}
		s.Hints = append(s.Hints, Hint{text, Unsourced})
	}
	if s.FilterFlow != nil && *s.FilterFlow > filterFlowLimit {
		s.Hints = append(s.Hints, Hint{words.Of("%.0f m³/h go through each m² of filter, more than the %.0f that German practice allows for returned air", *s.FilterFlow, filterFlowLimit), "DGUV Information 209-044, read"})
	}
}

// caution lists what holds for every collector, and the stop lines that were reached.
func (r *Result) caution(collectors []Collector) {
	for _, s := range r.Setups {
		for _, m := range s.Motors {
			if m.Over {
				r.Stops = append(r.Stops, words.Of("%s: %s", orNone(s.Setup), m.Answer))
			}
		}
		if s.Filter.Answer == OverLimit {
			r.Stops = append(r.Stops, words.Of("%s: %s", orNone(s.Setup), s.Filter.Why))
		}
		for _, t := range s.Transport {
			if t.Answer == TooSlow {
				r.Warnings = append(r.Warnings, words.Of("%s, duct %s: %s is %s", orNone(s.Setup), orMain(t.Duct), t.Velocity, t.Why))
			}
		}
	}
	if slices.ContainsFunc(collectors, func(c Collector) bool { return c.Arrangement == Series && len(c.Blowers) > 1 }) {
		r.Stops = append(r.Stops, seriesStop())
	}
	r.Cautions = cautions()
}

func orNone(setup string) words.Text {
	if setup == "" {
		return words.Of("(no setup)")
	}
	return words.Literal(setup)
}

func orMain(duct string) words.Text {
	if duct == "" {
		return words.Of("main")
	}
	return words.Literal(duct)
}

// The stop line of blowers in series, and the cautions that always stand.
func seriesStop() words.Text {
	return words.Of("Blowers in series, restricted or not: their pressures add, so ducts, separator, bin and the second housing may see a pressure that none of them was built for, " +
		"and one blower can drive or overload the other's motor. What is worked out here is no permission: ask the makers, and an electrician for both motors and how they start.")
}

func cautions() []words.Text {
	return []words.Text{
		words.Of("Electricity: a current at or below the plate's says nothing about wiring, protection or duty. Never measure a current in an open box: ask an electrician."),
		words.Of("Dust deposits: look into ducts, hood and on the beams for deposits; what has settled can burn, and goes up at once when it is stirred. Do not blow it down."),
		words.Of("Static electricity: moving dust charges plastic ducts. Whether and how ducts are bonded is a matter for local code and an electrician; nothing here is a recipe."),
		words.Of("Combustible dust: wood dust in air can explode in ducts, separators, filters and bins. Protection, placing and returned air are matters for local code and licensed practice. Do not put an unrated sensor or gauge inside."),
		words.Of("Opening a filter or bin puts fine dust into the air: blower off, respirator on, nobody beside."),
	}
}
