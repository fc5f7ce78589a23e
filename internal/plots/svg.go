package plots

import (
	"bufio"
	"fmt"
	"image/color"
	"io"
	"math"
	"strconv"
	"strings"
)

// svgFamily names the font that was measured with, then two of equal widths,
// then whatever is there. Texts hang on their anchor, so a stand-in font with
// other widths shifts them by little.
const svgFamily = "'Liberation Sans',Arial,Helvetica,sans-serif"

// writeSVG writes the drawing with texts as texts. There are no ids, classes
// or styles, so that several pictures can stand in one HTML page.
func writeSVG(w io.Writer, d *drawing) error {
	b := bufio.NewWriter(w)
	const mmPerPoint = 25.4 / 72
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" role="img" aria-label="%s" font-family="%s" font-size="%s">`+"\n",
		num(d.w*mmPerPoint), num(d.h*mmPerPoint), num(d.w), num(d.h), escape(d.alt), svgFamily, num(textSize))
	fmt.Fprintf(b, `<path fill="%s" d="M0 0H%sV%sH0Z"/>`+"\n", hex(d.paper), num(d.w), num(d.h))
	for _, s := range d.shapes {
		svgShape(b, s)
	}
	for _, l := range d.labels {
		svgLabel(b, l)
	}
	b.WriteString("</svg>\n")
	return b.Flush()
}

func svgShape(b *bufio.Writer, s shape) {
	b.WriteString("<path")
	if s.fill != nil {
		fmt.Fprintf(b, ` fill="%s"`, hex(*s.fill))
	} else {
		b.WriteString(` fill="none"`)
	}
	if p := s.stroke; p != nil {
		fmt.Fprintf(b, ` stroke="%s"`, hex(p.color))
		if p.width != 1 {
			fmt.Fprintf(b, ` stroke-width="%s"`, num(p.width))
		}
		if len(p.dash) > 0 {
			parts := make([]string, len(p.dash))
			for i, x := range p.dash {
				parts[i] = num(x)
			}
			fmt.Fprintf(b, ` stroke-dasharray="%s"`, strings.Join(parts, " "))
		}
		if p.round {
			b.WriteString(` stroke-linejoin="round" stroke-linecap="round"`)
		}
	}
	b.WriteString(` d="`)
	for _, path := range s.paths {
		svgPath(b, path, s.closed)
	}
	b.WriteString("\"/>\n")
}

// svgPath writes a run of points, upright and level steps in their short form.
func svgPath(b *bufio.Writer, path []point, closed bool) {
	var lastX, lastY string
	for i, p := range path {
		x, y := num(p.x), num(p.y)
		switch {
		case i == 0:
			b.WriteString("M" + x + " " + y)
		case x == lastX && y == lastY:
		case x == lastX:
			b.WriteString("V" + y)
		case y == lastY:
			b.WriteString("H" + x)
		default:
			b.WriteString("L" + x + " " + y)
		}
		lastX, lastY = x, y
	}
	if closed {
		b.WriteString("Z")
	}
}

func svgLabel(b *bufio.Writer, l label) {
	fmt.Fprintf(b, `<text x="%s" y="%s" fill="%s"`, num(l.at.x), num(l.at.y), hex(l.color))
	if l.size != textSize {
		fmt.Fprintf(b, ` font-size="%s"`, num(l.size))
	}
	if l.bold {
		b.WriteString(` font-weight="bold"`)
	}
	switch l.align {
	case centre:
		b.WriteString(` text-anchor="middle"`)
	case right:
		b.WriteString(` text-anchor="end"`)
	}
	fmt.Fprintf(b, ">%s</text>\n", escape(l.text))
}

// num prints a length with at most two decimals: 1/7200 inch.
func num(x float64) string {
	x = math.Round(x*100) / 100
	if x == 0 {
		x = 0 // no "-0"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

func hex(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

var svgEscaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

func escape(s string) string { return svgEscaper.Replace(clean(s)) }
