package report

import "strings"

// column is a column of a printed table.
type column struct {
	head  string
	width float64 // share of the text's width
	right bool    // numbers
}

// table prints rows under a head that is repeated on every page. Rows do not
// break over pages.
func (s *sheet) table(caption string, columns []column, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	heads := make([]string, len(columns))
	for i, c := range columns {
		heads[i] = c.head
	}
	widths := s.widths(columns, append([][]string{heads}, rows...))
	if caption != "" {
		s.room(14 + min(s.rowHeight(widths, heads, "B")+s.rowHeight(widths, rows[0], ""), 80))
		s.small(caption)
	}
	s.row(columns, widths, heads, true, min(s.rowHeight(widths, rows[0], ""), 60))
	for _, row := range rows {
		height := s.rowHeight(widths, row, "")
		if s.pdf.GetY()+height > bottom {
			s.pdf.AddPage()
			s.row(columns, widths, heads, true, height)
		}
		s.row(columns, widths, row, false, 0)
	}
	s.gap(3)
}

const cellPad = 1.3

// widths gives each column room for its longest word, and what is left to those whose
// cells would run over several lines, the more the longer they are; if nothing runs
// over, by the columns' shares. Words that together are too long are broken after all.
func (s *sheet) widths(columns []column, rows [][]string) []float64 {
	// IDs stay on one line, unless the table is shorter where they do not: long
	// sentences would be left with a narrow column.
	const longestID, crowded = 36.0, 0.2 * textWidth
	widths, left := s.widthsWith(columns, rows, longestID)
	if left < crowded {
		if wrapped, _ := s.widthsWith(columns, rows, longestID/2); s.heightOf(wrapped, rows) < s.heightOf(widths, rows) {
			return wrapped
		}
	}
	return widths
}

// heightOf is what the rows take with these widths.
func (s *sheet) heightOf(widths []float64, rows [][]string) (height float64) {
	for _, row := range rows {
		height += s.rowHeight(widths, row, "")
	}
	return height
}

// widthsWith also tells how much the longest words left over.
func (s *sheet) widthsWith(columns []column, rows [][]string, longestID float64) (widths []float64, left float64) {
	least, whole := make([]float64, len(columns)), make([]float64, len(columns))
	total, wish, shares := 0.0, 0.0, 0.0
	for i, c := range columns {
		for k, row := range rows {
			l, w := s.cellWidth(row[i], k == 0, longestID)
			least[i], whole[i] = max(least[i], l), max(whole[i], w)
		}
		total += least[i]
		wish += whole[i] - least[i]
		shares += c.width
	}
	widths = make([]float64, len(columns))
	left = textWidth - total
	for i, c := range columns {
		switch {
		case left < 0:
			widths[i] = least[i] * textWidth / total
		case wish > left:
			widths[i] = least[i] + left*(whole[i]-least[i])/wish
		default:
			widths[i] = whole[i] + (left-wish)*c.width/shares
		}
	}
	return widths, left
}

// cellWidth is what a cell needs for its longest word and an ID that is no longer than
// given, and for all in one line.
func (s *sheet) cellWidth(cell string, head bool, longestID float64) (least, whole float64) {
	const around = 2*cellPad + 0.5
	text, id, _ := strings.Cut(cell, idMark)
	s.font("sans", "", smallSize, inkColour)
	if head {
		s.font("sans", "B", smallSize, inkColour)
	}
	text = printable(text)
	for word := range strings.FieldsSeq(text) {
		least = max(least, s.pdf.GetStringWidth(word)+around)
	}
	if head { // may always break
		return least, least
	}
	whole = max(least, min(s.pdf.GetStringWidth(text)+around, 4*textWidth))
	s.font("sans", "", idSize, softColour)
	if w := s.pdf.GetStringWidth(printable(id)) + around; id != "" && w <= longestID {
		least, whole = max(least, w), max(whole, w)
	}
	return least, whole
}

// idMark stands between a cell's words and the ID that is set small under them.
const (
	idMark = "\x01"
	idSize = 5.5
)

// cellLines are a cell's words and its ID, broken to the width of a column.
func (s *sheet) cellLines(cell string, width float64, style string) (text, id []string) {
	words, mark, has := strings.Cut(cell, idMark)
	s.font("sans", style, smallSize, inkColour)
	text = s.lines(words, width-2*cellPad)
	if has {
		s.font("sans", "", idSize, softColour)
		id = s.lines(mark, width-2*cellPad)
	}
	return text, id
}

func (s *sheet) rowHeight(widths []float64, cells []string, style string) float64 {
	most := lineHeight(smallSize)
	for i, cell := range cells {
		text, id := s.cellLines(cell, widths[i], style)
		most = max(most, float64(len(text))*lineHeight(smallSize)+float64(len(id))*lineHeight(idSize))
	}
	return most + 1.4
}

// row prints one row; need is how much must fit below a head.
func (s *sheet) row(columns []column, widths []float64, cells []string, head bool, need float64) {
	style := ""
	if head {
		style = "B"
	}
	height := s.rowHeight(widths, cells, style)
	s.room(height + need)
	top, x := s.pdf.GetY(), margin
	for i, cell := range cells {
		align := "L"
		if columns[i].right {
			align = "R"
		}
		s.pdf.SetY(top + 0.7)
		text, id := s.cellLines(cell, widths[i], style)
		s.font("sans", style, smallSize, inkColour)
		s.put(x+cellPad, text, smallSize, widths[i]-2*cellPad, align)
		s.font("sans", "", idSize, softColour)
		s.put(x+cellPad, id, idSize, widths[i]-2*cellPad, align)
		x += widths[i]
	}
	colour, width := ruleColour, 0.15
	if head {
		colour, width = inkColour, 0.3
	}
	s.pdf.SetDrawColor(colour[0], colour[1], colour[2])
	s.pdf.SetLineWidth(width)
	s.pdf.Line(margin, top+height, margin+textWidth, top+height)
	s.pdf.SetY(top + height)
}
