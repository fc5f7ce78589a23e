package report

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
)

// airflowPart is what the dust collector moves, beside the dust.
func airflowPart(in Input) (part, error) {
	p := part{ID: "airflow", Title: "What the dust collector moves"}
	r := in.Airflow
	if r == nil {
		p.Intro = []string{"Not told: readings off the collector are in the shop's own store only, not in a server's copy."}
		return p, nil
	}
	for _, stop := range r.Stops {
		p.Intro = append(p.Intro, "STOP: "+stop+".")
	}
	if !collectorKnown(*r) {
		p.Intro = append(p.Intro, "Nothing was read off the collector and none is described, so the dust above cannot be explained by it. Describe it under [collector.\"SETUP\"] in the configuration "+
			"and enter what gauges show with `dustlog airflow add`.")
		return p, nil
	}
	p.Intro = append(p.Intro, "Flow, pressure and current explain a level of dust, and say what to change next. They are no measure of what is breathed.")
	if len(r.Ranked) > 0 {
		p.Tables = append(p.Tables, rankedTable(*r))
	}
	for _, s := range r.Setups {
		if s.Readings > 0 || s.Record != nil {
			p.Tables = append(p.Tables, collectorTable(s, in.Zone))
			p.Notes = append(p.Notes, collectorNotes(s, in.Zone)...)
		}
	}
	p.Tables = append(p.Tables, dustOnFlowTable(r.Dust))
	for _, l := range r.LeftOut {
		p.Notes = append(p.Notes, fmt.Sprintf("Left out: %s %s: %s.", l.At.In(in.Zone).Format("2006-01-02 15:04"), l.What, l.Why))
	}
	p.Notes = append(p.Notes, sentences(r.Warnings)...)
	p.Notes = append(p.Notes, r.Cautions...) // whole sentences
	p.Gloss = r.Method
	var err error
	p.Figures, err = collectorFigures(*r, in.Zone)
	return p, err
}

// collectorFigures draws what there is to draw.
func collectorFigures(r airflow.Result, zone *time.Location) (figures []figure, err error) {
	for _, x := range []struct {
		f     figure
		paint func(io.Writer, airflow.Result, plots.Options) error
	}{
		{figure{ID: "blower", Title: "What the blower makes and what the ducts take", Alt: plots.AltTextFanAndSystem(r),
			Caption: "Where the curves meet the collector works. A fuller filter or a longer hose makes the dotted curve steeper, and the flow less."}, plots.FanAndSystem},
		{figure{ID: "filter-drop", Title: "Pressure drop over the filter since it was cleaned", Alt: plots.AltTextFilterDrop(r),
			Caption: "A filter that loads takes flow from the hood."}, plots.FilterDrop},
		{figure{ID: "dust-on-flow", Title: "Fine dust against flow", Alt: plots.AltTextDustOnFlow(r),
			Caption: "More flow is not yet less dust: the interval says whether these sessions show it."}, plots.DustOnFlow},
	} {
		f, err := draw(x.f, zone, func(w io.Writer, o plots.Options) error { return x.paint(w, r, o) })
		switch {
		case errors.Is(err, dust.ErrNoReadings): // nothing of the kind was read
		case err != nil:
			return nil, err
		default:
			figures = append(figures, f)
		}
	}
	return figures, nil
}

// collectorKnown reports whether there is anything to tell.
func collectorKnown(r airflow.Result) bool {
	for _, s := range r.Setups {
		if s.Readings > 0 || s.Record != nil {
			return true
		}
	}
	return false
}

func airflowID(setup, what string) string { return "airflow/" + orNotDeclared(setup) + "/" + what }

// quantity is a number read off the collector, or worked out from one. Table and
// explanation are made from the same list.
type quantity struct {
	key, label     string
	value          float64 // in unit
	unit           string
	si, us, remark string
	formula        string
	inputs         []exposure.Given
}

// collectorQuantities lists what is known under a setup.
func collectorQuantities(s airflow.SetupAirflow, zone *time.Location) (list []quantity) {
	stamp := func(t time.Time) string { return t.In(zone).Format("2006-01-02 15:04") }
	add := func(q quantity) { list = append(list, q) }
	if f := s.Flow; f != nil {
		remark := stamp(f.At) + ", by " + string(f.From)
		if f.Low != nil && f.High != nil {
			remark += fmt.Sprintf("; %s to %s by the spread of the points", f.Low.SI(), f.High.SI())
		}
		q := quantity{key: "flow", label: "flow, " + ductName(f.Duct), value: f.Flow.M3H(), unit: "m³/h", si: f.Flow.SI(), us: f.Flow.US(), remark: remark,
			formula: "Q = V·A; V = √(2·VP/ρ) where a pitot tube was read"}
		if f.Velocity != nil {
			q.inputs = append(q.inputs, given("velocity, m/s", of64(float64(*f.Velocity)), "m/s"))
		}
		add(q)
	}
	for _, c := range s.Transport {
		add(quantity{key: "velocity/" + ductName(c.Duct), label: "velocity, " + ductName(c.Duct), value: float64(c.Velocity), unit: "m/s", si: c.Velocity.SI(), us: c.Velocity.US(),
			remark: fmt.Sprintf("%s: %s; 4000 fpm take %s", c.Answer, c.Why, c.Needed), formula: "V = Q/A"})
	}
	if x := s.Static; x != nil {
		add(quantity{key: "static_pressure", label: "static pressure", value: float64(x.Pressure), unit: "Pa", si: x.Pressure.SI(), us: x.Pressure.US(), remark: stamp(x.At), formula: "as read, the latest"})
	}
	if x := s.Filter.Latest; x != nil {
		remark := s.Filter.Answer
		if s.Filter.Reference != nil {
			remark += ", brought to " + s.Filter.Reference.SI()
		}
		add(quantity{key: "filter_drop", label: "filter's pressure drop", value: float64(*x), unit: "Pa", si: x.SI(), us: x.US(), remark: remark, formula: "the latest reading, times reference flow over its flow"})
	}
	if s.FilterFlow != nil {
		add(quantity{key: "filter_flow", label: "through the filter", value: *s.FilterFlow, unit: "m³/(m²·h)", si: fmt.Sprintf("%.0f m³/(m²·h)", *s.FilterFlow), us: "", formula: "latest flow / area of the filter"})
	}
	if c := s.Capture; c != nil && c.Velocity != nil {
		add(quantity{key: "capture_velocity", label: "in front of the hood", value: float64(*c.Velocity), unit: "m/s", si: c.Velocity.SI(), us: c.Velocity.US(), remark: c.Answer,
			formula: "V = Q/(10·x² + A), with a flange over 0.75"})
	}
	for _, m := range s.Motors {
		add(quantity{key: strings.TrimSuffix("current/"+m.Blower, "/"), label: strings.TrimSpace("motor's current " + m.Blower), value: float64(m.Current), unit: "A", si: m.Current.String(),
			remark: stamp(m.At) + ": " + m.Answer, formula: "as read, the latest"})
	}
	if c := s.Changes; c != nil {
		add(quantity{key: "air_changes", label: "air changes by flow and room", value: c.PerHour, unit: "1/h", si: fmt.Sprintf("%.1f 1/h", c.PerHour), remark: c.Answer, formula: "Q / volume of the room",
			inputs: []exposure.Given{given("volume of the room", of64(float64(c.Room)), "m³"), given("clearance measured", c.Measured, "1/h")}})
	}
	if f := s.Fan; f != nil && f.Operating != nil {
		add(quantity{key: "operating_flow", label: "by the fan curve", value: f.Operating.Flow.M3H(), unit: "m³/h", si: f.Operating.Flow.SI() + " at " + f.Operating.Static.SI(), us: f.Operating.Flow.US() + " at " + f.Operating.Static.US(),
			remark: f.Answer, formula: "where the fan curve meets k·Q²", inputs: []exposure.Given{given("k of the system as it stands", of64(f.KNow), "Pa/(m³/s)²")}})
	}
	return list
}

func of64(x float64) *float64 { return &x }

func ductName(name string) string {
	if name == "" {
		return "main"
	}
	return name
}

func collectorTable(s airflow.SetupAirflow, zone *time.Location) grid {
	g := grid{Caption: fmt.Sprintf("Under “%s”: %d reading(s) off the collector", orNotDeclared(s.Setup), s.Readings), Columns: []gridColumn{
		texts("what", 1.8), numbers("SI", "value", 1.5), {Head: "US", Width: 1.5, Right: true}, texts("remark", 4.6)}}
	for _, q := range collectorQuantities(s, zone) {
		g.Rows = append(g.Rows, gridRow{airflowID(s.Setup, q.key), []string{q.label, q.si, q.us, q.remark}})
	}
	return g
}

// collectorNotes are the sentences about one setup that stand under the tables.
func collectorNotes(s airflow.SetupAirflow, zone *time.Location) (notes []string) {
	name := orNotDeclared(s.Setup)
	say := func(text string) { notes = append(notes, name+": "+strings.TrimSuffix(text, ".")+".") }
	if len(s.Filter.Readings) > 0 {
		text := fmt.Sprintf("filter: %s, %s", s.Filter.Answer, s.Filter.Why)
		if !s.Filter.ReachedAt.IsZero() {
			day := func(t time.Time) string { return t.In(zone).Format("2 January 2006") }
			text += fmt.Sprintf("; it reaches %s about %s (95 %%: %s to %s), if the work goes on alike", *s.Filter.Limit, day(s.Filter.ReachedAt), day(s.Filter.Earliest), day(s.Filter.LatestAt))
		}
		say(text)
	}
	if y := s.System; y != nil {
		text := fmt.Sprintf("ducts and filter together: ΔP = %.0f Pa/(m³/s)² · Q², from %d point(s)", y.K, len(y.Points))
		if y.Low != nil {
			text += fmt.Sprintf(", k %.0f to %.0f (95 %%)", *y.Low, *y.High)
		}
		if y.Note != "" {
			text += "; " + y.Note
		}
		say(text)
	}
	if s.Fan != nil && s.Fan.Operating == nil {
		say("blower: " + s.Fan.Answer)
	}
	for _, h := range s.Hints {
		say(fmt.Sprintf("hint (%s): %s", h.Source, h.Text))
	}
	if len(s.Missing) > 0 {
		say("not in the record: " + strings.Join(s.Missing, "; "))
	}
	return notes
}

func dustOnFlowTable(d airflow.DustOnFlow) grid {
	change, interval := "–", "–"
	if d.Percent != nil {
		change = fmt.Sprintf("%+.0f %%", *d.Percent)
	}
	if d.Low != nil && d.High != nil {
		interval = fmt.Sprintf("%+.0f to %+.0f %%", *d.Low, *d.High)
	}
	return grid{Caption: fmt.Sprintf("Fine dust against flow, setups held apart: change for each %s more", d.Step), Columns: []gridColumn{
		texts("answer", 1.4), numbers("sessions", "sessions", 0.8), numbers("flows measured", "measurements", 0.9),
		numbers("change", "change", 1), {Head: "95 % interval", Width: 1.3, Right: true}, texts("why", 3.6)},
		Rows: []gridRow{{"airflow/dust", []string{d.Answer, fmt.Sprint(d.Sessions), fmt.Sprint(d.Measurements), change, interval, d.Why}}}}
}

func rankedTable(r airflow.Result) grid {
	g := grid{Caption: fmt.Sprintf("What would help most, under “%s”, the most first", orNotDeclared(r.RankedIn)), Columns: []gridColumn{
		texts("change", 2.4), texts("why", 3.6), texts("gain", 1.6), texts("how sure", 1.2)}}
	for _, s := range r.Ranked {
		gain := "–"
		if s.Gain != nil {
			gain = s.GainText()
		}
		g.Rows = append(g.Rows, gridRow{"", []string{s.What, s.Why, gain, s.HowSure}})
	}
	return g
}

// explainAirflow says of every number in that part where it comes from.
func explainAirflow(in Input) []exposure.Explanation {
	r := in.Airflow
	if r == nil || !collectorKnown(*r) {
		return nil
	}
	var out []exposure.Explanation
	base := exposure.Explanation{From: in.From, To: in.To}
	for _, s := range r.Setups {
		if s.Readings == 0 && s.Record == nil {
			continue
		}
		density := given("density of the air, "+s.DensityFrom, of64(float64(s.Density)), "kg/m³")
		for _, q := range collectorQuantities(s, in.Zone) {
			x := explainer{row: airflowID(s.Setup, q.key), base: base}
			x.add("value", q.label, q.unit, of64(q.value), q.formula, r.Method, append(q.inputs, density)...)
			out = append(out, x.out...)
		}
	}
	d := r.Dust
	x := explainer{row: "airflow/dust", base: base}
	x.base.Metric = in.Exposure.Metric
	x.add("sessions", "sessions with a flow and a level of dust", "", whole(d.Sessions), "sessions whose setup has a flow measured", r.Method)
	x.add("measurements", "flows measured, the unit", "", whole(d.Measurements), "sessions that share one are averaged", r.Method)
	x.add("change", "dust, for each "+d.Step.SI()+" more", "%", d.Percent, "100·(exp(slope of ln dust on flow · step) − 1), setups held apart", r.Method,
		given("interval, lower end", d.Low, "%"), given("interval, upper end", d.High, "%"))
	return append(out, x.out...)
}

// firstHelp is what would help most, for the list of what to do next; "" if nothing
// is known to.
func firstHelp(in Input) string {
	if in.Airflow == nil || len(in.Airflow.Ranked) == 0 {
		return ""
	}
	s := in.Airflow.Ranked[0]
	return fmt.Sprintf("At the collector, first: %s, because %s (%s).", s.What, strings.TrimSuffix(s.Why, "."), s.HowSure)
}
