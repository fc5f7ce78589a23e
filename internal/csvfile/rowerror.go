package csvfile

import (
	"fmt"
	"unicode/utf8"
)

// RowError says what is wrong with one place of a file.
type RowError struct {
	File   string
	Line   int    // counted from 1, the header's line included
	Column string // header; "" if the whole row is meant
	Value  string // what stands there; "" if nothing does
	Reason string

	cause error
}

// Error reads like: week.csv line 17, column pm2_5_ug_m3: "abc" is not a number.
func (e *RowError) Error() string {
	text := fmt.Sprintf("%s line %d", e.File, e.Line)
	if e.Column != "" {
		text += ", column " + printable(e.Column)
	}
	if e.Value == "" {
		return text + ": " + e.Reason
	}
	return fmt.Sprintf("%s: %q %s", text, shortened(e.Value), e.Reason)
}

// Unwrap returns a sentinel of package dust, such as dust.ErrTimeBackwards, or nil.
func (e *RowError) Unwrap() error { return e.cause }

// printable quotes a header only if a terminal or reader would stumble over it.
func printable(header string) string {
	quoted := fmt.Sprintf("%q", shortened(header))
	if quoted == `"`+header+`"` {
		return header
	}
	return quoted
}

// shortened keeps one wild cell from filling the screen.
func shortened(s string) string {
	const most = 60
	if utf8.RuneCountInString(s) <= most {
		return s
	}
	return string([]rune(s)[:most]) + "…"
}
