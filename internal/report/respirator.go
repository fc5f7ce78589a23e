package report

import (
	"fmt"
	"strings"

	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

// respiratorPart is the respirator question task by task, with what it takes.
func respiratorPart(in Input) part {
	p := part{ID: "respirator", Title: words.Of("The respirator, task by task")}
	if len(in.Exposure.Masks) == 0 {
		return p
	}
	if len(in.Exposure.Limit.Body) > 0 {
		p.Intro = []words.Text{words.Of("Held against the limit that decides for each task; “cannot tell” counts as keep it on. A mean over a run says nothing about its minutes, and nothing about dust that the sensor does not see.")}
	}
	g := grid{Columns: []gridColumn{texts(words.Of("task"), 1.6), numbers(words.Of("runs"), "runs", 0.6), numbers(words.Of("days"), "days", 0.6), numbers(words.Of("highest run mean, mg/m³"), "highest_run", 1.2), numbers(words.Of("upper level, mg/m³"), "upper", 1),
		numbers(words.Of("at least, × limit"), "ratio_at_least", 1), numbers(words.Of("to cover, × limit"), "ratio_to_cover", 1), texts(words.Of("answer"), 1.4), texts(words.Of("reason"), 5)}}
	for _, m := range tasksOf(in) {
		cells := []any{m.Label(), fmt.Sprint(m.Runs), fmt.Sprint(m.Days), num("%.3f", m.HighestMeanMgM3), "–", num("%.2f", m.HazardRatioAtLeast), "–", inWords(m.State), m.Why}
		if d := m.Deciding(); d != nil {
			cover := num("%.2f", d.HazardRatioToCover)
			if d.AtLeast && d.HazardRatioToCover != nil {
				cover = "≥ " + cover
			}
			cells[4], cells[6] = sig(d.UpperMgM3), cover
		}
		g.Rows = append(g.Rows, gridRow{maskID(m), cells})
	}
	p.Tables = []grid{g}
	p.Gloss = words.Of("Upper level: with 95 %% confidence 95 %% of days stay below it, each counted by its highest run. At least, to cover: the dust over the limit; “≥”: no factor for the limit’s fraction, so it may be more.")
	if in.Respirator == nil {
		return p
	}
	if classes := classTable(*in.Respirator); len(classes.Rows) > 0 {
		p.Tables = append(p.Tables, classes)
	}
	for _, s := range in.Respirator.Stricter {
		p.Notes = append(p.Notes, words.Of("Asks for more: %s: %s (%s).", s.Body, strings.TrimSuffix(s.Text, "."), s.Source))
	}
	for _, c := range in.Respirator.Cautions {
		p.Notes = append(p.Notes, c.Text)
	}
	p.Notes = append(p.Notes, words.Of("Protection factors as of %s. %s", in.Respirator.Factors.AsOf, in.Respirator.Factors.Elsewhere))
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

func inWords(s exposure.MaskState) words.Text {
	if s == exposure.MaskCannotTell {
		return words.Of("cannot tell, so keep it on")
	}
	return s.Text()
}

func maskID(m exposure.MaskResult) string { return "respirator/" + m.Label() }

// classTable lists what each table of factors says, once for tasks that have the
// same classes.
func classTable(r study.PastRespirator) grid {
	g := grid{Caption: words.Of("Classes of respirators by assigned protection factor. A factor holds for one that fits, is tested to fit, and is worn all the time"), Columns: []gridColumn{
		texts(words.Of("table"), 2.2), texts(words.Of("tasks"), 2), texts(words.Of("classes that cover the ratio"), 3), texts(words.Of("too low"), 3)}}
	index := map[string]int{}
	for _, t := range r.Tasks {
		for _, c := range t.Classes {
			covers := classNames(c.Covers, words.Of("none"))
			if len(c.Covers) == 0 && len(c.NotRuledOut) > 0 {
				covers = words.Of("not shown of any, since the ratio is a lower bound; not ruled out: %s", classNames(c.NotRuledOut, words.Text{}))
			}
			low := classNames(c.TooLow, words.Of("none"))
			key := c.Table + "\x00" + covers.String() + "\x00" + low.String()
			if i, known := index[key]; known {
				g.Rows[i].Cells[1] = fmt.Sprint(g.Rows[i].Cells[1], ", ", t.Label())
				continue
			}
			index[key] = len(g.Rows)
			g.Rows = append(g.Rows, gridRow{"", []any{fmt.Sprintf("%s (%s)", c.Title, c.Source), t.Label(), covers, low}})
		}
	}
	return g
}

func classNames(list []respirator.Class, none words.Text) words.Text {
	var names []words.Text
	for i, c := range list {
		if i == 4 && len(list) > 5 {
			names = append(names, words.Of("and %d more", len(list)-4))
			break
		}
		names = append(names, words.Of("%s: %g", c.Label(), c.APF))
	}
	if len(names) == 0 {
		return none
	}
	return words.Join("; ", names...)
}
