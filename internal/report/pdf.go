package report

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/exposure"
	"dustlog/internal/plots"
	"dustlog/internal/words"
)

// WritePDF renders the report as a PDF for paper: A4, the answers on the first
// page, contents with page numbers, pictures at 220 dpi. It needs no browser.
// What it says is what WriteHTML says, from the same view.
func WritePDF(w io.Writer, in Input) error {
	if in.Zone == nil {
		in.Zone = time.UTC
	}
	v, err := buildView(in)
	if err != nil {
		return err
	}
	p := &paper{view: v}
	if err := p.drawPictures(); err != nil {
		return err
	}
	// Once to learn on which pages the sections fall, then with that known; the
	// contents themselves may move them once more.
	var contents []contentsLine
	for range 4 {
		if err := p.lay(contents); err != nil {
			return err
		}
		if slices.Equal(contents, p.sheet.headings) {
			break
		}
		contents = p.sheet.headings
	}
	if err := p.sheet.pdf.Output(w); err != nil {
		return fmt.Errorf("write the report as PDF: %w", err)
	}
	return nil
}

// paper is the report on its way to pages.
type paper struct {
	view
	*sheet
	pictures map[string][]byte // PNG by figure
}

const pictureDPI = 220

func (p *paper) drawPictures() error {
	p.pictures = map[string][]byte{}
	for _, f := range p.view.pictures() {
		var png bytes.Buffer
		if err := f.paint(&png, plots.Options{Format: plots.PNG, Zone: p.Zone, Words: p.Words, DPI: pictureDPI}); err != nil {
			return fmt.Errorf("figure %q: %w", f.Title, err)
		}
		p.pictures[f.ID] = png.Bytes()
	}
	return nil
}

func (p *paper) date(t time.Time) string {
	return p.Words.Moment(words.Time(t.In(p.Zone), "2 January 2006"))
}
func (p *paper) stamp(t time.Time) string { return p.Words.Moment(stamp(t, p.Zone)) }
func (p *paper) clock(t time.Time) string { return p.Words.Moment(words.Clock(t.In(p.Zone))) }
func (p *paper) say(t words.Text) string  { return p.Words.Text(t) }

// says says every text.
func (p *paper) says(texts []words.Text) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = p.say(t)
	}
	return out
}

// cells says what stands in the cells of a row.
func (p *paper) cells(cells ...any) []string {
	out := make([]string, len(cells))
	for i, c := range cells {
		out[i] = p.Words.Value(c)
	}
	return out
}

// lay lays everything out. contents is what a layout before has found.
func (p *paper) lay(contents []contentsLine) error {
	title := p.Words.Say("Fine-dust report: %s", p.Shop)
	footer := p.Words.Say("%s · made by dustlog %s on %s", title, p.Version, p.stamp(p.Generated))
	// Answers and what to do next stand on one page, if need be in smaller letters.
	for size := bodySize; ; size -= 0.5 {
		p.sheet = newSheet(title, p.Generated, footer, p.Words)
		p.frontPage(size)
		if p.pdf.PageNo() == 1 || size <= smallSize {
			break
		}
	}
	p.pdf.AddPage()
	p.contents(contents)
	p.tracing()
	if p.Words.Tag() != "en" {
		p.small(p.Words.Say("What is quoted from a source (limits, protection factors, sensors), what was recorded (events, calibrations), and the IDs of results are in English."))
	}
	shared := func(s part) func() error { return func() error { return p.part(s) } }
	for _, set := range []func() error{p.evidence, p.comparison, p.otherLooks, p.shifts, shared(p.Uncertainty), shared(p.Clearance), shared(p.Collector), p.respirator,
		shared(p.LimitStatus), shared(p.Calibration), p.words, p.data, p.method, p.check, p.appendix} {
		if err := set(); err != nil {
			return err
		}
	}
	return p.pdf.Error()
}

func (p *paper) frontPage(size float64) {
	p.body = size
	defer func() { p.body = bodySize }()
	p.small(p.Words.Say("Fine-dust report"))
	p.font("serif", "B", 24, inkColour)
	p.put(margin, p.lines(p.Shop, textWidth), 24, textWidth, "L")
	p.small(p.Words.Say("%s to %s · times in %s", p.date(p.From), p.date(p.To), p.Zone.String()))
	if p.Invented {
		p.font("sans", "B", p.body, toneColour["no"])
		p.put(margin, p.lines(p.Words.Say("Invented data.")+" "+p.Words.Say("This shop, its people and its dust do not exist. The numbers were made to show how the report works."), textWidth), p.body, textWidth, "L")
	}
	p.gap(3)
	for _, a := range p.Answers {
		p.answer(a)
	}
	p.gap(2)
	p.para(p.Words.Say("These answers come from low-cost optical sensors. They show change, and they can warn. They cannot clear an inhalable-dust limit, and nothing here replaces local codes, licensed practice or a hygienist’s filter sample."))
	p.list(p.says(p.Cautions[:2]))
	p.subheading(p.Words.Say("What to do next"))
	p.list(p.says(p.Next))
}

// tracing says how to find where a number is from.
func (p *paper) tracing() {
	p.small(p.Words.Say("Every number can be traced. Its ID is that of its row, a slash, and its column’s key, both in small type: dustlog explain ID prints formula, inputs and source, and which readings it rests on."))
}

// part sets a section that screen and paper share.
func (p *paper) part(s part) error {
	p.section(p.say(s.Title))
	for _, text := range s.Intro {
		p.para(p.say(text))
	}
	for _, g := range s.Tables {
		p.grid(g)
	}
	p.small(p.say(s.Gloss))
	p.list(p.says(s.Notes))
	return p.figures(s.Figures)
}

func (p *paper) grid(g grid) {
	columns := make([]column, len(g.Columns))
	for i, c := range g.Columns {
		columns[i] = column{head: withID(p.say(c.Head), c.Key), width: c.Width, right: c.Right}
	}
	var rows [][]string
	for _, r := range g.Rows {
		cells := p.cells(r.Cells...)
		cells[0] = withID(cells[0], r.ID)
		rows = append(rows, cells)
	}
	p.table(p.say(g.Caption), columns, rows)
}

// withID puts an ID under a cell's words.
func withID(text, id string) string {
	if id == "" {
		return text
	}
	return text + idMark + id
}

// toneMark says beside the colour how an answer is meant.
var toneMark = map[string]string{"yes": "↓", "no": "!", "open": "?"}

func (p *paper) answer(a Answer) {
	y := p.pdf.GetY()
	p.pdf.SetDrawColor(inkColour[0], inkColour[1], inkColour[2])
	p.pdf.SetLineWidth(0.4)
	p.pdf.Line(margin, y, margin+textWidth, y)
	p.gap(1.5)
	p.small(p.say(a.Question))
	p.font("serif", "B", 16, toneColour[a.Tone])
	p.put(margin, p.lines(toneMark[a.Tone]+"  "+p.say(a.Short), textWidth), 16, textWidth, "L")
	if !a.Figure.IsZero() {
		p.font("sans", "B", p.body, inkColour)
		p.put(margin, p.lines(p.say(a.Figure), textWidth), p.body, textWidth, "L")
	}
	p.gap(1)
	p.para(p.say(a.Why))
	if a.Caution.String() != "" {
		p.para(p.Words.Say("But:") + " " + p.say(a.Caution))
	}
	p.gap(2)
}

func (p *paper) contents(found []contentsLine) {
	p.font("serif", "B", 14, inkColour)
	p.put(margin, []string{p.Words.Say("Contents")}, 14, textWidth, "L")
	p.gap(1)
	for _, h := range found {
		p.font("sans", "", bodySize, inkColour)
		y := p.pdf.GetY()
		p.pdf.SetX(margin)
		p.pdf.CellFormat(textWidth-15, lineHeight(bodySize), h.text, "", 0, "L", false, 0, "")
		p.pdf.CellFormat(15, lineHeight(bodySize), fmt.Sprint(h.page), "", 0, "R", false, 0, "")
		p.pdf.SetY(y + lineHeight(bodySize))
	}
	if found == nil { // the room they will take
		p.gap(float64(len(sectionTitles)+sharedParts) * lineHeight(bodySize))
	}
	p.gap(2)
}

// sharedParts is how many sections beside them are of both screen and paper.
const sharedParts = 7

// sectionTitles is how many lines the contents may have.
var sectionTitles = []words.Text{words.Of("The evidence"), words.Of("The comparison in numbers"), words.Of("What was breathed, shift by shift"), words.Of("Cautions"), words.Of("What the sensors cannot show"), words.Of("What a report should hold"), words.Of("Data: what there is, what is missing"), words.Of("Method and sources"), words.Of("Appendix")}

func (p *paper) figures(list []figure) error {
	for _, f := range list {
		if err := p.picture(f.ID, bytes.NewReader(p.pictures[f.ID]), p.say(f.Caption)); err != nil {
			return fmt.Errorf("figure %q: %w", f.Title, err)
		}
	}
	return nil
}

func (p *paper) evidence() error {
	if len(p.Evidence) == 0 {
		return nil
	}
	p.room(120) // or the heading stands alone under the contents
	p.section(p.say(sectionTitles[0]))
	return p.figures(p.Evidence)
}

func (p *paper) comparison() error {
	r := p.Compare
	if r == nil {
		return nil
	}
	p.section(p.say(sectionTitles[1]))
	units := r.UnitsText()
	rows := [][]string{
		p.cells(p.say(units), fmt.Sprint(r.NBefore), fmt.Sprint(r.NAfter)),
		p.cells(withID(fmt.Sprintf("%s, %s", p.say(compare.MeanText(r.MeanKind)), r.Unit), "compare"), sig(r.GMBefore), sig(r.GMAfter)),
		p.cells(withID(p.Words.Say("ratio after/before"), "compare/ratio, compare/ci_low, compare/ci_high"), words.Of("%s (%s to %s)", num("%.2f", r.Ratio), num("%.2f", r.CILow), num("%.2f", r.CIHigh)), ""),
		p.cells(withID(p.Words.Say("p (interval method)"), "compare/p"), pText(r.PValue), ""),
		p.cells(withID(p.Words.Say("p (relabelling the %s)", units), "compare/p_relabelled"), pText(r.PermutationP), ""),
		{p.Words.Say("smallest reduction that matters"), fmt.Sprintf("%.0f %%", r.SmallestChange), ""},
		{p.Words.Say("design grade"), string(r.Design), ""},
	}
	p.table(p.Words.Say("%s, sensor “%s” (%s)", metricLabel(r.Metric), r.Sensor, placeText(r.Position)),
		[]column{{"", 4, false}, {withID(r.Before, "before"), 3, true}, {withID(r.After, "after"), 3, true}}, rows)
	p.para(p.say(r.DesignWhy.Sentence()))
	var bins [][]string
	for _, b := range r.Bins {
		bins = append(bins, p.cells(withID(p.Words.Value(b.Label), "compare/size/"+b.Metric), b.Unit, sig(b.Before), sig(b.After), num("%.2f", b.Ratio), interval(num("%.2f", b.CILow), num("%.2f", b.CIHigh)), b.Note))
	}
	p.table(p.Words.Say("By size: mean of the %s", units), []column{{p.Words.Say("size"), 2.2, false}, {p.Words.Say("unit"), 1.2, false}, {withID(r.Before, "before"), 1.5, true}, {withID(r.After, "after"), 1.5, true}, {withID(p.Words.Say("ratio"), "ratio"), 1, true}, {p.Words.Say("95 %% interval"), 2, true}, {p.Words.Say("remark"), 4, false}}, bins)
	p.list(p.says(sentences(r.Warnings)))
	return nil
}

func (p *paper) shifts() error {
	p.section(p.say(sectionTitles[2]))
	p.para(p.Words.Say("Against %s.", p.Exposure.Limit.Label()) + " " + p.Words.Say("8-hour TWA: the dust of the shift spread over 8 hours, time not measured counting as zero; beside it the same with unmeasured time like the measured, and like the task with the highest mean."))
	p.shiftTable("", p.Person)
	var limits [][]string
	for _, l := range p.Limits {
		limits = append(limits, p.cells(l.Sensor, l.Limit, l.Bearing, words.Of("%d of %d", l.Governs, l.Shifts), shareText(l.Highest, l.HighestIsAtLeast), fmt.Sprint(l.Over), l.Peaks))
	}
	p.table(p.Words.Say("Every limit asked about"), []column{{p.Words.Say("sensor"), 1.2, false}, {p.Words.Say("limit"), 4, false}, {p.Words.Say("for this wood"), 1.5, false}, {p.Words.Say("counts in"), 1.2, true}, {p.Words.Say("highest share"), 1.2, true}, {p.Words.Say("shifts over"), 0.8, true}, {p.Words.Say("short peaks"), 2.5, false}}, limits)
	var why []string
	for _, r := range p.Reasons {
		why = append(why, p.Words.Say("%s: %s", r.Sensor, r.Finding.Text())+" "+p.Words.Say("in %d of %d shifts. On %s: %s.", r.Shifts, r.Of, words.Day(r.Date), r.Why))
	}
	p.list(append(why, p.says(sentences(p.Exposure.Warnings))...))
	if err := p.figures(p.view.Traces); err != nil {
		return err
	}
	if err := p.figures(p.Days); err != nil {
		return err
	}
	var groups [][]string
	for _, g := range p.Groups {
		groups = append(groups, p.cells(withID(g.Sensor, groupID(g)), g.Setup, fmt.Sprint(g.Days), sig(g.GM), num("%.2f", g.GSD), sig(g.P95), sig(g.UTL95_70), g.Finding.Text(), g.Why))
	}
	p.table(p.Words.Say("What these shifts say about other days: the shifts of one sensor under one setup as days of one exposure group"),
		[]column{{p.Words.Say("sensor"), 1.2, false}, {p.Words.Say("setup"), 1.6, false}, {p.Words.Say("days"), 0.7, true}, {withID(p.Words.Say("GM mg/m³"), "gm"), 1, true}, {withID(p.Words.Say("GSD"), "gsd"), 0.8, true}, {withID(p.Words.Say("95th percentile mg/m³"), "p95"), 1.4, true}, {withID(p.Words.Say("UTL95,70 mg/m³"), "utl95_70"), 1.3, true}, {p.Words.Say("finding"), 1.2, false}, {p.Words.Say("reason"), 4, false}}, groups)
	return nil
}

func (p *paper) shiftTable(caption string, shifts []exposure.ShiftResult) {
	var rows [][]string
	for _, s := range shifts {
		peak := num("%.3f", s.Max15min).Text()
		if s.Max15minStart != nil {
			peak = words.Of("%s at %s", num("%.3f", s.Max15min), words.Clock(s.Max15minStart.In(p.Zone)))
		}
		rows = append(rows, p.cells(withID(p.Words.Value(words.Day(s.Date)), s.Date+"/"+s.Sensor), p.clock(s.Start)+"–"+p.clock(s.End), s.Sensor, s.Setup, words.Of("%.0f of %.0f", s.MinutesMeasured, s.Minutes),
			num("%.3f", s.TWA8h), num("%.3f", s.TWA8hFilled), num("%.3f", s.TWA8hWorst), peak, words.Number(strings.TrimSuffix(string(shareText(s.ShareOfLimit, s.ShareIsAtLeast)), " %")), s.Finding.Text()))
	}
	p.table(caption, []column{{p.Words.Say("date"), 1.6, false}, {p.Words.Say("shift"), 1.7, false}, {p.Words.Say("sensor"), 1.3, false}, {p.Words.Say("setup"), 1.7, false}, {p.Words.Say("measured min"), 1.5, true}, {withID(p.Words.Say("TWA 8 h mg/m³"), "twa_8h"), 1.2, true},
		{withID(p.Words.Say("like measured mg/m³"), "twa_8h_like_measured"), 1.4, true}, {withID(p.Words.Say("like worst task mg/m³"), "twa_8h_like_worst_task"), 1.4, true}, {withID(p.Words.Say("highest 15 min mg/m³"), "max_15min"), 1.5, true}, {withID(p.Words.Say("share of limit %%"), "share_of_limit"), 1.1, true}, {p.Words.Say("finding"), 1.4, false}}, rows)
}

func (p *paper) respirator() error {
	if len(p.Exposure.Masks) == 0 {
		return nil
	}
	return p.part(p.Respirators)
}

func (p *paper) otherLooks() error {
	if p.Compare == nil {
		return nil
	}
	return p.part(p.OtherLooks)
}

// check is how to make sure of the report.
func (p *paper) check() error {
	p.section(p.Words.Say("How to check this report"))
	p.list(p.says(p.Checks))
	var rows [][]string
	for _, s := range p.Settings {
		rows = append(rows, []string{s.Name, s.Value, s.Origin})
	}
	p.table(p.Words.Say("Settings that the results depend on"), []column{{p.Words.Say("setting"), 2, false}, {p.Words.Say("value"), 3, false}, {p.Words.Say("set by"), 1.5, false}}, rows)
	return nil
}

// words are the parts without numbers.
func (p *paper) words() error {
	p.section(p.say(sectionTitles[3]))
	p.list(p.says(p.Cautions))
	p.section(p.say(sectionTitles[4]))
	p.list(p.says(p.CannotSee))
	p.subheading(p.Words.Say("What would settle it"))
	p.list(p.says(p.Settle))
	p.section(p.say(sectionTitles[5]))
	p.para(p.Words.Say("What EN 689:2018 expects of a report on workplace exposure (from memory), and what this one lacks."))
	var rows [][]string
	for _, c := range p.Checklist {
		mark := words.Of("missing")
		if c.Has {
			mark = words.Of("here")
		}
		rows = append(rows, p.cells(c.Item, mark, c.Note))
	}
	p.table("", []column{{p.Words.Say("item"), 3, false}, {"", 0.8, false}, {p.Words.Say("note"), 4, false}}, rows)
	return nil
}

func (p *paper) data() error {
	p.section(p.say(sectionTitles[6]))
	var rows [][]string
	for _, d := range p.Data {
		out := d.Excluded
		if out.String() == "" {
			out = words.Of("nothing")
		}
		rows = append(rows, p.cells(d.Sensor, d.Model, d.Position, fmt.Sprintf("%.0f", d.Minutes), fmt.Sprintf("%.0f", d.Measured), out, thousands(d.Frames), thousands(d.Checksum), thousands(d.Others), thousands(d.Skipped)))
	}
	p.table("", []column{{p.Words.Say("sensor"), 1.3, false}, {p.Words.Say("model"), 1, false}, {p.Words.Say("place"), 1.3, false}, {p.Words.Say("shift min"), 1, true}, {p.Words.Say("measured min"), 1.1, true}, {p.Words.Say("left out, by flag"), 2.2, false}, {p.Words.Say("frames"), 1.1, true}, {p.Words.Say("bad checksums"), 1.2, true}, {p.Words.Say("other bad frames"), 1, true}, {p.Words.Say("bytes skipped"), 1.1, true}}, rows)
	p.para(p.Words.Say("A reading speaks until the next one, for at most 5 seconds; longer is a gap and stays one. Bad frames are counted, never repaired. Mass scale of sensors that send two: %s.", p.MassScale))
	rows = nil
	for _, e := range p.Events {
		rows = append(rows, []string{p.stamp(e.Time), e.Sensor, spaced(e.Kind), e.Text})
	}
	p.table(p.Words.Say("Events"), []column{{p.Words.Say("when"), 1.6, false}, {p.Words.Say("sensor"), 1.2, false}, {p.Words.Say("what"), 1.4, false}, {p.Words.Say("detail"), 5, false}}, rows)
	return nil
}

func (p *paper) method() error {
	p.section(p.say(sectionTitles[7]))
	p.para(p.say(p.Exposure.Method))
	if p.view.Respirator != nil {
		p.para(p.Words.Say("Respirator: %s.", p.view.Respirator.Method))
	}
	p.list(p.says(p.Sources))
	return nil
}

func (p *paper) appendix() error {
	p.section(p.say(sectionTitles[8]))
	if r := p.Compare; r != nil {
		var rows [][]string
		for _, s := range r.Sessions {
			rows = append(rows, p.cells(withID(p.Words.Value(words.Day(s.Date)), sessionID(s, p.Zone)), s.Setup, p.clock(s.Start)+"–"+p.clock(s.End), fmt.Sprint(s.Runs), strings.Join(s.Tasks, ", "), fmt.Sprintf("%.0f", s.Minutes), sig(s.Adjusted)))
		}
		p.table(p.Words.Say("All %s", r.UnitsText()), []column{{p.Words.Say("date"), 1.5, false}, {p.Words.Say("setup"), 2, false}, {p.Words.Say("from to"), 1.6, false}, {p.Words.Say("runs"), 0.7, true}, {p.Words.Say("tasks"), 3, false}, {p.Words.Say("measured min"), 1.2, true}, {withID(p.Words.Say("task-adjusted mean, %s", r.Unit), "mean"), 1.8, true}}, rows)
		rows = nil
		for _, e := range r.Excluded {
			rows = append(rows, p.cells(e.WhatText(), e.Name, e.Why))
		}
		p.table(p.Words.Say("Left out of the comparison"), []column{{p.Words.Say("what"), 1, false}, {p.Words.Say("which"), 2, false}, {p.Words.Say("why"), 4, false}}, rows)
	}
	p.shiftTable(p.Words.Say("The other places"), p.Elsewhere)
	p.grid(p.Runs)
	p.grid(p.Falls)
	var rows [][]string
	for _, s := range p.Setups {
		to := p.Words.Say("still in use")
		if !s.To.IsZero() {
			to = p.stamp(s.To)
		}
		rows = append(rows, []string{s.Setup, p.stamp(s.From), to})
	}
	p.table(p.Words.Say("Setups"), []column{{p.Words.Say("setup"), 3, false}, {p.Words.Say("from"), 2, false}, {p.Words.Say("to"), 2, false}}, rows)
	return nil
}
