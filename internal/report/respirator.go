package report

import (
	"fmt"
	"strings"

	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/study"
)

// respiratorPart is the respirator question task by task, with what it takes.
func respiratorPart(in Input) part {
	p := part{ID: "respirator", Title: "The respirator, task by task"}
	if len(in.Exposure.Masks) == 0 {
		return p
	}
	if len(in.Exposure.Limit.Body) > 0 {
		p.Intro = []string{"Held against the limit that decides for each task; “cannot tell” counts as keep it on. A mean over a run says nothing about its minutes, and nothing about dust that the sensor does not see."}
	}
	g := grid{Columns: []gridColumn{texts("task", 1.6), numbers("runs", "runs", 0.6), numbers("days", "days", 0.6), numbers("highest run mean, mg/m³", "highest_run", 1.2), numbers("upper level, mg/m³", "upper", 1),
		numbers("at least, × limit", "ratio_at_least", 1), numbers("to cover, × limit", "ratio_to_cover", 1), texts("answer", 1.4), texts("reason", 5)}}
	for _, m := range tasksOf(in) {
		cells := []string{m.Label(), fmt.Sprint(m.Runs), fmt.Sprint(m.Days), num("%.3f", m.HighestMeanMgM3), "–", num("%.2f", m.HazardRatioAtLeast), "–", inWords(m.State), m.Why.String()}
		if d := m.Deciding(); d != nil {
			cells[4], cells[6] = sig(d.UpperMgM3), num("%.2f", d.HazardRatioToCover)
			if d.AtLeast && d.HazardRatioToCover != nil {
				cells[6] = "≥ " + cells[6]
			}
		}
		g.Rows = append(g.Rows, gridRow{maskID(m), cells})
	}
	p.Tables = []grid{g}
	p.Gloss = "Upper level: with 95 % confidence 95 % of days stay below it, each counted by its highest run. At least, to cover: the dust over the limit; “≥”: no factor for the limit’s fraction, so it may be more."
	if in.Respirator == nil {
		return p
	}
	if classes := classTable(*in.Respirator); len(classes.Rows) > 0 {
		p.Tables = append(p.Tables, classes)
	}
	for _, s := range in.Respirator.Stricter {
		p.Notes = append(p.Notes, fmt.Sprintf("Asks for more: %s: %s (%s)", s.Body, strings.TrimSuffix(s.Text, "."), s.Source)+".")
	}
	for _, c := range in.Respirator.Cautions {
		p.Notes = append(p.Notes, c.Text)
	}
	p.Notes = append(p.Notes, fmt.Sprintf("Protection factors as of %s. %s", in.Respirator.Factors.AsOf, in.Respirator.Factors.Elsewhere))
	return p
}

// tasksOf are the answers as of the end of the report, if they were worked out, else
// those of the exposure alone.
func tasksOf(in Input) (out []exposure.MaskResult) {
	if in.Respirator == nil {
		return in.Exposure.Masks
	}
	for _, t := range in.Respirator.Tasks {
		out = append(out, t.MaskResult)
	}
	return out
}

func inWords(s exposure.MaskState) string {
	if s == exposure.MaskCannotTell {
		return string(s) + ", so keep it on"
	}
	return string(s)
}

func maskID(m exposure.MaskResult) string { return "respirator/" + m.Label() }

// classTable lists what each table of factors says, once for tasks that have the
// same classes.
func classTable(r study.PastRespirator) grid {
	g := grid{Caption: "Classes of respirators by assigned protection factor. A factor holds for one that fits, is tested to fit, and is worn all the time", Columns: []gridColumn{
		texts("table", 2.2), texts("tasks", 2), texts("classes that cover the ratio", 3), texts("too low", 3)}}
	index := map[string]int{}
	for _, t := range r.Tasks {
		for _, c := range t.Classes {
			covers := classNames(c.Covers, "none")
			if len(c.Covers) == 0 && len(c.NotRuledOut) > 0 {
				covers = "not shown of any, since the ratio is a lower bound; not ruled out: " + classNames(c.NotRuledOut, "")
			}
			low := classNames(c.TooLow, "none")
			key := c.Table + "\x00" + covers + "\x00" + low
			if i, known := index[key]; known {
				g.Rows[i].Cells[1] += ", " + t.Label()
				continue
			}
			index[key] = len(g.Rows)
			g.Rows = append(g.Rows, gridRow{"", []string{fmt.Sprintf("%s (%s)", c.Title, c.Source), t.Label(), covers, low}})
		}
	}
	return g
}

func classNames(list []respirator.Class, none string) string {
	var names []string
	for i, c := range list {
		if i == 4 && len(list) > 5 {
			names = append(names, fmt.Sprintf("and %d more", len(list)-4))
			break
		}
		names = append(names, fmt.Sprintf("%s: %g", c.Label(), c.APF))
	}
	if len(names) == 0 {
		return none
	}
	return strings.Join(names, "; ")
}
