package plots

import (
	"fmt"
	"strings"
	"time"

	"gonum.org/v1/plot/vg"

	"dustlog/internal/words"
)

// Format is a file format that pictures can be written in.
type Format string

// The formats.
const (
	SVG Format = "svg"
	PNG Format = "png"
	PDF Format = "pdf"
)

// ParseFormat reads a format's name; a file name's ending, dot included, works too.
func ParseFormat(s string) (Format, error) {
	switch f := Format(strings.ToLower(strings.TrimPrefix(strings.TrimSpace(s), "."))); f {
	case SVG, PNG, PDF:
		return f, nil
	}
	return "", fmt.Errorf("unknown picture format %q: use one of svg, png, pdf", s)
}

// Narrow is a width that suits a telephone.
const Narrow = 9 * vg.Centimeter

// Options say how a picture is written. The zero value gives an SVG of 17 cm,
// a page's text width, in English, with clock times in UTC.
type Options struct {
	Format Format    // SVG if empty
	Width  vg.Length // 17 cm if zero, at least 7 cm; 9 cm suits a telephone
	Height vg.Length // least height; zero lets the content decide
	Theme  Theme     // Light if empty
	DPI    int       // of a PNG; 192 if zero
	LogY   bool      // ShiftTrace only: logarithmic level axis
	Zone   *time.Location
	Words  *words.Printer // the language; English if nil
}

const (
	defaultWidth = 17 * vg.Centimeter
	leastWidth   = 7 * vg.Centimeter
	mostWidth    = 200 * vg.Centimeter
	defaultDPI   = 192
	mostDPI      = 1200
)

// complete fills in defaults and refuses what cannot be drawn.
func (o Options) complete() (Options, error) {
	if o.Format == "" {
		o.Format = SVG
	}
	if _, err := ParseFormat(string(o.Format)); err != nil {
		return o, err
	}
	if o.Theme == "" {
		o.Theme = Light
	}
	if _, ok := themes[o.Theme]; !ok {
		return o, fmt.Errorf("unknown theme %q: use %q or %q", o.Theme, Light, Dark)
	}
	if o.Width == 0 {
		o.Width = defaultWidth
	}
	if !(o.Width >= leastWidth && o.Width <= mostWidth) || !(o.Height >= 0 && o.Height <= mostWidth) {
		return o, fmt.Errorf("picture of %.3g × %.3g cm: width must be 7 to 200 cm, height 0 to 200 cm",
			o.Width/vg.Centimeter, o.Height/vg.Centimeter)
	}
	if o.DPI == 0 {
		o.DPI = defaultDPI
	}
	if o.DPI < 0 || o.DPI > mostDPI {
		return o, fmt.Errorf("picture with %d dots per inch: use 1 to %d", o.DPI, mostDPI)
	}
	if o.Zone == nil {
		o.Zone = time.UTC
	}
	return o, nil
}
