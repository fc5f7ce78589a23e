package words

import (
	"errors"
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Text is something to say. The zero Text says nothing.
type Text struct {
	form form
	key  string // the English format, or what form says
	one  string // the format for one, if there is another for many
	n    int    // that one and key are chosen by
	args []any
}

// form is how a Text is put together.
type form uint8

const (
	sentence form = iota // key formats args
	literal              // key, as it is
	joined               // args with key between them
	until                // the only argument up to the first key
	capital              // the only argument with a capital at its start
)

// Of is a text by its English format, as for fmt.Sprintf. The format must be a
// constant: it is looked up in the catalogue. Arguments may be texts, numbers,
// moments and names.
func Of(format string, args ...any) Text { return Text{key: format, args: args} }

// Plural is a text that depends on a count: one is its English format for exactly
// one, many that for any other. The count must be the first argument too.
func Plural(n int, one, many string, args ...any) Text {
	return Text{key: many, one: one, n: n, args: args}
}

// Literal is a text that is the same in every language.
func Literal(s string) Text { return Text{form: literal, key: s} }

// Join is texts with a separator between them. Those that say nothing are kept.
func Join(separator string, texts ...Text) Text {
	if len(texts) == 0 {
		return Text{}
	}
	t := Text{form: joined, key: separator}
	for _, part := range texts {
		t.args = append(t.args, part)
	}
	return t
}

// JoinSaid is Join without the texts that say nothing.
func JoinSaid(separator string, texts ...Text) Text {
	var said []Text
	for _, t := range texts {
		if !t.IsZero() {
			said = append(said, t)
		}
	}
	if len(said) == 1 {
		return said[0]
	}
	return Join(separator, said...)
}

// Until is the text up to the first mark in it, such as a semicolon.
func (t Text) Until(mark string) Text { return Text{form: until, key: mark, args: []any{t}} }

// Capital is the text with a capital at its start.
func (t Text) Capital() Text { return Text{form: capital, args: []any{t}} }

// Sentence is the text with a capital at its start and a full stop.
func (t Text) Sentence() Text { return Join("", t.Capital(), Literal(".")) }

// IsZero reports whether the text says nothing.
func (t Text) IsZero() bool { return t.key == "" && len(t.args) == 0 }

// String says it in English.
func (t Text) String() string { return t.in(english{}) }

// MarshalText writes English: JSON is an interface and has one language.
func (t Text) MarshalText() ([]byte, error) { return []byte(t.String()), nil }

// UnmarshalText reads what was written. What it was made of is not known any more.
func (t *Text) UnmarshalText(b []byte) error {
	*t = Text{}
	if len(b) > 0 {
		*t = Literal(string(b))
	}
	return nil
}

// language says formats and arguments its own way.
type language interface {
	format(t Text) string
}

func (t Text) in(l language) string {
	switch t.form {
	case literal:
		return t.key
	case joined:
		parts := make([]string, len(t.args))
		for i, a := range t.args {
			parts[i] = a.(Text).in(l)
		}
		return strings.Join(parts, t.key)
	case until:
		before, _, _ := strings.Cut(t.args[0].(Text).in(l), t.key)
		return before
	case capital:
		said := t.args[0].(Text).in(l)
		first, n := utf8.DecodeRuneInString(said)
		return string(unicode.ToUpper(first)) + said[n:]
	}
	if t.IsZero() {
		return ""
	}
	return l.format(t)
}

// english is the language of the keys.
type english struct{}

func (english) format(t Text) string {
	if t.one != "" && t.n == 1 {
		return fmt.Sprintf(t.one, t.args...)
	}
	return fmt.Sprintf(t.key, t.args...)
}

// Once is the texts without those that say what one before them said.
func Once(texts []Text) []Text {
	kept, said := []Text{}, map[string]bool{}
	for _, t := range texts {
		if s := t.String(); !said[s] {
			said[s] = true
			kept = append(kept, t)
		}
	}
	return kept
}

// Strings says every text in English.
func Strings(texts []Text) []string {
	out := make([]string, len(texts))
	for i, t := range texts {
		out[i] = t.String()
	}
	return out
}

// textError is an error that can be said in any language.
type textError struct{ Text }

func (e *textError) Error() string { return e.String() }

// Error makes an error of a text.
func Error(t Text) error { return &textError{t} }

// OfError is what an error says: in every language if a text is at the end of its
// chain, without what was wrapped around it.
func OfError(err error) Text {
	if e := (*textError)(nil); errors.As(err, &e) && e.Error() == err.Error() {
		return e.Text
	}
	return Literal(err.Error())
}
