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
	"dustlog/internal/words"
)

// airflowPart is what the dust collector moves, beside the dust.
func airflowPart(in Input) (part, error) {
	p := part{ID: "airflow", Title: words.Of("What the dust collector moves")}
	r := in.Airflow
	if r == nil {
		p.Intro = []words.Text{words.Of("Not told: readings off the collector are in the shop's own store only, not in a server's copy.")}
		return p, nil
	}
	for _, stop := range r.Stops {
		p.Intro = append(p.Intro, words.Of("STOP: %s.", stop))
	}
	if !collectorKnown(*r) {
		p.Intro = append(p.Intro, words.Of("Nothing was read off the collector and none is described, so the dust above cannot be explained by it. Describe it under [collector.\"SETUP\"] in the configuration "+
			"and enter what gauges show with `dustlog airflow add`."))
		return p, nil
	}
	p.Intro = append(p.Intro, words.Of("Flow, pressure and current explain a level of dust, and say what to change next. They are no measure of what is breathed."))
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
		p.Notes = append(p.Notes, words.Of("Left out: %s %s: %s.", stamp(l.At, in.Zone), l.What, l.Why))
	}
	p.Notes = append(p.Notes, sentences(r.Warnings)...)
	p.Notes = append(p.Notes, r.Cautions...) // whole sentences
	p.Gloss = r.Method
	var err error
	p.Figures, err = collectorFigures(*r, in.pictureOptions())
	return p, err
}

// collectorFigures draws what there is to draw.
func collectorFigures(r airflow.Result, o plots.Options) (figures []figure, err error) {
	for _, x := range []struct {
		f     figure
		paint func(io.Writer, airflow.Result, plots.Options) error
	}{
		{figure{ID: "blower", Title: words.Of("What the blower makes and what the ducts take"), Alt: plots.AltTextFanAndSystem(r, o),
			Caption: words.Of("Where the curves meet the collector works. A fuller filter or a longer hose makes the dotted curve steeper, and the flow less.")}, plots.FanAndSystem},
		{figure{ID: "filter-drop", Title: words.Of("Pressure drop over the filter since it was cleaned"), Alt: plots.AltTextFilterDrop(r, o),
			Caption: words.Of("A filter that loads takes flow from the hood.")}, plots.FilterDrop},
		{figure{ID: "dust-on-flow", Title: words.Of("Fine dust against flow"), Alt: plots.AltTextDustOnFlow(r, o),
			Caption: words.Of("More flow is not yet less dust: the interval says whether these sessions show it.")}, plots.DustOnFlow},
	} {
		f, err := draw(x.f, o, func(w io.Writer, o plots.Options) error { return x.paint(w, r, o) })
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
	key     string
	label   words.Text
	value   float64 // in unit
	unit    string
	si, us  words.Text
	remark  words.Text
	formula string
	inputs  []exposure.Given
}

// collectorQuantities lists what is known under a setup.
func collectorQuantities(s airflow.SetupAirflow, zone *time.Location) (list []quantity) {
	add := func(q quantity) { list = append(list, q) }
	if f := s.Flow; f != nil {
		remark := words.Of("%s, by %s", stamp(f.At, zone), f.From.Text())
		if f.Low != nil && f.High != nil {
			remark = words.Of("%s; %s to %s by the spread of the points", remark, words.Number(f.Low.SI()), words.Number(f.High.SI()))
		}
		q := quantity{key: "flow", label: words.Of("flow, %s", ductText(f.Duct)), value: f.Flow.M3H(), unit: "m³/h", si: words.Number(f.Flow.SI()).Text(), us: words.Number(f.Flow.US()).Text(), remark: remark,
			formula: "Q = V·A; V = √(2·VP/ρ) where a pitot tube was read"}
		if f.Velocity != nil {
			q.inputs = append(q.inputs, given("velocity, m/s", of64(float64(*f.Velocity)), "m/s"))
		}
		add(q)
	}
	for _, c := range s.Transport {
		add(quantity{key: "velocity/" + ductName(c.Duct), label: words.Of("velocity, %s", ductText(c.Duct)), value: float64(c.Velocity), unit: "m/s", si: words.Number(c.Velocity.SI()).Text(), us: words.Number(c.Velocity.US()).Text(),
			remark: words.Of("%s: %s; 4000 fpm take %s", airflow.AnswerText(c.Answer), c.Why, c.Needed), formula: "V = Q/A"})
	}
	if x := s.Static; x != nil {
		add(quantity{key: "static_pressure", label: words.Of("static pressure"), value: float64(x.Pressure), unit: "Pa", si: words.Number(x.Pressure.SI()).Text(), us: words.Number(x.Pressure.US()).Text(), remark: stamp(x.At, zone).Text(), formula: "as read, the latest"})
	}
	if x := s.Filter.Latest; x != nil {
		remark := airflow.AnswerText(s.Filter.Answer)
		if s.Filter.Reference != nil {
			remark = words.Of("%s, brought to %s", remark, words.Number(s.Filter.Reference.SI()))
		}
		add(quantity{key: "filter_drop", label: words.Of("filter's pressure drop"), value: float64(*x), unit: "Pa", si: words.Number(x.SI()).Text(), us: words.Number(x.US()).Text(), remark: remark, formula: "the latest reading, times reference flow over its flow"})
	}
	if s.FilterFlow != nil {
		add(quantity{key: "filter_flow", label: words.Of("through the filter"), value: *s.FilterFlow, unit: "m³/(m²·h)", si: words.Of("%.0f m³/(m²·h)", *s.FilterFlow), formula: "latest flow / area of the filter"})
	}
	if c := s.Capture; c != nil && c.Velocity != nil {
		add(quantity{key: "capture_velocity", label: words.Of("in front of the hood"), value: float64(*c.Velocity), unit: "m/s", si: words.Number(c.Velocity.SI()).Text(), us: words.Number(c.Velocity.US()).Text(), remark: c.Answer,
			formula: "V = Q/(10·x² + A), with a flange over 0.75"})
	}
	for _, m := range s.Motors {
		add(quantity{key: strings.TrimSuffix("current/"+m.Blower, "/"), label: motorText(m.Blower), value: float64(m.Current), unit: "A", si: words.Number(m.Current.String()).Text(),
			remark: words.Of("%s: %s", stamp(m.At, zone), m.Answer), formula: "as read, the latest"})
	}
	if c := s.Changes; c != nil {
		add(quantity{key: "air_changes", label: words.Of("air changes by flow and room"), value: c.PerHour, unit: "1/h", si: words.Of("%.1f 1/h", c.PerHour), remark: c.Answer, formula: "Q / volume of the room",
			inputs: []exposure.Given{given("volume of the room", of64(float64(c.Room)), "m³"), given("clearance measured", c.Measured, "1/h")}})
	}
	if f := s.Fan; f != nil && f.Operating != nil {
		add(quantity{key: "operating_flow", label: words.Of("by the fan curve"), value: f.Operating.Flow.M3H(), unit: "m³/h", si: pointText(f.Operating.Flow.SI(), f.Operating.Static.SI()), us: pointText(f.Operating.Flow.US(), f.Operating.Static.US()),
			remark: f.Answer, formula: "where the fan curve meets k·Q²", inputs: []exposure.Given{given("k of the system as it stands", of64(f.KNow), "Pa/(m³/s)²")}})
	}
	return list
}

// pointText is a point of a fan curve. (The key is another than that of a level at a time.)
func pointText(flow, static string) words.Text {
	return words.Of("%[1]s at %[2]s", words.Number(flow), words.Number(static))
}

func of64(x float64) *float64 { return &x }

// ductText is what a duct is called for people.
func ductText(name string) words.Text {
	if name == "" {
		return words.Of("main")
	}
	return words.Literal(name)
}

func motorText(blower string) words.Text {
	if blower == "" {
		return words.Of("motor's current")
	}
	return words.Of("motor's current %s", blower)
}

func ductName(name string) string {
	if name == "" {
		return "main"
	}
	return name
}

func collectorTable(s airflow.SetupAirflow, zone *time.Location) grid {
	g := grid{Caption: words.Of("Under “%s”: %d reading(s) off the collector", setupText(s.Setup), s.Readings), Columns: []gridColumn{
		texts(words.Of("what"), 1.8), numbers(words.Of("SI"), "value", 1.5), {Head: words.Of("US"), Width: 1.5, Right: true}, texts(words.Of("remark"), 4.6)}}
	for _, q := range collectorQuantities(s, zone) {
		g.Rows = append(g.Rows, gridRow{airflowID(s.Setup, q.key), []any{q.label, q.si, q.us, q.remark}})
	}
	return g
}

// collectorNotes are the sentences about one setup that stand under the tables.
func collectorNotes(s airflow.SetupAirflow, zone *time.Location) (notes []words.Text) {
	name := setupText(s.Setup)
	say := func(text words.Text) { notes = append(notes, words.Of("%s: %s.", name, text)) }
	if len(s.Filter.Readings) > 0 {
		text := words.Of("filter: %s, %s", airflow.AnswerText(s.Filter.Answer), s.Filter.Why)
		if !s.Filter.ReachedAt.IsZero() {
			day := func(t time.Time) words.Moment { return words.Time(t.In(zone), "2 January 2006") }
			text = words.Of("%s; it reaches %s about %s (95 %%: %s to %s), if the work goes on alike", text, words.Number(s.Filter.Limit.String()), day(s.Filter.ReachedAt), day(s.Filter.Earliest), day(s.Filter.LatestAt))
		}
		say(text)
	}
	if y := s.System; y != nil {
		text := words.Of("ducts and filter together: ΔP = %.0f Pa/(m³/s)² · Q², from %d point(s)", y.K, len(y.Points))
		if y.Low != nil {
			text = words.Of("%s, k %.0f to %.0f (95 %%)", text, *y.Low, *y.High)
		}
		if !y.Note.IsZero() {
			text = words.Join("; ", text, y.Note)
		}
		say(text)
	}
	if s.Fan != nil && s.Fan.Operating == nil {
		say(words.Of("blower: %s", s.Fan.Answer))
	}
	for _, h := range s.Hints {
		say(words.Of("hint (%s): %s", airflow.SourceText(h.Source), h.Text))
	}
	if len(s.Missing) > 0 {
		say(words.Of("not in the record: %s", words.Join("; ", s.Missing...)))
	}
	return notes
}

func dustOnFlowTable(d airflow.DustOnFlow) grid {
	change, between := words.Number("–"), words.Literal("–")
	if d.Percent != nil {
		change = words.Number(fmt.Sprintf("%+.0f %%", *d.Percent))
	}
	if d.Low != nil && d.High != nil {
		between = words.Of("%+.0f to %+.0f %%", *d.Low, *d.High)
	}
	return grid{Caption: words.Of("Fine dust against flow, setups held apart: change for each %s more", d.Step), Columns: []gridColumn{
		texts(words.Of("answer"), 1.4), numbers(words.Of("sessions"), "sessions", 0.8), numbers(words.Of("flows measured"), "measurements", 0.9),
		numbers(words.Of("change"), "change", 1), {Head: words.Of("95 %% interval"), Width: 1.3, Right: true}, texts(words.Of("why"), 3.6)},
		Rows: []gridRow{{"airflow/dust", []any{airflow.AnswerText(d.Answer), fmt.Sprint(d.Sessions), fmt.Sprint(d.Measurements), change, between, d.Why}}}}
}

func rankedTable(r airflow.Result) grid {
	g := grid{Caption: words.Of("What would help most, under “%s”, the most first", setupText(r.RankedIn)), Columns: []gridColumn{
		texts(words.Of("change"), 2.4), texts(words.Of("why"), 3.6), texts(words.Of("gain"), 1.6), texts(words.Of("how sure"), 1.2)}}
	for _, s := range r.Ranked {
		gain := words.Literal("–")
		if s.Gain != nil {
			gain = s.GainText()
		}
		g.Rows = append(g.Rows, gridRow{"", []any{s.What, s.Why, gain, s.HowSureText()}})
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
		density := given("density of the air, "+s.DensityFrom.String(), of64(float64(s.Density)), "kg/m³")
		for _, q := range collectorQuantities(s, in.Zone) {
			x := explainer{row: airflowID(s.Setup, q.key), base: base}
			x.add("value", q.label.String(), q.unit, of64(q.value), q.formula, r.Method, append(q.inputs, density)...)
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

// firstHelp is what would help most, for the list of what to do next; zero if nothing
// is known to.
func firstHelp(in Input) words.Text {
	if in.Airflow == nil || len(in.Airflow.Ranked) == 0 {
		return words.Text{}
	}
	s := in.Airflow.Ranked[0]
	return words.Of("At the collector, first: %s, because %s (%s).", s.What, s.Why, s.HowSureText())
}
