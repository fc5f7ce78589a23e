package plots

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// madeUpCollector is an invented collector under two setups: a filter that loads
// quickly, then one that hardly does.
func madeUpCollector() airflow.Result {
	monday := time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)
	in := airflow.Input{Setups: []dust.SetupPeriod{{Setup: "drop box", From: monday.Add(-time.Hour)}, {Setup: "cyclone", From: monday.AddDate(0, 0, 7)}}}
	for _, setup := range []string{"drop box", "cyclone"} {
		in.Collectors = append(in.Collectors, airflow.Collector{
			Setup: setup, Ducts: []airflow.DuctRecord{{Name: "main", Diameter: units.Inches(6)}}, Filter: airflow.FilterRecord{Limit: 900, Area: 9},
			Blowers: []airflow.Blower{{RatedFlow: units.CFM(1500), Curve: []airflow.FanPoint{{Flow: 0, Static: 2500}, {Flow: units.CFM(800), Static: 1900}, {Flow: units.CFM(1200), Static: 1000}, {Flow: units.CFM(1500), Static: 0}}}},
		})
	}
	for i := range 10 {
		day, rise, wobble := monday.AddDate(0, 0, i+i/5*2), 40.0, 1+0.05*math.Sin(float64(5*i))
		if i >= 5 {
			rise = 4
		}
		enter := func(kind, figures string, after time.Duration) {
			in.Entries = append(in.Entries, dust.Entered{Entry: dust.Entry{ID: fmt.Sprint(i, kind), Kind: dust.GaugeEntry, At: day.Add(after), Name: kind, Text: figures}})
		}
		enter("flow", fmt.Sprintf("%.0f m3/h", 1200*wobble), 0)
		enter("static-pressure", fmt.Sprintf("%.0f Pa", 1750*wobble), time.Minute)
		enter("filter-drop", fmt.Sprintf("%.0f Pa", (430+rise*float64(i%5))*wobble), 2*time.Minute)
		in.Sessions = append(in.Sessions, airflow.SessionDust{Start: day, Setup: []string{"drop box", "cyclone"}[i/5], Dust: []float64{1, 0.4}[i/5] * math.Exp(-4*(wobble-1)+0.1*math.Cos(float64(3*i)))})
	}
	r, err := airflow.Analyse(in)
	if err != nil {
		panic(err)
	}
	return r
}

// collectorPictures are those of a collector, the usual one and every extreme.
func collectorPictures() (list []picture) {
	add := func(name string, r airflow.Result) {
		if setups := withSystem(r); len(setups) > 0 {
			list = append(list, picture{"blower/" + name, func(o Options) (*figure, error) { return drawFanAndSystem(r, setups, o), nil }})
		}
		if setups := withDrops(r); len(setups) > 0 {
			list = append(list, picture{"filter drop/" + name, func(o Options) (*figure, error) { return drawFilterDrop(r, setups, o), nil }})
		}
		if len(r.Dust.Points) > 0 {
			list = append(list, picture{"dust on flow/" + name, func(o Options) (*figure, error) { return drawDustOnFlow(r, o), nil }})
		}
	}
	add("usual", madeUpCollector())

	lone := madeUpCollector()
	for i := range lone.Setups {
		s := &lone.Setups[i]
		s.Setup, s.System, s.SystemWhy = longName, nil, words.Literal(longName)
		s.Filter.Readings, s.Filter.Trend, s.Filter.Limit, s.Filter.Why = s.Filter.Readings[:1], nil, nil, words.Literal(longName)
	}
	lone.Dust.Points, lone.Dust.Lines, lone.Dust.Why, lone.Dust.Setups = lone.Dust.Points[:1], nil, words.Literal(longName), []string{longName, longName + "2"}
	lone.Dust.Points[0].Setup = longName
	add("lone", lone)

	wild := madeUpCollector()
	for i := range wild.Setups {
		s := &wild.Setups[i]
		s.Fan = nil
		s.System.Points = []airflow.SystemPoint{{Flow: units.M3H(1e-3), Static: 1e-3}, {Flow: units.M3H(1e6), Static: 1e5}}
		s.System.K = 1e-3
		s.Filter.Reference = ptrTo(units.M3H(1200))
		s.Filter.Readings[0].AtReference, s.Filter.Readings[0].Drop = nil, 1e5
		s.Filter.Readings[1].At = s.Filter.Readings[1].At.AddDate(3, 0, 0)
	}
	for i := range wild.Dust.Points {
		wild.Dust.Points[i].Dust = math.Pow(10, float64(6*i-20))
	}
	wild.Dust.Points[0].Dust = 0
	wild.Dust.Lines[0].Start = math.Inf(1)
	add("wild", wild)
	return list
}

func ptrTo[T any](x T) *T { return &x }

func TestCollectorInWordsAndRows(t *testing.T) {
	r := madeUpCollector()
	require.Contains(t, AltTextFanAndSystem(r, Options{}), "Drop box: Measured last: ")
	require.Contains(t, AltTextFilterDrop(r, Options{}), "Drop box: 5 readings, from ")
	require.Contains(t, AltTextFilterDrop(r, Options{}), "about 1")
	require.Contains(t, AltTextDustOnFlow(r, Options{}), "Fine dust of 10 sessions against the flow measured beside them, under 2 setups.")

	require.Equal(t, []string{"cyclone", "drop box"}, r.Dust.Setups)
	require.Equal(t, []string{"drop box", "cyclone"}, inOrderOfUse(r), "the first used has the first mark")

	var b bytes.Buffer
	require.NoError(t, CSVFanAndSystem(&b, r))
	require.Equal(t, 10, strings.Count(b.String(), "measured,"), "each point")
	require.Contains(t, b.String(), "fan_curve,drop box,0,2500,")
	b.Reset()
	require.NoError(t, CSVFilterDrop(&b, r))
	require.Equal(t, 10, strings.Count(b.String(), "reading,"))
	require.Equal(t, 2+2, strings.Count(b.String(), "trend,"))
	b.Reset()
	require.NoError(t, CSVDustOnFlow(&b, r))
	require.Equal(t, 10, strings.Count(b.String(), "point,"))
	require.Equal(t, 4, strings.Count(b.String(), "line,"))
}
