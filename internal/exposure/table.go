package exposure

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// LimitTable is the limits one can choose from: the built-in table, and what a
// user adds to it. The zero table is empty.
type LimitTable struct{ limits []Limit }

// BuiltInLimits is the table built into the program.
func BuiltInLimits() (LimitTable, error) {
	limits, err := limitTable()
	return LimitTable{limits}, err
}

// Limits returns the built-in table of limits, in its own order.
func Limits() []Limit {
	t, _ := BuiltInLimits()
	return t.All()
}

// FindLimit and ChooseLimit are Find and Choose in the built-in table.
func FindLimit(id string) (Limit, error) {
	t, err := BuiltInLimits()
	if err != nil {
		return Limit{}, err
	}
	return t.Find(id)
}

// ChooseLimit is like FindLimit, and refuses limits that are not Assessable.
func ChooseLimit(id string) (Limit, error) {
	l, err := FindLimit(id)
	if err != nil {
		return Limit{}, err
	}
	return l, l.Assessable()
}

// With adds a user's own limits. An id that is taken is an error: a built-in
// value must not change its meaning silently.
func (t LimitTable) With(own []OwnLimit) (LimitTable, error) {
	limits := slices.Clone(t.limits)
	for _, o := range own {
		l, err := o.limit()
		if err != nil {
			return t, err
		}
		if slices.ContainsFunc(limits, func(other Limit) bool { return other.ID == l.ID }) {
			return t, fmt.Errorf("limit %q: this id is taken: choose another, such as %q", l.ID, "shop-"+l.ID)
		}
		limits = append(limits, l)
	}
	return LimitTable{limits}, nil
}

// All lists the limits in the table's own order, the user's last.
func (t LimitTable) All() []Limit { return slices.Clone(t.limits) }

// Find returns the limit of that id, whether or not it is Assessable. The error
// wraps dust.ErrUnknownLimit and names ids that are nearly the same.
func (t LimitTable) Find(id string) (Limit, error) {
	var near []string
	for _, l := range t.limits {
		if l.ID == id {
			return l, nil
		}
		if alike(l.ID, strings.ToLower(strings.TrimSpace(id))) && len(near) < 5 {
			near = append(near, l.ID)
		}
	}
	if len(near) == 0 {
		return Limit{}, fmt.Errorf("%w %q: see `dustlog limits` for those there are", dust.ErrUnknownLimit, id)
	}
	return Limit{}, fmt.Errorf("%w %q: did you mean %s? `dustlog limits` lists all", dust.ErrUnknownLimit, id, strings.Join(near, ", "))
}

// Choose is Find for a limit that shifts are to be judged against: it also
// refuses those that are not Assessable.
func (t LimitTable) Choose(id string) (Limit, error) {
	l, err := t.Find(id)
	if err != nil {
		return Limit{}, err
	}
	return l, l.Assessable()
}

// OwnLimit is a limit as a user writes it down: a shop's own target, or a
// published value that the table lacks.
type OwnLimit struct {
	ID           string // as in "shop-target"
	Value        string // with its unit, as in "0.5 mg/m3"
	Fraction     string
	Averaging    string // "8 h", "10 h" or "15 min"
	Source       string // who says so, and where it can be read; required
	Jurisdiction string
	Wood         string // as Limit.Species; "" means any
	Notes        string
}

func (o OwnLimit) limit() (Limit, error) {
	fail := func(what string) (Limit, error) { return Limit{}, fmt.Errorf("limit %q: %s", o.ID, what) }
	if strings.TrimSpace(o.ID) == "" || strings.ContainsAny(o.ID, " \t,") {
		return fail("give it an id without blanks and commas, as in \"shop-target\"")
	}
	if strings.TrimSpace(o.Source) == "" {
		return fail("it has no source: say who set it and where it can be read, as in source = \"own target, agreed on 2026-03-02\"")
	}
	c, err := dust.ParseConcentration(o.Value)
	if err != nil {
		return fail("value: " + err.Error())
	}
	if c <= 0 {
		return fail(fmt.Sprintf("value %q is not a number above zero", o.Value))
	}
	fraction, err := ParseFraction(o.Fraction)
	if err != nil {
		return fail(err.Error())
	}
	averaging, err := parseAveraging(o.Averaging)
	if err != nil {
		return fail(err.Error() + ": use \"8 h\", \"10 h\" or \"15 min\"")
	}
	wood := o.Wood
	if wood == "" {
		wood = speciesAny
	}
	if !slices.Contains(speciesGroups, wood) {
		return fail(fmt.Sprintf("unknown wood %q: use one of %s", o.Wood, strings.Join(speciesGroups, ", ")))
	}
	l := Limit{
		ID: o.ID, Jurisdiction: o.Jurisdiction, Body: "own", Agent: "wood dust", Species: wood,
		MgM3: c.MilligramsPerM3(), ValuePrinted: printed.Replace(o.Value),
		Fraction: fraction, FractionPrinted: o.Fraction, Averaging: averaging, AveragingPrinted: o.Averaging,
		Kind: "own value", LegalStatus: "the user's own", Source: Source{Document: o.Source}, Own: true, Notes: o.Notes,
	}
	if err := l.Assessable(); err != nil {
		return Limit{}, err
	}
	return l, nil
}

// Overdue says why a limit of the table should be looked up again at a date; nothing
// if nothing is known. Laws change: a table of a year ago is a hint.
func (l Limit) Overdue(now time.Time) words.Text {
	asOf, err := time.Parse("2006-01", l.AsOf)
	if l.Own || err != nil || now.Before(asOf.AddDate(1, 0, 0)) {
		return words.Text{}
	}
	return words.Of("limit %s: the table is of %s, more than a year ago: look it up again at its source", l.ID, l.AsOf)
}

// alike reports whether an id is close to what was typed: one holds the other,
// or they are at most two edits apart.
func alike(id, typed string) bool {
	if len(typed) >= 3 && (strings.Contains(id, typed) || strings.Contains(typed, id)) {
		return true
	}
	return typed != "" && edits(id, typed) <= 2
}

// edits is the number of letters to insert, drop or replace (Levenshtein 1966).
func edits(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal, row[j+1] = row[j+1], min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}
