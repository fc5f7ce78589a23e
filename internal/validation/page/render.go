package main

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"dustlog/internal/validation"
)

// titles are the headings of the packages; one that is missing goes by its folder.
var titles = map[string]string{
	"internal/exposure":       "Shifts, limits, size fractions",
	"internal/exposure/group": "Several shifts together",
	"internal/compare":        "Before and after",
	"internal/calibrate":      "Sensors against filters and each other",
	"internal/clearance":      "How fast dust leaves the air",
	"internal/efficiency":     "Separators and filters",
	"internal/respirator":     "Respirators",
}

const intro = `# Validation

Published values, and what dustlog computes from the same inputs. This page is generated: every row is an assertion that the
tests make in each run (` + "`make docs`" + ` writes the page, ` + "`make check`" + ` fails if it is out of date). The difference is ours less
published; “none” is less than a ten-millionth of the value, which the rounding of both computations can leave. “From memory” marks
values that were not looked up again; “computed” marks those that other software gave for the same input, where nobody printed them.
`

// render makes the page. Rows are in order of section, method and source.
func render(records []validation.Record, simulations map[string][]validation.Simulation) ([]byte, error) {
	slices.SortStableFunc(records, func(a, b validation.Record) int {
		return cmp.Or(cmp.Compare(a.Section, b.Section), natural(a.Method, b.Method), cmp.Compare(a.Source, b.Source))
	})
	var b strings.Builder
	b.WriteString(intro)
	section := ""
	for i, r := range records {
		if i > 0 && records[i-1].Section == r.Section && records[i-1].Method == r.Method && records[i-1].Source == r.Source {
			return nil, fmt.Errorf("two rows of the same source are called %q in %s: give them names of their own", r.Method, r.Section)
		}
		if r.Section != section {
			section = r.Section
			fmt.Fprintf(&b, "\n## %s\n\n`%s`\n\n| method | source | published | ours | difference |\n|---|---|---|---|---|\n", title(section), section)
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", cell(r.Method), cell(r.Source), published(r), ours(r), difference(r))
	}
	if len(simulations) == 0 {
		return []byte(b.String()), nil
	}
	b.WriteString("\n# Simulations\n\nInvented studies whose truth is known: how often the method is right about them. Too slow for every run; the seed repeats them.\n")
	for _, section := range slices.Sorted(maps.Keys(simulations)) {
		fmt.Fprintf(&b, "\n## %s: simulations\n\n`%s`\n\n| what | setting | intended | found | studies | seed |\n|---|---|---|---|---|---|\n", title(section), section)
		for _, s := range simulations[section] {
			fmt.Fprintf(&b, "| %s | %s | %s | %.1f %% ± %.1f | %d | %d |\n", cell(s.What), cell(s.Setting), cell(s.Intended), 100*s.Found, 100*s.SE, s.Studies, s.Seed)
		}
	}
	return []byte(b.String()), nil
}

func title(section string) string {
	if t, ok := titles[section]; ok {
		return t
	}
	return section
}

// cell keeps a text inside its table cell.
func cell(text string) string {
	return strings.NewReplacer("|", `\|`, "\n", " ", "<", "&lt;").Replace(text)
}

func published(r validation.Record) string {
	switch {
	case r.Mixed:
		return fmt.Sprintf("%d values", r.Values)
	case r.Values > 1:
		return fmt.Sprintf("%d values, %s to %s", r.Values, number(r.Published), number(r.Highest))
	}
	return number(r.Published)
}

func ours(r validation.Record) string {
	if r.Values > 1 {
		return fmt.Sprintf("%d agree", r.Values)
	}
	return number(r.Ours)
}

// rounding is the share of a value that the rounding of two computations can
// leave. Differences below it hang on the processor and are not written out.
const rounding = 1e-7

// difference has one digit.
func difference(r validation.Record) string {
	size := number(oneDigit(math.Abs(r.Difference)))
	switch {
	case r.Relative < rounding:
		return "none"
	case r.Mixed:
		return "at most " + number(oneDigit(r.Relative)) + " of it"
	case r.Values > 1:
		return "at most " + size
	case r.Difference > 0:
		return "+" + size
	}
	return "−" + size
}

func oneDigit(x float64) float64 {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 1, 64), 64)
	return rounded
}

// number has seven significant digits, and no trailing zeros.
func number(x float64) string {
	mantissa, exponent, _ := strings.Cut(strconv.FormatFloat(x, 'g', 7, 64), "e")
	mantissa = strings.Replace(mantissa, "-", "−", 1)
	if exponent == "" {
		return mantissa
	}
	power, _ := strconv.Atoi(exponent)
	return mantissa + " × 10" + superscript.Replace(strconv.Itoa(power))
}

var superscript = strings.NewReplacer("-", "⁻", "0", "⁰", "1", "¹", "2", "²", "3", "³", "4", "⁴", "5", "⁵", "6", "⁶", "7", "⁷", "8", "⁸", "9", "⁹")

// natural orders names with numbers in them as a reader would: n = 5 before n = 10.
func natural(a, b string) int {
	a, b = strings.ToLower(a), strings.ToLower(b)
	for a != "" && b != "" {
		x, y := leadingNumber(a), leadingNumber(b)
		if x != "" && y != "" {
			m, _ := strconv.Atoi(x)
			n, _ := strconv.Atoi(y)
			if c := cmp.Or(cmp.Compare(m, n), cmp.Compare(x, y)); c != 0 {
				return c
			}
			a, b = a[len(x):], b[len(y):]
			continue
		}
		if a[0] != b[0] {
			return cmp.Compare(a[0], b[0])
		}
		a, b = a[1:], b[1:]
	}
	return cmp.Compare(len(a), len(b))
}

func leadingNumber(s string) string {
	n := 0
	for n < len(s) && n < 9 && s[n] >= '0' && s[n] <= '9' {
		n++
	}
	return s[:n]
}
