package web

import (
	"cmp"
	"net/url"
	"slices"
	"strings"
	"time"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
)

// gaugeChoice is something that can be read off on the dust collector.
type gaugeChoice struct {
	Kind, Words string
	Chosen      bool // what was read off last
}

// gaugeWords names what is read off, short enough for a telephone.
var gaugeWords = map[airflow.GaugeKind]string{
	airflow.FlowGauge:             "airflow through a duct",
	airflow.VelocityGauge:         "air velocity in a duct",
	airflow.VelocityPressureGauge: "velocity pressure in a duct",
	airflow.StaticGauge:           "static pressure at the blower",
	airflow.HoodGauge:             "static pressure behind the hood",
	airflow.FilterGauge:           "pressure drop over the filter",
	airflow.CurrentGauge:          "motor current",
}

// gaugeChoices lists what can be read off. What was read off last is proposed.
func gaugeChoices(entries []dust.Entered) (out []gaugeChoice) {
	last := airflow.FlowGauge
	for _, e := range entries {
		if e.Kind == dust.GaugeEntry && e.Stands() {
			last = airflow.GaugeKind(e.Name)
		}
	}
	for _, k := range airflow.GaugeKinds {
		out = append(out, gaugeChoice{string(k.Kind), cmp.Or(gaugeWords[k.Kind], k.Meaning), k.Kind == last})
	}
	slices.SortStableFunc(out, func(a, b gaugeChoice) int { return cmp.Compare(a.Words, b.Words) })
	return out
}

// readGauge makes the entry of a reading off the collector.
func readGauge(f url.Values, id string, at time.Time) (dust.Entry, error) {
	return airflow.GaugeEntry(id, at, airflow.GaugeKind(f.Get("gauge")), f.Get("duct"), f.Get("figures"))
}

// gaugeEntryWords says what was read off, in both systems of units.
func gaugeEntryWords(e dust.Entry) string {
	g, err := airflow.GaugeOf(e)
	if err != nil {
		return e.Name + ": " + e.Text // from a newer program
	}
	return cmp.Or(gaugeWords[g.Kind], string(g.Kind)) + ": " + strings.TrimPrefix(g.String(), string(g.Kind)+" ")
}
