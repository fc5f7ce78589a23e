package plots

import (
	"strings"
	"unicode"
	"unicode/utf8"

	"gonum.org/v1/plot/text"
	"gonum.org/v1/plot/vg"

	"dustlog/internal/words"
)

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// clean makes text drawable on one line: invalid bytes and controls, which XML
// cannot carry, become replacement marks or spaces, and marks that turn the
// writing direction around, which would spill over into our own words, go.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "\ufffd")
	s = strings.Map(func(r rune) rune {
		if r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			return -1
		}
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == 0xfffe || r == 0xffff {
			return ' '
		}
		return r
	}, s)
	// Only plain spaces: those between thousands stay what they are.
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r == ' ' }), " ")
}

// brief cuts a description for people who cannot see the picture to a length
// that can be listened to.
func brief(s string) string {
	const most = 700
	runes := []rune(clean(s))
	if len(runes) <= most {
		return string(runes)
	}
	return strings.TrimRight(string(runes[:most]), " ") + " …"
}

// brief is a description in the picture's language.
func (o Options) brief(t words.Text) string { return brief(o.Words.Text(t)) }

// elide cuts s with an ellipsis so that it is at most width points wide.
func elide(s string, width vg.Length, sty text.Style) string {
	if sty.Width(s) <= width {
		return s
	}
	for s != "" {
		_, n := utf8.DecodeLastRuneInString(s)
		s = strings.TrimRight(s[:len(s)-n], " ")
		if sty.Width(s+"…") <= width {
			return s + "…"
		}
	}
	return "…"
}

// withUnits keeps a number and its unit on one line.
var withUnits = strings.NewReplacer(" µg/m³", "\u00a0µg/m³", " mg/m³", "\u00a0mg/m³", " 1/cm³", "\u00a01/cm³", " %", "\u00a0%", " min.", "\u00a0min.")

// wrap breaks s into lines of at most width points, between words if it can.
func wrap(s string, width vg.Length, sty text.Style) []string {
	var lines []string
	line := ""
	for _, word := range strings.Split(withUnits.Replace(clean(s)), " ") {
		if line != "" && sty.Width(line+" "+word) <= width {
			line += " " + word
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for sty.Width(word) > width {
			head := splitAt(word, width, sty)
			lines, word = append(lines, head), word[len(head):]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	for i, line := range lines {
		lines[i] = strings.ReplaceAll(line, "\u00a0", " ")
	}
	return lines
}

// splitAt returns the longest head of word that fits, at least one rune.
func splitAt(word string, width vg.Length, sty text.Style) string {
	end := 0
	for i, r := range word {
		next := i + utf8.RuneLen(r)
		if end > 0 && sty.Width(word[:next]) > width {
			break
		}
		end = next
	}
	return word[:end]
}

// capLines keeps at most n lines; the last one kept then ends in an ellipsis.
func capLines(lines []string, n int, width vg.Length, sty text.Style) []string {
	if len(lines) <= n {
		return lines
	}
	lines = lines[:n:n]
	lines[n-1] = elide(lines[n-1]+" …", width, sty)
	return lines
}
