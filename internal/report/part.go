package report

// part is a section of the report that is the same on screen and on paper: words,
// tables and pictures, written down once.
type part struct {
	ID, Title string
	Intro     []string
	Tables    []grid
	Notes     []string
	Figures   []figure
	Gloss     string // explains words and abbreviations
}

// grid is a table. A number's ID is its row's, a slash, and its column's key.
type grid struct {
	Caption string
	Columns []gridColumn
	Rows    []gridRow
}

type gridColumn struct {
	Head  string
	Key   string  // "" for what has no ID
	Width float64 // share of a page's width
	Right bool    // numbers
}

type gridRow struct {
	ID    string // "" for a row without numbers to trace
	Cells []string
}

// texts is a column of words, numbers one of numbers.
func texts(head string, width float64) gridColumn { return gridColumn{Head: head, Width: width} }

func numbers(head, key string, width float64) gridColumn {
	return gridColumn{Head: head, Key: key, Width: width, Right: true}
}
