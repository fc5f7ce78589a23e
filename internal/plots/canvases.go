package plots

import (
	"bytes"
	"fmt"
	"html"
	"io"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	xfont "golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/encoding/charmap"
	"gonum.org/v1/plot"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/draw"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgpdf"
	"gonum.org/v1/plot/vg/vgsvg"
)

// write sends a finished picture to w in the format asked for.
func (o Options) write(w io.Writer, f *figure) error {
	var err error
	width, height := f.size()
	switch o.Format {
	case PNG:
		c := vgimg.NewWith(vgimg.UseWH(width, height), vgimg.UseDPI(o.DPI), vgimg.UseBackgroundColor(f.th.paper))
		f.paint(draw.New(imgCanvas{c}))
		_, err = vgimg.PngCanvas{Canvas: c}.WriteTo(w)
	case PDF:
		err = writePDF(w, f)
	default:
		err = writeSVG(w, f)
	}
	if err != nil {
		return fmt.Errorf("write picture as %s: %w", o.Format, err)
	}
	return nil
}

// imgCanvas shows empty boxes for letters that the font lacks; gonum's image
// canvas leaves them out. (In an SVG the reader's own fonts stand in.)
type imgCanvas struct{ *vgimg.Canvas }

// FillString implements vg.Canvas.
func (c imgCanvas) FillString(f font.Face, at vg.Point, s string) {
	var buf sfnt.Buffer
	c.Canvas.FillString(f, at, strings.Map(func(r rune) rune {
		if glyph, err := f.Face.GlyphIndex(&buf, r); err != nil || glyph == 0 {
			return '□'
		}
		return r
	}, s))
}

// svgFonts shortens what the SVG canvas says about each text's font to what
// differs from the picture's own font.
var svgFonts = strings.NewReplacer(
	"font-family:Liberation Sans;font-variant:normal;font-weight:normal;font-style:normal;font-size:9px;", "",
	"font-family:Liberation Sans;font-variant:normal;font-weight:normal;font-style:normal;", "",
	"font-family:Liberation Sans;font-variant:normal;font-weight:bold;font-style:normal;", "font-weight:bold;")

// writeSVG makes gonum's SVG fit for standing inside an HTML page: no XML
// header, a description for people who cannot see it, fonts to fall back on
// where the measured one is missing. There are no ids, so pictures do not clash.
func writeSVG(w io.Writer, f *figure) error {
	width, height := f.size()
	c := vgsvg.New(width, height)
	f.paint(draw.New(c))
	var b bytes.Buffer
	if _, err := c.WriteTo(&b); err != nil {
		return err
	}
	const head = "<svg "
	_, body, _ := strings.Cut(b.String(), head)
	attributes := fmt.Sprintf(`role="img" aria-label="%s" font-family="'Liberation Sans',Arial,Helvetica,sans-serif" font-size="9px" stroke-linejoin="round" `,
		html.EscapeString(f.alt))
	_, err := io.WriteString(w, head+attributes+svgFonts.Replace(body))
	return err
}

// The same picture must give the same bytes. gonum's PDF canvas has no setting
// for it, only the library below it has, for the whole program.
func init() {
	fpdf.SetDefaultCatalogSort(true)
	fpdf.SetDefaultCreationDate(time.Unix(0, 0).UTC())
	fpdf.SetDefaultModificationDate(time.Unix(0, 0).UTC())
}

func writePDF(w io.Writer, f *figure) (err error) {
	// The PDF canvas panics where it cannot store its fonts for a moment.
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("draw: %v", r)
		}
	}()
	width, height := f.size()
	c := pdfCanvas{vgpdf.New(width, height)}
	f.paint(draw.New(c))
	_, err = c.WriteTo(w)
	return err
}

// pdfCanvas corrects three things in gonum's PDF canvas: it takes text as
// Windows-1252 bytes; it can hold one font program only, so bold comes out thin;
// and it draws spikes on sharp corners, which would make peaks higher.
type pdfCanvas struct{ *vgpdf.Canvas }

// FillString writes s as text if Windows-1252 has all its letters, and else
// draws their outlines. Bold is the regular font struck twice.
func (c pdfCanvas) FillString(f font.Face, at vg.Point, s string) {
	s = strings.ReplaceAll(s, "\u202f", "\u00a0") // a narrow space between thousands
	western, err := charmap.Windows1252.NewEncoder().String(s)
	if err != nil {
		c.Fill(outline(f, at, s))
		return
	}
	if f.Font.Weight == xfont.WeightBold {
		f.Font.Weight = xfont.WeightNormal
		f = plot.DefaultTextHandler.Cache().Lookup(f.Font, f.Font.Size)
		c.Canvas.FillString(f, at.Add(vg.Point{X: 0.035 * f.Font.Size}), western)
	}
	c.Canvas.FillString(f, at, western)
}

// Stroke lifts the pen where a line turns back.
func (c pdfCanvas) Stroke(p vg.Path) {
	var lifted vg.Path
	for i, step := range p {
		lifted = append(lifted, step)
		if i == 0 || i == len(p)-1 || step.Type != vg.LineComp || p[i+1].Type != vg.LineComp {
			continue
		}
		if step.Pos.Sub(p[i-1].Pos).Dot(p[i+1].Pos.Sub(step.Pos)) < 0 {
			lifted.Move(step.Pos)
		}
	}
	c.Canvas.Stroke(lifted)
}

// outline is s as a path; letters that the font lacks are empty boxes.
func outline(f font.Face, at vg.Point, s string) vg.Path {
	const perEm = 1024
	unit := f.Font.Size / (64 * perEm)
	place := func(p fixed.Point26_6) vg.Point {
		return at.Add(vg.Point{X: vg.Length(p.X) * unit, Y: -vg.Length(p.Y) * unit})
	}
	var buf sfnt.Buffer
	var path vg.Path
	for _, r := range s {
		glyph, _ := f.Face.GlyphIndex(&buf, r)
		segments, err := f.Face.LoadGlyph(&buf, glyph, fixed.I(perEm), nil)
		if err != nil {
			continue
		}
		for _, g := range segments {
			switch g.Op {
			case sfnt.SegmentOpMoveTo:
				path.Move(place(g.Args[0]))
			case sfnt.SegmentOpLineTo:
				path.Line(place(g.Args[0]))
			case sfnt.SegmentOpQuadTo:
				// As a cubic, since the PDF canvas bends quadratic curves wrongly.
				from, bend, to := path[len(path)-1].Pos, place(g.Args[0]), place(g.Args[1])
				path.CubeTo(from.Add(bend.Sub(from).Scale(2./3)), to.Add(bend.Sub(to).Scale(2./3)), to)
			case sfnt.SegmentOpCubeTo:
				path.CubeTo(place(g.Args[0]), place(g.Args[1]), place(g.Args[2]))
			}
		}
		if advance, err := f.Face.GlyphAdvance(&buf, glyph, fixed.I(perEm), xfont.HintingNone); err == nil {
			at.X += vg.Length(advance) * unit
		}
	}
	return path
}
