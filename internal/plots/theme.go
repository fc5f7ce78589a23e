package plots

import (
	"image/color"

	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/text"
)

// Theme names a set of colours.
type Theme string

// The themes: dark ink on white, for screens and paper; chalk on slate, for
// screens in the dark.
const (
	Light Theme = "light"
	Dark  Theme = "dark"
)

// theme holds every colour that pictures use. On the paper text reaches a
// contrast of 4.5:1 and lines that carry meaning 3:1 (WCAG 2.2, criteria 1.4.3
// and 1.4.11); fills need not, they are outlined, hatched, numbered or labelled.
type theme struct {
	paper, ink, muted, edge, grid, shade color.NRGBA

	reading, mean, limit color.NRGBA // the trace of a shift
	bandA, bandB         color.NRGBA // tasks along the top, in turn
	before, after        color.NRGBA
	fills                []color.NRGBA // stacked bars, far enough from ink for words on top
	hatch                color.NRGBA   // lines on a fill
	rest                 color.NRGBA   // the part of a bar that belongs to no task
}

func rgb(hex uint32) color.NRGBA {
	return color.NRGBA{R: uint8(hex >> 16), G: uint8(hex >> 8), B: uint8(hex), A: 255}
}

var themes = map[Theme]*theme{
	Light: {
		paper: rgb(0xffffff), ink: rgb(0x1d2733), muted: rgb(0x55606d), edge: rgb(0xb4bcc6), grid: rgb(0xe2e5e9), shade: rgb(0xf1f2f4),
		reading: rgb(0x7d92b4), mean: rgb(0x1f2f6b), limit: rgb(0x9c3d1e),
		bandA: rgb(0xdde3ec), bandB: rgb(0xe9e3d8),
		before: rgb(0x8f5a12), after: rgb(0x14607a),
		fills: []color.NRGBA{rgb(0x9fb6d3), rgb(0xe3c9a0), rgb(0xc4a5bf), rgb(0xcfd8df), rgb(0x8fb5b5), rgb(0xdfb3a4), rgb(0xb2aed6)},
		hatch: rgb(0x6b7683),
		rest:  rgb(0xffffff),
	},
	Dark: {
		paper: rgb(0x1e2427), ink: rgb(0xf1ede0), muted: rgb(0xb9b8ad), edge: rgb(0x6a7276), grid: rgb(0x363d41), shade: rgb(0x2b3236),
		reading: rgb(0x8ea6c9), mean: rgb(0xe3e9f6), limit: rgb(0xf0a878),
		bandA: rgb(0x3a4550), bandB: rgb(0x484134),
		before: rgb(0xe2b271), after: rgb(0x7cc3dd),
		fills: []color.NRGBA{rgb(0x3b5675), rgb(0x6a5228), rgb(0x65436a), rgb(0x4a545b), rgb(0x2c5f5f), rgb(0x71463a), rgb(0x4d4a7d)},
		hatch: rgb(0x97a1a9),
		rest:  rgb(0x1e2427),
	},
}

// Type sizes in points at final size. Nothing is set smaller than textSize.
const (
	textSize  = 9.0
	titleSize = 11.5
)

// text is a style for words in the colour given.
func (*theme) text(c color.Color) text.Style {
	return text.Style{Color: c, Font: font.Font{Typeface: "Liberation", Variant: "Sans", Size: textSize}, Handler: plot.DefaultTextHandler}
}

func (t *theme) bold() text.Style {
	sty := t.text(t.ink)
	sty.Font.Weight = xfont.WeightBold
	return sty
}

func (t *theme) title() text.Style {
	sty := t.bold()
	sty.Font.Size = titleSize
	return sty
}
