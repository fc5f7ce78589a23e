package report

import (
	"strings"

	"dustlog/internal/exposure"
)

// limitsPart is the limits asked about with their legal status and source.
func limitsPart(in Input) part {
	p := part{ID: "limits", Title: "Limits used, and their status"}
	g := grid{Columns: []gridColumn{texts("limit", 1.4), texts("body", 2), texts("value as printed", 1.4), texts("dust", 1.6), texts("over", 1), texts("status", 2), texts("source", 3), texts("table of", 0.9), texts("to know", 3)}}
	for _, l := range append([]exposure.Limit{in.Exposure.Limit}, in.Exposure.Also...) {
		if l.ID == "" {
			continue
		}
		source := strings.Join(filled(l.Source.Document, l.Source.Clause, l.Source.Year), ", ")
		g.Rows = append(g.Rows, gridRow{"", []string{l.ID, l.Body + ", " + l.Jurisdiction, l.ValuePrinted, l.FractionPrinted + "; " + l.Agent, l.AveragingPrinted, l.LegalStatus, source, l.AsOf, knowOf(l)}})
	}
	if len(g.Rows) > 0 {
		p.Tables = []grid{g}
		p.Notes = []string{"Limits change: check with the body named before you act on one. The code that holds where you work comes first."}
	}
	return p
}

func knowOf(l exposure.Limit) string {
	var parts []string
	if l.Own {
		parts = append(parts, "given by the user, not from the built-in table")
	}
	if l.Doubtful {
		parts = append(parts, "doubtful: check with the issuing body first")
	}
	if l.FromMemory {
		parts = append(parts, "from memory: not looked up again for this table")
	}
	return strings.Join(filled(strings.Join(parts, "; "), l.Notes), ". ")
}
