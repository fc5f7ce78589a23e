package words

import (
	"fmt"
	"reflect"
	"regexp"
	"strings"

	"golang.org/x/text/feature/plural"
	tag "golang.org/x/text/language"
	"golang.org/x/text/message"
	"golang.org/x/text/number"
)

// Printer says texts in one language. A nil Printer speaks English.
type Printer struct {
	tag     tag.Tag
	printer *message.Printer // nil for English
	known   map[string]bool  // the keys of the catalogue
	layouts map[string]string
	decimal string // the decimal sign
}

// English is the printer of the language that the keys are in.
func English() *Printer { return &Printer{tag: tag.English, decimal: "."} }

// In finds the printer for a language by its tag, as in "de" or "de-AT". The error
// lists the languages there are.
func In(name string) (*Printer, error) {
	wanted, err := tag.Parse(name)
	if err != nil {
		return nil, unknown(name)
	}
	base, _ := wanted.Base()
	if base.String() == "en" {
		return English(), nil
	}
	c, err := load(base.String())
	if err != nil {
		return nil, err
	}
	p := &Printer{tag: wanted, printer: message.NewPrinter(wanted, message.Catalog(c.catalog)), known: c.known, layouts: c.layouts}
	p.decimal = decimalSign(wanted)
	return p, nil
}

func unknown(name string) error {
	return fmt.Errorf("unknown language %q: use one of %s", name, strings.Join(Languages(), ", "))
}

// decimalSign is the one that the common locale data has for a language.
func decimalSign(t tag.Tag) string {
	s := message.NewPrinter(t).Sprint(number.Decimal(1.5))
	return strings.TrimSuffix(strings.TrimPrefix(s, "1"), "5")
}

// Tag names the language, for a page's lang attribute.
func (p *Printer) Tag() string {
	if p == nil {
		return "en"
	}
	return p.tag.String()
}

// Say says a text made on the spot, as Of does: its format must be a constant.
func (p *Printer) Say(format string, args ...any) string { return p.Text(Of(format, args...)) }

// Text says a text. What the catalogue lacks is said in English.
func (p *Printer) Text(t Text) string {
	if p == nil || p.printer == nil {
		return t.String()
	}
	return t.in(p)
}

// Number is a number as the language writes it.
func (p *Printer) Number(n Number) string {
	if p == nil || p.printer == nil {
		return string(n)
	}
	return decimalPoint.ReplaceAllString(string(n), "${1}"+p.decimal+"${2}")
}

// decimalPoint is one, not the point of an abbreviated unit.
var decimalPoint = regexp.MustCompile(`([0-9])\.([0-9])`)

// Moment is a time as the language writes it.
func (p *Printer) Moment(m Moment) string {
	if p == nil || p.printer == nil {
		return m.String()
	}
	if layout, ok := p.layouts[m.layout]; ok {
		return m.at.Format(layout)
	}
	return m.String()
}

// format implements language. Texts, numbers and moments among the arguments are
// said in the language before the translation puts them in their places.
func (p *Printer) format(t Text) string {
	args := make([]any, len(t.args))
	for i, a := range t.args {
		switch a := a.(type) {
		case Text:
			args[i] = a.in(p)
		case Number:
			args[i] = p.Number(a)
		case Moment:
			args[i] = p.Moment(a)
		case string:
			args[i] = a
		default:
			args[i] = argument{a, p}
		}
	}
	key := t.key
	if t.one != "" && t.n == 1 && p.known[t.one] {
		key = t.one
	}
	return p.printer.Sprintf(key, args...)
}

// argument prints a value of Go's own as fmt does, with the language's decimal sign.
type argument struct {
	value any
	p     *Printer
}

// Format implements fmt.Formatter.
func (a argument) Format(s fmt.State, verb rune) {
	text := fmt.Sprintf(fmt.FormatString(s, verb), a.value)
	switch reflect.ValueOf(a.value).Kind() {
	case reflect.Float64, reflect.Float32: // quantities that print with their unit, too
		text = a.p.Number(Number(text))
	}
	_, _ = s.Write([]byte(text))
}

// PluralForm implements plural.Interface for counts.
func (a argument) PluralForm(t tag.Tag, _ int) (plural.Form, int) {
	n, ok := a.value.(int)
	if !ok {
		return plural.Other, -1
	}
	return plural.Cardinal.MatchPlural(t, n, 0, 0, 0, 0), n
}

// InTemplate is Say for templates, where a text that was made elsewhere may stand in
// the format's place.
func (p *Printer) InTemplate(text any, args ...any) (string, error) {
	switch text := text.(type) {
	case Text:
		return p.Text(text), nil
	case string:
		return p.Text(Of(text, args...)), nil
	}
	return "", fmt.Errorf("say: %T is neither a text nor a format", text)
}

// Value says a text, a number or a moment; anything else is printed as it is.
func (p *Printer) Value(x any) string {
	switch x := x.(type) {
	case Text:
		return p.Text(x)
	case Number:
		return p.Number(x)
	case Moment:
		return p.Moment(x)
	}
	return fmt.Sprint(x)
}
