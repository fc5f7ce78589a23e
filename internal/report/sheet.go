package report

import (
	"io"
	"strings"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-fonts/liberation/liberationserifbold"
	"codeberg.org/go-pdf/fpdf"

	"dustlog/internal/words"
)

// Measures of a page, mm and points.
const (
	pageWidth  = 210.0
	margin     = 20.0
	textWidth  = pageWidth - 2*margin
	bodySize   = 9.5
	smallSize  = 8.0
	leading    = 1.32 // line height over letter height
	pointsInMm = 72 / 25.4
)

// Colours of the printed page, those of report.css.
var (
	inkColour  = [3]int{0x20, 0x26, 0x2b}
	softColour = [3]int{0x5b, 0x66, 0x70}
	ruleColour = [3]int{0xc9, 0xc4, 0xb8}
	toneColour = map[string][3]int{"yes": {0x1f, 0x5a, 0x7a}, "no": {0x8a, 0x3b, 0x12}, "open": {0x5a, 0x53, 0x46}}
)

// sheet lays text, tables and pictures out on A4 pages, top to bottom.
type sheet struct {
	pdf      *fpdf.Fpdf
	headings []contentsLine // in the order they came
	body     float64        // size of letters in paragraphs and lists
}

// contentsLine is a line of the contents.
type contentsLine struct {
	text string
	page int
}

func newSheet(title string, made time.Time, footer string, say *words.Printer) *sheet {
	title, footer = printable(title), printable(footer)
	pdf := fpdf.New("P", "mm", "A4", "")
	pdf.SetCreationDate(made)
	pdf.SetModificationDate(made)
	pdf.SetCatalogSort(true)
	pdf.SetTitle(title, true)
	pdf.SetLang(say.Tag())
	pdf.SetMargins(margin, margin, margin)
	pdf.SetAutoPageBreak(false, margin)
	pdf.SetCellMargin(0)
	pdf.AddUTF8FontFromBytes("sans", "", liberationsansregular.TTF)
	pdf.AddUTF8FontFromBytes("sans", "B", liberationsansbold.TTF)
	pdf.AddUTF8FontFromBytes("serif", "B", liberationserifbold.TTF)
	pdf.AliasNbPages("{pages}")
	s := &sheet{pdf: pdf, body: bodySize}
	pdf.SetFooterFunc(func() {
		s.font("sans", "", smallSize, softColour)
		pdf.SetXY(margin, 297-13)
		pdf.CellFormat(textWidth/1.3, 4, footer, "", 0, "L", false, 0, "")
		pdf.CellFormat(textWidth-textWidth/1.3, 4, say.Say("page %d of {pages}", pdf.PageNo()), "", 0, "R", false, 0, "")
	})
	pdf.AddPage()
	return s
}

func (s *sheet) font(family, style string, size float64, colour [3]int) {
	s.pdf.SetFont(family, style, size)
	s.pdf.SetTextColor(colour[0], colour[1], colour[2])
}

func lineHeight(size float64) float64 { return size * leading / pointsInMm }

// bottom is where text must end.
const bottom = 297 - 20.0

// room starts a new page if less than h mm are left.
func (s *sheet) room(h float64) {
	if s.pdf.GetY()+h > bottom {
		s.pdf.AddPage()
	}
}

func (s *sheet) gap(mm float64) { s.pdf.SetY(s.pdf.GetY() + mm) }

// lines breaks text at the font set, at most width mm wide.
func (s *sheet) lines(text string, width float64) []string {
	var all []string
	for part := range strings.SplitSeq(printable(text), "\n") {
		lines := s.pdf.SplitText(part, width)
		if len(lines) == 0 {
			lines = []string{""}
		}
		all = append(all, lines...)
	}
	return all
}

// printable leaves out what a line of text cannot hold: controls, marks that turn
// the writing direction, and letters beyond the basic plane, which the PDF writer
// has no room for; those show as a box.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r != '\n' && r < ' ', r == 0x7f, r >= 0x202a && r <= 0x202e, r >= 0x2066 && r <= 0x2069:
			return -1
		case r >= 0x10000:
			return '□'
		}
		return r
	}, strings.ToValidUTF8(text, "\ufffd"))
}

// put sets lines at x, one under the other, over page ends.
func (s *sheet) put(x float64, lines []string, size float64, width float64, align string) {
	h := lineHeight(size)
	for _, line := range lines {
		s.room(h)
		s.pdf.SetX(x)
		s.pdf.CellFormat(width, h, line, "", 2, align, false, 0, "")
	}
}

// section is a heading that the contents list.
func (s *sheet) section(text string) {
	s.room(48)
	s.gap(5)
	s.headings = append(s.headings, contentsLine{text, s.pdf.PageNo()})
	s.pdf.Bookmark(text, 0, -1)
	s.font("serif", "B", 14, inkColour)
	s.put(margin, s.lines(text, textWidth), 14, textWidth, "L")
	s.gap(1)
}

func (s *sheet) subheading(text string) {
	s.room(16)
	s.gap(2.5)
	s.font("sans", "B", 10, inkColour)
	s.put(margin, s.lines(text, textWidth), 10, textWidth, "L")
	s.gap(0.5)
}

func (s *sheet) para(text string) { s.text(text, s.body, inkColour) }

func (s *sheet) small(text string) { s.text(text, smallSize, softColour) }

func (s *sheet) text(text string, size float64, colour [3]int) {
	if text == "" {
		return
	}
	s.font("sans", "", size, colour)
	s.put(margin, s.lines(text, textWidth), size, textWidth, "L")
	s.gap(1.2)
}

// list is a list with dashes.
func (s *sheet) list(items []string) {
	const indent = 4.0
	for _, item := range items {
		s.font("sans", "", s.body, inkColour)
		lines := s.lines(item, textWidth-indent)
		s.room(lineHeight(s.body) * float64(min(2, len(lines))))
		y := s.pdf.GetY()
		s.pdf.SetXY(margin, y)
		s.pdf.CellFormat(indent, lineHeight(s.body), "–", "", 0, "L", false, 0, "")
		s.pdf.SetY(y)
		s.put(margin+indent, lines, s.body, textWidth-indent, "L")
		s.gap(0.6)
	}
	s.gap(1)
}

// pictureShare of the text's width lets two pictures of usual height stand on a page.
const pictureShare = 0.92

// picture places a PNG over the text's width with its caption, on one page.
func (s *sheet) picture(name string, png io.Reader, caption string) error {
	info := s.pdf.RegisterImageOptionsReader(name, fpdf.ImageOptions{ImageType: "PNG"}, png)
	if s.pdf.Err() {
		return s.pdf.Error()
	}
	width := pictureShare * textWidth
	height := width * info.Height() / info.Width()
	if most := bottom - margin - 20; height > most {
		width, height = width*most/height, most
	}
	s.font("sans", "", smallSize, softColour)
	lines := s.lines(caption, textWidth)
	s.room(height + float64(len(lines))*lineHeight(smallSize) + 3)
	s.pdf.ImageOptions(name, margin, s.pdf.GetY(), width, height, false, fpdf.ImageOptions{ImageType: "PNG"}, 0, "")
	s.gap(height + 1)
	s.font("sans", "", smallSize, softColour)
	s.put(margin, lines, smallSize, textWidth, "L")
	s.gap(3)
	return nil
}
