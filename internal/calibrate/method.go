package calibrate

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"dustlog/internal/exposure"
)

// Method is a published way to catch dust on a filter and weigh it.
type Method struct {
	ID       string            `json:"method"`
	Fraction exposure.Fraction `json:"fraction"`
	// Cyclones are the flows, L/min, at which its cyclones cut as they should; nil
	// for a sampler without.
	Cyclones []float64 `json:"-"`
	// FlowMin and FlowMax bound the flow of a sampler without a cyclone; 0: none.
	FlowMin, FlowMax float64 `json:"-"`
	// VolumeMin and VolumeMax in L; 0: none. VolumeMaxAt is the concentration,
	// mg/m³, for which VolumeMax holds; 0: any.
	VolumeMin, VolumeMax, VolumeMaxAt float64 `json:"-"`
	// MassMin and MassMax bound the working range, mg on the filter; 0: none.
	MassMin, MassMax float64 `json:"-"`
	DetectionLimit   float64 `json:"-"` // mg on the filter
	LeastBlanks      int     `json:"-"` // field blanks
	Source           string  `json:"source"`
}

// methods as published on the first page of each. The detection limit of 0500 is
// from memory; the rest was read there.
var methods = []Method{
	{ID: "0500", Fraction: exposure.TotalFraction, FlowMin: 1, FlowMax: 2, VolumeMin: 7, VolumeMax: 133, VolumeMaxAt: 15,
		MassMin: 0.1, MassMax: 2, DetectionLimit: 0.03, LeastBlanks: 2, Source: "NIOSH 0500, issue 2, 1994"},
	{ID: "0501", Fraction: exposure.TotalFraction, FlowMin: 1, FlowMax: 2, VolumeMin: 17, VolumeMax: 333, VolumeMaxAt: 15,
		MassMin: 0.25, MassMax: 5, DetectionLimit: 0.075, LeastBlanks: 2, Source: "NIOSH 0501, issue 1, 2015"},
	{ID: "0600", Fraction: exposure.RespirableFraction, Cyclones: []float64{1.7, 2.2, 2.5}, VolumeMin: 20, VolumeMax: 400,
		MassMin: 0.1, MassMax: 2, DetectionLimit: 0.03, LeastBlanks: 2, Source: "NIOSH 0600, issue 3, 1998"},
}

// OtherMethod is a method that is not listed, such as one with an inhalable
// sampler: its fraction and detection limit (mg on the filter) come from the
// laboratory, its volume from the mean flow.
func OtherMethod(fraction exposure.Fraction, lod float64) (Method, error) {
	if fraction == "" || fraction == exposure.NotStatedFraction {
		return Method{}, fmt.Errorf("another method needs the fraction that its sampler catches: a factor without fraction can be used for no limit")
	}
	if !(lod > 0) || !finite(lod) {
		return Method{}, fmt.Errorf("another method needs the laboratory's detection limit in mg on the filter, above zero")
	}
	return Method{ID: "other", Fraction: fraction, DetectionLimit: lod, LeastBlanks: 2, Source: "another method, as given"}, nil
}

// FindMethod finds a listed method by its number.
func FindMethod(id string) (Method, error) {
	name := strings.TrimPrefix(strings.ToLower(strings.TrimSpace(id)), "niosh")
	name = strings.TrimSpace(name)
	var known []string
	for _, m := range methods {
		if m.ID == name {
			return m, nil
		}
		known = append(known, m.ID)
	}
	return Method{}, fmt.Errorf("unknown method %q: use one of %s, or \"other\" with a fraction and a detection limit", id, strings.Join(known, ", "))
}

// cyclone is the nominal flow nearest to a measured one.
func (m Method) cyclone(flow float64) float64 {
	best := m.Cyclones[0]
	for _, nominal := range m.Cyclones {
		if math.Abs(nominal-flow) < math.Abs(best-flow) {
			best = nominal
		}
	}
	return best
}

// litresPerCubicFoot: 1 ft = 0.3048 m exactly (international foot, 1959).
const litresPerCubicFoot = 0.3048 * 0.3048 * 0.3048 * 1000

// ParseFlow reads a flow: a number in L/min, or with "L/min", "mL/min" or "cfm"
// (cubic feet per minute) after it. The result is in L/min.
func ParseFlow(s string) (float64, error) {
	text := strings.ToLower(strings.ReplaceAll(s, " ", ""))
	unit := 1.0
	for _, u := range []struct {
		suffix string
		litres float64
	}{{"ml/min", 0.001}, {"l/min", 1}, {"lpm", 1}, {"cfm", litresPerCubicFoot}, {"ft3/min", litresPerCubicFoot}} {
		if number, ok := strings.CutSuffix(text, u.suffix); ok {
			text, unit = number, u.litres
			break
		}
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !finite(x) || x <= 0 {
		return 0, fmt.Errorf("flow %q: write it as in \"2.2\" (L/min) or \"0.078 cfm\"", s)
	}
	return x * unit, nil
}

// LitresToCFM turns a flow in L/min into cubic feet per minute.
func LitresToCFM(litresPerMinute float64) float64 { return litresPerMinute / litresPerCubicFoot }

// Fahrenheit turns °C into °F.
func Fahrenheit(celsius float64) float64 { return celsius*9/5 + 32 }
