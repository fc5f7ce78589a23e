package demo

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Collector describes the invented shop's dust collector, as tables of its
// configuration. Blower and maker's curve are invented, too.
const Collector = `
[collector."drop box"]
separator = "drop box"
open_gates = ["bench"]
room = "130 m3"
altitude = "200 m"
temperature = "18 °C"

[[collector."drop box".blower]]
rated_flow = "1500 cfm"
rated_current = "9 A"
curve = ["0 cfm at 10 in. w.g.", "800 cfm at 7.5 in. w.g.", "1200 cfm at 4 in. w.g.", "1500 cfm at 0 in. w.g."]

[collector."drop box".filter]
class = "M"
area = "9 m2"
pressure_limit = "900 Pa"
cleaned = ["2026-03-01", "2026-03-07"]

[[collector."drop box".duct]]
name = "main"
diameter = "6 in"
length = "5 m"

[collector."drop box".hood]
duct = "main"
width = "8 in"
height = "6 in"
distance = "8 in"

[collector."cyclone separator"]
like = "drop box"
separator = "cyclone"
`

// Gauge is what was read off the collector: kind and figures as
// `dustlog airflow add` takes them.
type Gauge struct {
	At                  time.Time
	Kind, Duct, Figures string
}

const (
	gaugesAfter = 25 * time.Minute // after the day's beginning: the first task is running
	ductArea    = math.Pi / 4 * 0.1524 * 0.1524
	airDensity  = 1.18 // kg/m³ at 200 m and 18 °C
)

// Gauges is the morning's round with the manometer. Chips in the drop box's
// overflow load the filter and cost flow; behind the cyclone it stays as it is, but
// the cyclone takes some pressure itself.
func (d Day) Gauges() []Gauge {
	r := d.shop.random(d.index, 9)
	worn := float64(d.index % (days / 2)) // days since the filter was cleaned
	flow, suction, drop, current := 1215-16*worn, 1500-8*worn, 430+38*worn, 7.9-0.05*worn
	if d.Setup == NewSetup {
		flow, suction, drop, current = 1180-2*worn, 1640-2*worn, 425+5*worn, 7.7-0.01*worn
	}
	near := func(x, sd float64) float64 { return x * (1 + sd*r.NormFloat64()) }
	mean := near(flow, 0.01) / 3600 / ductArea
	var points []string
	for range 2 { // two diameters, six points: slower near the wall
		for _, share := range []float64{0.90, 1.02, 1.08, 1.08, 1.02, 0.90} {
			v := mean * near(share, 0.015)
			points = append(points, fmt.Sprintf("%.0f", airDensity/2*v*v))
		}
	}
	at := d.Start.Add(gaugesAfter)
	return []Gauge{
		{at, "velocity-pressure", "main", strings.Join(points, " ") + " Pa"},
		{at.Add(5 * time.Minute), "static-pressure", "", fmt.Sprintf("-%.0f Pa", near(suction, 0.01))},
		{at.Add(6 * time.Minute), "filter-drop", "", fmt.Sprintf("%.0f Pa", near(drop, 0.01))},
		{at.Add(8 * time.Minute), "current", "", fmt.Sprintf("%.1f A", near(current, 0.005))},
	}
}
