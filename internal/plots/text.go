package plots

import (
	"strings"
	"unicode"
	"unicode/utf8"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
)

// Vertical metrics of Liberation Sans as a share of the size, from its hhea table.
const (
	ascent  = 0.905
	descent = 0.212
	leading = 1.3 // distance of two baselines
)

var fonts = font.NewCache(liberation.Collection())

func face(size float64, bold bool) font.Face {
	f := font.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = xfont.WeightBold
	}
	return fonts.Lookup(f, font.Length(size))
}

// textWidth measures s in points. Runes that the font lacks count a full em,
// since another font will stand in for them.
func textWidth(s string, size float64, bold bool) float64 {
	f := face(size, bold)
	known := s
	extra := 0.0
	if strings.ContainsFunc(s, func(r rune) bool { return r >= 0x1100 && r < 0x1e00 || r >= 0x2e80 }) {
		var b strings.Builder
		for _, r := range s {
			if i, err := f.Face.GlyphIndex(nil, r); err != nil || i == 0 {
				extra += size
				continue
			}
			b.WriteRune(r)
		}
		known = b.String()
	}
	return float64(f.Width(known)) + extra
}

// clean makes text drawable on one line: invalid bytes and controls, which XML
// cannot carry, become spaces or replacement marks.
func clean(s string) string {
	s = strings.ToValidUTF8(s, "\ufffd")
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '\u2028' || r == '\u2029' || r == 0xfffe || r == 0xffff {
			return ' '
		}
		return r
	}, s)
	return strings.Join(strings.Fields(s), " ")
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

// elide cuts s with an ellipsis so that it is at most width points wide.
func elide(s string, width, size float64, bold bool) string {
	if textWidth(s, size, bold) <= width {
		return s
	}
	for s != "" {
		_, n := utf8.DecodeLastRuneInString(s)
		s = strings.TrimRight(s[:len(s)-n], " ")
		if textWidth(s+"…", size, bold) <= width {
			return s + "…"
		}
	}
	return "…"
}

// wrap breaks s into lines of at most width points, between words if it can.
func wrap(s string, width, size float64, bold bool) []string {
	var lines []string
	line := ""
	for _, word := range strings.Split(clean(s), " ") {
		if line != "" && textWidth(line+" "+word, size, bold) <= width {
			line += " " + word
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for textWidth(word, size, bold) > width {
			head := splitAt(word, width, size, bold)
			lines, word = append(lines, head), word[len(head):]
		}
		line = word
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// splitAt returns the longest head of word that fits, at least one rune.
func splitAt(word string, width, size float64, bold bool) string {
	end := 0
	for i, r := range word {
		next := i + utf8.RuneLen(r)
		if end > 0 && textWidth(word[:next], size, bold) > width {
			break
		}
		end = next
	}
	return word[:end]
}
