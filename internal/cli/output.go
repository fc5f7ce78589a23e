package cli

import (
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"dustlog/internal/words"
)

// writeJSON prints one document.
func writeJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// table prints rows in columns; numbers belong in columns whose header has a unit.
type table struct{ w *tabwriter.Writer }

func newTable(out io.Writer, headers ...string) *table {
	t := bareTable(out)
	t.row(anySlice(headers)...)
	return t
}

// bareTable has no headers.
func bareTable(out io.Writer) *table {
	return &table{w: tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)}
}

func (t *table) row(cells ...any) {
	text := make([]string, len(cells))
	for i, c := range cells {
		text[i] = strings.TrimRight(fmt.Sprint(c), " ")
	}
	fmt.Fprintln(t.w, strings.Join(text, "\t"))
}

func (t *table) flush() { _ = t.w.Flush() }

func anySlice(s []string) []any {
	out := make([]any, len(s))
	for i := range s {
		out[i] = s[i]
	}
	return out
}

// number prints a value that may be missing.
func number(x *float64, format string) string {
	if x == nil {
		return "–"
	}
	return fmt.Sprintf(format, *x)
}

// significant prints three digits, as the report does.
func significant(x *float64) string {
	if x == nil {
		return "–"
	}
	return string(words.Significant(*x, 3))
}

// pValue prints a p value, as the report does: far below a thousandth its digits mean
// nothing.
func pValue(p *float64) string {
	if p != nil && *p < 0.001 {
		return "< 0.001"
	}
	return number(p, "%.3f")
}

// minus writes a minus sign for a hyphen.
func minus(text string) string { return strings.ReplaceAll(text, "-", "−") }

// wrap breaks text into lines of at most width characters.
func wrap(text string, width int, indent string) string {
	var b strings.Builder
	used := 0
	for _, word := range strings.Fields(text) {
		n := len([]rune(word))
		switch {
		case used == 0:
			b.WriteString(indent)
		case used+1+n > width:
			b.WriteString("\n" + indent)
			used = 0
		default:
			b.WriteString(" ")
			used++
		}
		b.WriteString(word)
		used += n
	}
	return b.String()
}
