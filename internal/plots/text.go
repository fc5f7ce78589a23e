package plots

import (
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	xfont "golang.org/x/image/font"
	"golang.org/x/image/math/fixed"
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

// advances are the widths of one font's runes in em. Asking the font each time
// would take longer than drawing.
type advances struct {
	once sync.Once
	font font.Face
	low  [0x530]float64 // Latin, Greek, Cyrillic
}

var regular, boldface advances

// textWidth measures s in points, without kerning, which would only narrow it.
func textWidth(s string, size float64, bold bool) float64 {
	a := &regular
	if bold {
		a = &boldface
	}
	a.once.Do(func() {
		a.font = face(textSize, bold)
		for r := range a.low {
			a.low[r] = a.ask(rune(r))
		}
	})
	w := 0.0
	for _, r := range s {
		if int(r) < len(a.low) {
			w += a.low[r]
		} else {
			w += a.ask(r)
		}
	}
	return w * size
}

// ask returns the font's own width of r. A rune that it lacks counts a full em,
// since another font will stand in for it.
func (a *advances) ask(r rune) float64 {
	const perEm = 1000
	i, err := a.font.Face.GlyphIndex(nil, r)
	if err != nil || i == 0 {
		return 1
	}
	w, err := a.font.Face.GlyphAdvance(nil, i, fixed.I(perEm), xfont.HintingNone)
	if err != nil {
		return 1
	}
	return float64(w) / 64 / perEm
}

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}

// printable replaces runes that the font lacks by an empty box. PNG and PDF need
// it; an SVG leaves the choice of another font to whoever shows it.
func printable(s string, bold bool) string {
	f := face(textSize, bold)
	return strings.Map(func(r rune) rune {
		if r < 0x80 {
			return r
		}
		if i, err := f.Face.GlyphIndex(nil, r); err != nil || i == 0 {
			return '□'
		}
		return r
	}, s)
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

// withUnits keeps a number and its unit on one line.
var withUnits = strings.NewReplacer(" µg/m³", "\u00a0µg/m³", " mg/m³", "\u00a0mg/m³", " 1/cm³", "\u00a01/cm³", " %", "\u00a0%", " min.", "\u00a0min.")

// wrap breaks s into lines of at most width points, between words if it can.
func wrap(s string, width, size float64, bold bool) []string {
	var lines []string
	line := ""
	for _, word := range strings.Split(withUnits.Replace(clean(s)), " ") {
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
	for i, line := range lines {
		lines[i] = strings.ReplaceAll(line, "\u00a0", " ")
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
