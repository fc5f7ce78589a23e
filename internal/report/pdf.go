package report

import (
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"dustlog/internal/exposure"
	"dustlog/internal/plots"
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
		if err := f.paint(&png, plots.Options{Format: plots.PNG, Zone: p.Zone, DPI: pictureDPI}); err != nil {
			return fmt.Errorf("figure %q: %w", f.Title, err)
		}
		p.pictures[f.ID] = png.Bytes()
	}
	return nil
}

func (p *paper) date(t time.Time) string  { return t.In(p.Zone).Format("2 January 2006") }
func (p *paper) stamp(t time.Time) string { return t.In(p.Zone).Format("2006-01-02 15:04") }
func (p *paper) clock(t time.Time) string { return t.In(p.Zone).Format("15:04") }

// lay lays everything out. contents is what a layout before has found.
func (p *paper) lay(contents []contentsLine) error {
	title := "Fine-dust report: " + p.Shop
	p.sheet = newSheet(title, p.Generated, fmt.Sprintf("%s · made by dustlog %s on %s", title, p.Version, p.stamp(p.Generated)))
	p.frontPage()
	p.pdf.AddPage()
	p.contents(contents)
	p.tracing()
	shared := func(s part) func() error { return func() error { return p.part(s) } }
	for _, set := range []func() error{p.evidence, p.comparison, p.otherLooks, p.shifts, shared(p.Uncertainty), shared(p.Clearance), shared(p.Collector), p.respirator,
		shared(p.LimitStatus), shared(p.Calibration), p.words, p.data, p.method, p.check, p.appendix} {
		if err := set(); err != nil {
			return err
		}
	}
	return p.pdf.Error()
}

func (p *paper) frontPage() {
	p.small("Fine-dust report")
	p.font("serif", "B", 24, inkColour)
	p.put(margin, p.lines(p.Shop, textWidth), 24, textWidth, "L")
	p.small(fmt.Sprintf("%s to %s · times in %s", p.date(p.From), p.date(p.To), p.Zone))
	if p.Invented {
		p.font("sans", "B", bodySize, toneColour["no"])
		p.put(margin, p.lines("Invented data. This shop, its people and its dust do not exist. The numbers were made to show how the report works.", textWidth), bodySize, textWidth, "L")
	}
	p.gap(3)
	for _, a := range p.Answers {
		p.answer(a)
	}
	p.gap(2)
	p.para("These answers come from low-cost optical sensors. They show change, and they can warn. They cannot clear an inhalable-dust limit, and nothing here replaces local codes, licensed practice or a hygienist’s filter sample.")
	p.list(p.Cautions[:2])
	p.subheading("What to do next")
	p.list(p.Next)
}

// tracing says how to find where a number is from.
func (p *paper) tracing() {
	p.small("Every number can be traced. Its ID is that of its row, a slash, and its column’s key, both in small type: dustlog explain ID prints formula, inputs and source, and which readings it rests on.")
}

// part sets a section that screen and paper share.
func (p *paper) part(s part) error {
	p.section(s.Title)
	for _, text := range s.Intro {
		p.para(text)
	}
	for _, g := range s.Tables {
		p.grid(g)
	}
	p.small(s.Gloss)
	p.list(s.Notes)
	return p.figures(s.Figures)
}

func (p *paper) grid(g grid) {
	columns := make([]column, len(g.Columns))
	for i, c := range g.Columns {
		columns[i] = column{head: withID(c.Head, c.Key), width: c.Width, right: c.Right}
	}
	var rows [][]string
	for _, r := range g.Rows {
		cells := slices.Clone(r.Cells)
		cells[0] = withID(cells[0], r.ID)
		rows = append(rows, cells)
	}
	p.table(g.Caption, columns, rows)
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
	p.small(a.Question)
	p.font("serif", "B", 16, toneColour[a.Tone])
	p.put(margin, p.lines(toneMark[a.Tone]+"  "+a.Short, textWidth), 16, textWidth, "L")
	if a.Figure != "" {
		p.font("sans", "B", bodySize, inkColour)
		p.put(margin, p.lines(a.Figure, textWidth), bodySize, textWidth, "L")
	}
	p.gap(1)
	p.para(a.Why)
	if a.Caution != "" {
		p.para("But: " + a.Caution)
	}
	p.gap(2)
}

func (p *paper) contents(found []contentsLine) {
	p.font("serif", "B", 14, inkColour)
	p.put(margin, []string{"Contents"}, 14, textWidth, "L")
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
var sectionTitles = []string{"The evidence", "The comparison in numbers", "What was breathed, shift by shift", "Cautions", "What the sensors cannot show", "What a report should hold", "Data: what there is, what is missing", "Method and sources", "Appendix"}

func (p *paper) figures(list []figure) error {
	for _, f := range list {
		if err := p.picture(f.ID, bytes.NewReader(p.pictures[f.ID]), f.Caption); err != nil {
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
	p.section(sectionTitles[0])
	return p.figures(p.Evidence)
}

func (p *paper) comparison() error {
	r := p.Compare
	if r == nil {
		return nil
	}
	p.section(sectionTitles[1])
	unit := r.UnitOfReplication
	both := func(x, y string) []string { return []string{x, y} }
	rows := [][]string{
		append([]string{unit + "s"}, both(fmt.Sprint(r.NBefore), fmt.Sprint(r.NAfter))...),
		append([]string{withID(r.MeanKind+", "+r.Unit, "compare")}, both(sig(r.GMBefore), sig(r.GMAfter))...),
		{withID("ratio after/before", "compare/ratio, compare/ci_low, compare/ci_high"), fmt.Sprintf("%s (%s to %s)", num("%.2f", r.Ratio), num("%.2f", r.CILow), num("%.2f", r.CIHigh)), ""},
		{withID("p (interval method)", "compare/p"), pText(r.PValue), ""},
		{withID("p (relabelling the "+unit+"s)", "compare/p_relabelled"), pText(r.PermutationP), ""},
		{"smallest reduction that matters", fmt.Sprintf("%.0f %%", r.SmallestChange), ""},
		{"design grade", string(r.Design), ""},
	}
	p.table(fmt.Sprintf("%s, sensor “%s” (%s)", metricLabel(r.Metric), r.Sensor, spaced(r.Position)),
		[]column{{"", 4, false}, {withID(r.Before, "before"), 3, true}, {withID(r.After, "after"), 3, true}}, rows)
	p.para(capital(r.DesignWhy) + ".")
	var bins [][]string
	for _, b := range r.Bins {
		bins = append(bins, []string{withID(b.Label, "compare/size/"+b.Metric), b.Unit, sig(b.Before), sig(b.After), num("%.2f", b.Ratio), num("%.2f", b.CILow) + " to " + num("%.2f", b.CIHigh), b.Note})
	}
	p.table("By size: mean of the "+unit+"s", []column{{"size", 2.2, false}, {"unit", 1.2, false}, {withID(r.Before, "before"), 1.5, true}, {withID(r.After, "after"), 1.5, true}, {withID("ratio", "ratio"), 1, true}, {"95 % interval", 2, true}, {"remark", 4, false}}, bins)
	p.list(sentences(r.Warnings))
	return nil
}

func (p *paper) shifts() error {
	p.section(sectionTitles[2])
	p.para("Against " + p.Exposure.Limit.Label() + ". 8-hour TWA: the dust of the shift spread over 8 hours, time not measured counting as zero; beside it the same with unmeasured time like the measured, and like the task with the highest mean.")
	p.shiftTable("", p.Person)
	var limits [][]string
	for _, l := range p.Limits {
		limits = append(limits, []string{l.Sensor, l.Limit, l.Bearing, fmt.Sprintf("%d of %d", l.Governs, l.Shifts), shareText(l.Highest, l.HighestIsAtLeast), fmt.Sprint(l.Over), l.Peaks})
	}
	p.table("Every limit asked about", []column{{"sensor", 1.2, false}, {"limit", 4, false}, {"for this wood", 1.5, false}, {"counts in", 1.2, true}, {"highest share", 1.2, true}, {"over", 0.8, true}, {"short peaks", 2.5, false}}, limits)
	var why []string
	for _, r := range p.Reasons {
		why = append(why, fmt.Sprintf("%s: %s in %d of %d shifts. On %s: %s.", r.Sensor, r.Finding, r.Shifts, r.Of, r.Date, r.Why))
	}
	p.list(append(why, sentences(p.Exposure.Warnings)...))
	if err := p.figures(p.view.Traces); err != nil {
		return err
	}
	if err := p.figures(p.Days); err != nil {
		return err
	}
	var groups [][]string
	for _, g := range p.Groups {
		groups = append(groups, []string{withID(g.Sensor, groupID(g)), g.Setup, fmt.Sprint(g.Days), sig(g.GM), num("%.2f", g.GSD), sig(g.P95), sig(g.UTL95_70), string(g.Finding), g.Why})
	}
	p.table("What these shifts say about other days: the shifts of one sensor under one setup as days of one exposure group",
		[]column{{"sensor", 1.2, false}, {"setup", 1.6, false}, {"days", 0.7, true}, {withID("GM mg/m³", "gm"), 1, true}, {withID("GSD", "gsd"), 0.8, true}, {withID("95th percentile mg/m³", "p95"), 1.4, true}, {withID("UTL95,70 mg/m³", "utl95_70"), 1.3, true}, {"finding", 1.2, false}, {"reason", 4, false}}, groups)
	return nil
}

func (p *paper) shiftTable(caption string, shifts []exposure.ShiftResult) {
	var rows [][]string
	for _, s := range shifts {
		peak := num("%.3f", s.Max15min)
		if s.Max15minStart != nil {
			peak += " at " + p.clock(*s.Max15minStart)
		}
		rows = append(rows, []string{withID(s.Date, s.Date+"/"+s.Sensor), p.clock(s.Start) + "–" + p.clock(s.End), s.Sensor, s.Setup, fmt.Sprintf("%.0f of %.0f", s.MinutesMeasured, s.Minutes),
			num("%.3f", s.TWA8h), num("%.3f", s.TWA8hFilled), num("%.3f", s.TWA8hWorst), peak, strings.TrimSuffix(shareText(s.ShareOfLimit, s.ShareIsAtLeast), " %"), string(s.Finding)})
	}
	p.table(caption, []column{{"date", 1.6, false}, {"shift", 1.7, false}, {"sensor", 1.3, false}, {"setup", 1.7, false}, {"measured min", 1.5, true}, {withID("TWA 8 h mg/m³", "twa_8h"), 1.2, true},
		{withID("like measured mg/m³", "twa_8h_like_measured"), 1.4, true}, {withID("like worst task mg/m³", "twa_8h_like_worst_task"), 1.4, true}, {withID("highest 15 min mg/m³", "max_15min"), 1.5, true}, {withID("share of limit %", "share_of_limit"), 1.1, true}, {"finding", 1.4, false}}, rows)
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
	p.section("How to check this report")
	p.list(p.Checks)
	var rows [][]string
	for _, s := range p.Settings {
		rows = append(rows, []string{s.Name, s.Value, s.Origin})
	}
	p.table("Settings that the results depend on", []column{{"setting", 2, false}, {"value", 3, false}, {"from", 1.5, false}}, rows)
	return nil
}

// words are the parts without numbers.
func (p *paper) words() error {
	p.section(sectionTitles[3])
	p.list(p.Cautions)
	p.section(sectionTitles[4])
	p.list(p.CannotSee)
	p.subheading("What would settle it")
	p.list(p.Settle)
	p.section(sectionTitles[5])
	p.para("What EN 689:2018 expects of a report on workplace exposure (from memory), and what this one lacks.")
	var rows [][]string
	for _, c := range p.Checklist {
		mark := "missing"
		if c.Has {
			mark = "here"
		}
		rows = append(rows, []string{c.Item, mark, c.Note})
	}
	p.table("", []column{{"item", 3, false}, {"", 0.8, false}, {"note", 4, false}}, rows)
	return nil
}

func (p *paper) data() error {
	p.section(sectionTitles[6])
	var rows [][]string
	for _, d := range p.Data {
		out := "nothing"
		if len(d.Excluded) > 0 {
			out = strings.Join(d.Excluded, ", ")
		}
		rows = append(rows, []string{d.Sensor, d.Model, d.Position, fmt.Sprintf("%.0f", d.Minutes), fmt.Sprintf("%.0f", d.Measured), out, thousands(d.Frames), thousands(d.Checksum), thousands(d.Others), thousands(d.Skipped)})
	}
	p.table("", []column{{"sensor", 1.3, false}, {"model", 1, false}, {"place", 1.3, false}, {"shift min", 1, true}, {"measured min", 1.1, true}, {"left out, by flag", 2.2, false}, {"frames", 1.1, true}, {"bad checksums", 1.2, true}, {"other bad frames", 1, true}, {"bytes skipped", 1.1, true}}, rows)
	p.para("A reading speaks until the next one, for at most 5 seconds; longer is a gap and stays one. Bad frames are counted, never repaired. Mass scale of sensors that send two: " + p.MassScale + ".")
	rows = nil
	for _, e := range p.Events {
		rows = append(rows, []string{p.stamp(e.Time), e.Sensor, spaced(e.Kind), e.Text})
	}
	p.table("Events", []column{{"when", 1.6, false}, {"sensor", 1.2, false}, {"what", 1.4, false}, {"detail", 5, false}}, rows)
	return nil
}

func (p *paper) method() error {
	p.section(sectionTitles[7])
	p.para(p.Exposure.Method.String())
	if p.view.Respirator != nil {
		p.para("Respirator: " + p.view.Respirator.Method + ".")
	}
	p.list(p.Sources)
	return nil
}

func (p *paper) appendix() error {
	p.section(sectionTitles[8])
	if r := p.Compare; r != nil {
		var rows [][]string
		for _, s := range r.Sessions {
			rows = append(rows, []string{withID(s.Date, sessionID(s, p.Zone)), s.Setup, p.clock(s.Start) + "–" + p.clock(s.End), fmt.Sprint(s.Runs), strings.Join(s.Tasks, ", "), fmt.Sprintf("%.0f", s.Minutes), sig(s.Adjusted)})
		}
		p.table("All "+r.UnitOfReplication+"s", []column{{"date", 1.5, false}, {"setup", 2, false}, {"from to", 1.6, false}, {"runs", 0.7, true}, {"tasks", 3, false}, {"measured min", 1.2, true}, {withID("task-adjusted mean, "+r.Unit, "mean"), 1.8, true}}, rows)
		rows = nil
		for _, e := range r.Excluded {
			rows = append(rows, []string{e.What, e.Name, e.Why})
		}
		p.table("Left out of the comparison", []column{{"what", 1, false}, {"which", 2, false}, {"why", 4, false}}, rows)
	}
	p.shiftTable("The other places", p.Elsewhere)
	p.grid(p.Runs)
	p.grid(p.Falls)
	var rows [][]string
	for _, s := range p.Setups {
		to := "still in use"
		if !s.To.IsZero() {
			to = p.stamp(s.To)
		}
		rows = append(rows, []string{s.Setup, p.stamp(s.From), to})
	}
	p.table("Setups", []column{{"setup", 3, false}, {"from", 2, false}, {"to", 2, false}}, rows)
	return nil
}
