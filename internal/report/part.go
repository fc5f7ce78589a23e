package report

import "dustlog/internal/words"

// part is a section of the report that is the same on screen and on paper: words,
// tables and pictures, written down once.
type part struct {
	ID      string
	Title   words.Text
	Intro   []words.Text
	Tables  []grid
	Notes   []words.Text
	Figures []figure
	Gloss   words.Text // explains words and abbreviations
}

// grid is a table. A number's ID is its row's, a slash, and its column's key.
type grid struct {
	Caption words.Text
	Columns []gridColumn
	Rows    []gridRow
}

type gridColumn struct {
	Head  words.Text
	Key   string  // "" for what has no ID
	Width float64 // share of a page's width
	Right bool    // numbers
}

type gridRow struct {
	ID    string // "" for a row without numbers to trace
	Cells []any  // texts, numbers, moments, and strings that people wrote
}

// texts is a column of words, numbers one of numbers.
func texts(head words.Text, width float64) gridColumn { return gridColumn{Head: head, Width: width} }

func numbers(head words.Text, key string, width float64) gridColumn {
	return gridColumn{Head: head, Key: key, Width: width, Right: true}
}

// interval is two numbers as a range.
func interval(low, high words.Number) words.Text { return words.Of("%s to %s", low, high) }
