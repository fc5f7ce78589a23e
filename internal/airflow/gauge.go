package airflow

import (
	"fmt"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// GaugeKind is what was read off on the collector.
type GaugeKind string

// The kinds, as they are written in the diary.
const (
	VelocityGauge         GaugeKind = "velocity"
	VelocityPressureGauge GaugeKind = "velocity-pressure"
	FlowGauge             GaugeKind = "flow"
	StaticGauge           GaugeKind = "static-pressure"
	HoodGauge             GaugeKind = "hood-static-pressure"
	FilterGauge           GaugeKind = "filter-drop"
	CurrentGauge          GaugeKind = "current"
)

// GaugeKinds lists them with what they mean and how their figures are written.
var GaugeKinds = []struct {
	Kind           GaugeKind
	Meaning, Write string
}{
	{VelocityGauge, "velocity in a duct, at one point or along a traverse", `"18.2 19.5 20.1 m/s" or "3900 fpm"`},
	{VelocityPressureGauge, "velocity pressure in a duct, at one point or along a traverse", `"0.52 0.61 0.44 in. w.g." or "210 Pa"`},
	{FlowGauge, "flow through a duct, as an instrument gives it", `"850 m3/h" or "500 cfm"`},
	{StaticGauge, "static pressure at the blower's inlet", `"-4.2 in. w.g." or "-1050 Pa"`},
	{HoodGauge, "static pressure behind the hood, in the duct", `"-1.2 in. w.g."`},
	{FilterGauge, "pressure drop over the filter", `"450 Pa" or "1.8 in. w.g."`},
	{CurrentGauge, "current of the blower's motor", `"8.5 A"`},
}

// Text says what kind of reading it is.
func (k GaugeKind) Text() words.Text {
	switch k {
	case VelocityGauge:
		return words.Of("velocity")
	case VelocityPressureGauge:
		return words.Of("velocity-pressure")
	case FlowGauge:
		return words.Of("flow")
	case StaticGauge:
		return words.Of("static-pressure")
	case HoodGauge:
		return words.Of("hood-static-pressure")
	case FilterGauge:
		return words.Of("filter-drop")
	case CurrentGauge:
		return words.Of("current")
	}
	return words.Literal(string(k))
}

// Gauge is one reading off the collector.
type Gauge struct {
	At    time.Time `json:"at"`
	Kind  GaugeKind `json:"kind"`
	Place string    `json:"place"` // which duct, of a current which blower; "" where the record leaves no choice

	Velocities []units.Velocity `json:"velocities,omitempty"`
	Pressures  []units.Pressure `json:"pressures,omitempty"`
	Flow       *units.Flow      `json:"flow,omitempty"`
	Current    *units.Current   `json:"current_a,omitempty"`
}

// ParseGauge reads figures of a kind, the duct before a colon if it is told, as in
// "main: 0.52 0.61 0.44 in. w.g.". The error wraps dust.ErrEntry.
func ParseGauge(kind GaugeKind, text string) (Gauge, error) {
	g := Gauge{Kind: kind}
	figures := text
	if place, rest, ok := strings.Cut(text, ":"); ok {
		g.Place, figures = strings.TrimSpace(place), rest
	}
	figures = strings.TrimSpace(figures)
	var err error
	switch kind {
	case VelocityGauge:
		g.Velocities, err = units.ParseVelocities(figures)
	case VelocityPressureGauge:
		g.Pressures, err = units.ParsePressures(figures)
	case StaticGauge, HoodGauge, FilterGauge:
		var p units.Pressure
		p, err = units.ParsePressure(figures)
		g.Pressures = []units.Pressure{p}
	case FlowGauge:
		var q units.Flow
		q, err = units.ParseFlow(figures)
		g.Flow = &q
	case CurrentGauge:
		var c units.Current
		c, err = units.ParseCurrent(figures)
		g.Current = &c
	default:
		var known []string
		for _, k := range GaugeKinds {
			known = append(known, string(k.Kind))
		}
		return g, fmt.Errorf("%w: a collector has no %q: there are %s", dust.ErrEntry, kind, strings.Join(known, ", "))
	}
	if err != nil {
		return g, fmt.Errorf("%w: %w", dust.ErrEntry, err)
	}
	if err := g.plausible(); err != nil {
		return g, err
	}
	if kind == FilterGauge && g.Pressures[0] < 0 {
		return g, fmt.Errorf("%w: a filter's pressure drop is told without a sign, and %s is below zero", dust.ErrEntry, g.Pressures[0])
	}
	return g, nil
}

// The most that any dust collector shows: beyond it the unit is wrong.
const (
	mostVelocity = units.Velocity(150)
	mostPressure = units.Pressure(90e3)
	mostFlow     = units.Flow(100)
	mostCurrent  = units.Current(1000)
)

func (g Gauge) plausible() error {
	beyond := func(x, most fmt.Stringer) error {
		return fmt.Errorf("%w: %s is more than any dust collector has (%s): check the unit", dust.ErrEntry, x, most)
	}
	for _, v := range g.Velocities {
		if v > mostVelocity {
			return beyond(v, mostVelocity)
		}
	}
	for _, p := range g.Pressures {
		if p > mostPressure || p < -mostPressure {
			return beyond(p, mostPressure)
		}
	}
	switch {
	case g.Flow != nil && *g.Flow > mostFlow:
		return beyond(*g.Flow, mostFlow)
	case g.Current != nil && *g.Current > mostCurrent:
		return beyond(*g.Current, mostCurrent)
	}
	return nil
}

// GaugeEntry is the diary's entry of a reading; place may be "". The error wraps
// dust.ErrEntry.
func GaugeEntry(id string, at time.Time, kind GaugeKind, place, figures string) (dust.Entry, error) {
	text := strings.TrimSpace(figures)
	if place = strings.TrimSpace(place); place != "" {
		text = place + ": " + text
	}
	if _, err := ParseGauge(kind, text); err != nil {
		return dust.Entry{}, err
	}
	e := dust.Entry{ID: id, Kind: dust.GaugeEntry, At: at, Name: string(kind), Text: text}
	return e, e.Check()
}

// GaugeOf reads an entry of the diary. The error wraps dust.ErrEntry.
func GaugeOf(e dust.Entry) (Gauge, error) {
	if e.Kind != dust.GaugeEntry {
		return Gauge{}, fmt.Errorf("%w: %q is no reading off the collector", dust.ErrEntry, e.Kind)
	}
	g, err := ParseGauge(GaugeKind(e.Name), e.Text)
	g.At = e.At
	return g, err
}

// String says it in words, as in "static-pressure -1046 Pa (-4.20 in. w.g.)".
func (g Gauge) String() string {
	var figures []string
	for _, v := range g.Velocities {
		figures = append(figures, v.String())
	}
	for _, p := range g.Pressures {
		figures = append(figures, p.String())
	}
	if g.Flow != nil {
		figures = append(figures, g.Flow.String())
	}
	if g.Current != nil {
		figures = append(figures, g.Current.String())
	}
	text := strings.Join(figures, ", ")
	if n := len(figures); n > 3 {
		text = fmt.Sprintf("%d points, %s … %s", n, figures[0], figures[n-1])
	}
	if g.Place != "" {
		where := "in duct "
		if g.Kind == CurrentGauge {
			where = "of blower "
		}
		text = where + g.Place + ": " + text
	}
	return string(g.Kind) + " " + text
}
