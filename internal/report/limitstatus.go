package report

import (
	"strings"

	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// limitsPart is the limits asked about with their legal status and source.
func limitsPart(in Input) part {
	p := part{ID: "limits", Title: words.Of("Limits used, and their status")}
	g := grid{Columns: []gridColumn{texts(words.Of("limit"), 1.4), texts(words.Of("body"), 2), texts(words.Of("value as printed"), 1.4), texts(words.Of("dust"), 1.6), texts(words.Of("averaged over"), 1), texts(words.Of("status"), 2), texts(words.Of("source"), 3), texts(words.Of("table of"), 0.9), texts(words.Of("to know"), 3)}}
	for _, l := range append([]exposure.Limit{in.Exposure.Limit}, in.Exposure.Also...) {
		if l.ID == "" {
			continue
		}
		source := strings.Join(filled(l.Source.Document, l.Source.Clause, l.Source.Year), ", ")
		g.Rows = append(g.Rows, gridRow{"", []any{l.ID, l.Body + ", " + l.Jurisdiction, l.ValuePrinted, l.FractionPrinted + "; " + l.Agent, l.AveragingPrinted, l.LegalStatus, source, words.Day(l.AsOf), knowOf(l)}})
	}
	if len(g.Rows) > 0 {
		p.Tables = []grid{g}
		p.Notes = []words.Text{words.Of("Limits change: check with the body named before you act on one. The code that holds where you work comes first.")}
	}
	return p
}

func knowOf(l exposure.Limit) words.Text {
	var parts []words.Text
	if l.Own {
		parts = append(parts, words.Of("given by the user, not from the built-in table"))
	}
	if l.Doubtful {
		parts = append(parts, words.Of("doubtful: check with the issuing body first"))
	}
	if l.FromMemory {
		parts = append(parts, words.Of("from memory: not looked up again for this table"))
	}
	know := words.Join("; ", parts...)
	switch {
	case len(parts) == 0:
		return words.Literal(l.Notes)
	case l.Notes == "":
		return know
	}
	return words.Join(". ", know, words.Literal(l.Notes))
}
