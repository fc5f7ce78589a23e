package plots

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"
)

// writePDF writes one page of the picture's size. It talks to the PDF library
// below gonum's own PDF canvas, since that canvas turns "µg/m³" into "Âµg/mÂ³".
func writePDF(w io.Writer, d *drawing) error {
	doc := fpdf.NewCustom(&fpdf.InitType{UnitStr: "pt", Size: fpdf.SizeType{Wd: d.w, Ht: d.h}})
	// A fixed date, sorted catalogue: the same picture gives the same bytes.
	fixed := time.Unix(0, 0).UTC()
	doc.SetCreationDate(fixed)
	doc.SetModificationDate(fixed)
	doc.SetCatalogSort(true)
	doc.SetProducer("dustlog", true)
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	if err := pdfFonts(doc); err != nil {
		return err
	}
	doc.AddPage()
	for _, s := range d.shapes {
		pdfShape(doc, s)
	}
	for _, l := range d.labels {
		style := ""
		if l.bold {
			style = "B"
		}
		doc.SetFont(pdfFamily, style, l.size)
		doc.SetTextColor(int(l.color.R), int(l.color.G), int(l.color.B))
		doc.Text(l.box().x0, l.at.y, printable(l.text, l.bold))
	}
	return doc.Output(w)
}

const pdfFamily = "liberation"

func pdfFonts(doc *fpdf.Fpdf) error {
	for _, style := range []string{"", "B"} {
		var raw bytes.Buffer
		if _, err := face(textSize, style == "B").Face.WriteSourceTo(nil, &raw); err != nil {
			return fmt.Errorf("read font: %w", err)
		}
		doc.AddUTF8FontFromBytes(pdfFamily, style, raw.Bytes())
	}
	return doc.Error()
}

func pdfShape(doc *fpdf.Fpdf, s shape) {
	style := ""
	if s.fill != nil {
		doc.SetFillColor(int(s.fill.R), int(s.fill.G), int(s.fill.B))
		style += "F"
	}
	if p := s.stroke; p != nil {
		doc.SetDrawColor(int(p.color.R), int(p.color.G), int(p.color.B))
		doc.SetLineWidth(p.width)
		doc.SetDashPattern(p.dash, 0)
		end, join := "butt", "miter"
		if p.round {
			end, join = "round", "round"
		}
		doc.SetLineCapStyle(end)
		doc.SetLineJoinStyle(join)
		style += "D"
	}
	for _, run := range s.paths {
		for i, p := range run {
			if i == 0 {
				doc.MoveTo(p.x, p.y)
			} else {
				doc.LineTo(p.x, p.y)
			}
		}
		if s.closed {
			doc.ClosePath()
		}
	}
	doc.DrawPath(style)
}
