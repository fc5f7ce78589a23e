package airflow

import (
	"cmp"
	"slices"

	"dustlog/internal/dust"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// The order of suggestions: what must stop, what has a figure, what has none, what to
// measure first.
const (
	stopClass = iota
	figureClass
	plainClass
	measureClass
)

// rank lists what would help under the setup in use last.
func (r *Result) rank(periods []dust.SetupPeriod) {
	s := r.inUse(periods)
	if s == nil {
		return
	}
	r.RankedIn = s.Setup
	var list []Suggestion
	add := func(x *Suggestion) {
		if x != nil {
			list = append(list, *x)
		}
	}
	add(s.suggestMotor())
	add(s.suggestFilter())
	add(s.suggestNearer())
	add(s.suggestFlange())
	for _, t := range s.Transport {
		add(suggestTransport(t))
	}
	add(r.suggestFlow())
	add(s.suggestClaim())
	add(s.suggestMeasuring())
	slices.SortStableFunc(list, func(a, b Suggestion) int {
		return cmp.Or(cmp.Compare(a.class, b.class), -cmp.Compare(gain(a), gain(b)))
	})
	r.Ranked = append([]Suggestion{}, list...)
}

func gain(s Suggestion) float64 {
	if s.Gain == nil {
		return 0
	}
	return *s.Gain
}

// inUse is the setup in use last that anything is known of.
func (r *Result) inUse(periods []dust.SetupPeriod) *SetupAirflow {
	for _, p := range slices.Backward(periods) {
		for i := range r.Setups {
			if s := &r.Setups[i]; s.Setup == p.Setup && (s.Readings > 0 || s.Record != nil) {
				return s
			}
		}
	}
	if len(r.Setups) > 0 {
		return &r.Setups[len(r.Setups)-1]
	}
	return nil
}

func (s *SetupAirflow) suggestMotor() *Suggestion {
	for _, m := range s.Motors {
		if m.Over {
			return &Suggestion{What: words.Of("switch the blower off and have the motor looked at"), Why: m.Answer, HowSure: Measured, class: stopClass}
		}
	}
	return nil
}

// suggestFilter works out the flow with the filter's drop back at the lowest seen.
func (s *SetupAirflow) suggestFilter() *Suggestion {
	l := s.Filter
	if l.Answer != Rising && l.Answer != OverLimit || l.Latest == nil {
		return nil
	}
	x := &Suggestion{What: words.Of("clean or change the filter"), Why: l.Why, HowSure: NotKnown, class: plainClass}
	if l.Answer == OverLimit {
		x.class = stopClass
	}
	lowest := *l.Latest
	for _, d := range l.Readings {
		if d.AtReference != nil {
			lowest = min(lowest, *d.AtReference)
		}
	}
	if s.Fan == nil || s.Fan.Operating == nil || l.Reference == nil || s.Record == nil {
		return x
	}
	curve, err := s.Record.curve()
	if err != nil || curve == nil {
		return x
	}
	if curve, err = curve.Scaled(Ratio{Density: float64(s.Density / StandardDensity)}); err != nil {
		return x
	}
	q := float64(*l.Reference)
	op, err := curve.Operating(s.Fan.KNow - float64(*l.Latest-lowest)/(q*q))
	if err != nil {
		return x
	}
	x.Gain, x.GainOf, x.HowSure = ptr(100*(float64(op.Flow/s.Fan.Operating.Flow)-1)), words.Of("more flow"), ByCurve
	x.Why = words.Of("%s; with the drop of the cleanest reading, %s, the fan curve gives %s in place of %s", x.Why, lowest, op.Flow, s.Fan.Operating.Flow)
	if x.class != stopClass && *x.Gain >= 1 { // for less no filter need be opened
		x.class = figureClass
	}
	return x
}

// hood is the hood that a capture velocity was worked out for.
func (s *SetupAirflow) hood() (Hood, bool) {
	if s.Capture == nil || s.Record == nil || s.Record.Hood == nil {
		return Hood{}, false
	}
	face, err := s.Record.Hood.Face()
	return Hood{Face: face, Distance: s.Capture.Distance, Flanged: s.Capture.Flanged}, err == nil
}

// suggestNearer tells what half the distance would do.
func (s *SetupAirflow) suggestNearer() *Suggestion {
	h, ok := s.hood()
	if !ok || h.Distance == 0 {
		return nil
	}
	near := h
	near.Distance /= 2
	return &Suggestion{What: words.Of("bring the hood to %s from where the dust is made, half of now, as far as guards and the work allow", near.Distance),
		Why:  words.Of("the velocity in front of an opening falls almost with the square of the distance"),
		Gain: ptr(100 * (h.reach()/near.reach() - 1)), GainOf: words.Of("more velocity where the dust is made, at the same flow"), HowSure: ByFormula, class: figureClass}
}

func (s *SetupAirflow) suggestFlange() *Suggestion {
	h, ok := s.hood()
	if !ok || h.Flanged || h.Distance == 0 {
		return nil
	}
	return &Suggestion{What: words.Of("put a flange around the hood's opening"), Why: words.Of("a plain opening also draws air from behind"),
		Gain: ptr(100 * (1/flangeGain - 1)), GainOf: words.Of("more velocity where the dust is made, at the same flow"), HowSure: ByFormula, class: figureClass}
}

func suggestTransport(t TransportCheck) *Suggestion {
	const slight = 1.03 // what no gauge tells apart
	if t.Answer != TooSlow && t.Answer != Slow || !(t.Velocity > 0) || units.FPM(4000) < slight*t.Velocity {
		return nil
	}
	return &Suggestion{What: words.Of("more air through duct %s: close other gates, shorten hoses, or a duct of smaller diameter if the blower can bear it", orMain(t.Duct)),
		Why:  words.Of("%s, %s; it takes %s through this duct", t.Velocity, t.Why, t.Needed),
		Gain: ptr(100 * (units.FPM(4000).FPM()/t.Velocity.FPM() - 1)), GainOf: words.Of("more flow needed for 4000 fpm"), HowSure: Measured, class: plainClass}
}

// suggestFlow says what more flow did for the dust, if that could be told.
func (r *Result) suggestFlow() *Suggestion {
	if r.Dust.Answer != LessDust {
		return nil
	}
	return &Suggestion{What: words.Of("more flow"), Why: words.Of("fine dust was %.0f %% lower for each %s more (95 %% interval %.0f to %.0f %%), %s", -*r.Dust.Percent, words.Number(r.Dust.Step.US()), -*r.Dust.High, -*r.Dust.Low, r.Dust.Why),
		Gain: ptr(-*r.Dust.Percent), GainOf: words.Of("less fine dust for each 100 cfm more"), HowSure: MeasuredOnly, class: figureClass}
}

func (s *SetupAirflow) suggestClaim() *Suggestion {
	if s.Fan == nil || s.Fan.OfRated == nil || *s.Fan.OfRated >= claimShare {
		return nil
	}
	return &Suggestion{What: words.Of("look for what takes the pressure: long or narrow hose, small ducts, sharp bends, separator, filter, leaks"),
		Why: words.Of("%.0f %% of the rated flow is delivered", *s.Fan.OfRated), HowSure: Unsourced, class: plainClass}
}

// suggestMeasuring names what to measure before anything else can be said.
func (s *SetupAirflow) suggestMeasuring() *Suggestion {
	var lacks []words.Text
	add := func(yes bool, what words.Text) {
		if yes {
			lacks = append(lacks, what)
		}
	}
	add(s.Flow == nil, words.Of("the flow, by a traverse of the first duct"))
	add(s.Flow != nil && s.Flow.Traverse != nil && (s.Flow.Traverse.Points < fewPoints || s.Flow.Traverse.Uneven), words.Of("a whole traverse in a straighter place"))
	add(s.Static == nil, words.Of("the static pressure at the blower's inlet, within 30 min of a flow"))
	add(len(s.Filter.Readings) < fewestDrops, words.Of("the filter's pressure drop, now and then"))
	add(len(s.Motors) == 0, words.Of("the motor's current, by an electrician or a built-in meter"))
	if len(lacks) == 0 {
		return nil
	}
	return &Suggestion{What: words.Of("measure %s", words.Join("; ", lacks...)), Why: words.Of("without it the rest cannot be told or is a guess"), HowSure: NotKnown, class: measureClass}
}
