package sealed

import (
	"fmt"
	"math"
	"slices"

	"dustlog/internal/dust"
)

// Table holds readings of one sensor in columns, in time order. A row is one
// reading.
type Table struct {
	MS      []int64 // Unix milliseconds, rising
	Flags   []dust.Flags
	Columns []Column // by channel; only channels that have a value

	lentMS, lentFlags lent
}

// Column is one channel of a Table. Either Ints or Floats is filled, with an
// entry for every row.
type Column struct {
	Channel dust.Channel
	// PerUnit is how many quanta make one unit: 1, 10, 100 or 1000. The value of
	// row i is float64(Ints[i]) / float64(PerUnit). It is 0 if Floats holds the
	// values.
	PerUnit int
	Ints    []int32
	Floats  []float64
	// Missing marks the rows without a value; nil if there is none.
	Missing []bool

	lent lent // the memory of Ints or Floats
}

// Len is the number of readings.
func (t *Table) Len() int { return len(t.MS) }

// Column finds the column of a channel; nil if no reading has a value in it.
func (t *Table) Column(c dust.Channel) *Column {
	for i := range t.Columns {
		if t.Columns[i].Channel == c {
			return &t.Columns[i]
		}
	}
	return nil
}

// Value returns the value in row i, and whether there is one.
func (c *Column) Value(i int) (float64, bool) {
	if c.Missing != nil && c.Missing[i] {
		return 0, false
	}
	if c.PerUnit == 0 {
		return c.Floats[i], true
	}
	return float64(c.Ints[i]) / float64(c.PerUnit), true
}

// Reading returns row i as a reading of the sensor named.
func (t *Table) Reading(i int, sensor string) dust.Reading {
	r := dust.Reading{Time: milli(t.MS[i]), Sensor: sensor, Flags: t.Flags[i]}
	for k := range t.Columns {
		if x, ok := t.Columns[k].Value(i); ok {
			r.Values.Set(t.Columns[k].Channel, x)
		}
	}
	return r
}

// Check reports what no sealed day may have: columns of different length, times
// that do not rise, or that lie outside the UTC day.
func (t *Table) Check(day Day) error {
	n := len(t.MS)
	if len(t.Flags) != n {
		return fmt.Errorf("%d times but %d flags", n, len(t.Flags))
	}
	from, to := day.Bounds()
	for i, ms := range t.MS {
		if i > 0 && ms <= t.MS[i-1] {
			return fmt.Errorf("row %d: time %d does not come after %d", i, ms, t.MS[i-1])
		}
		if ms < from || ms >= to {
			return fmt.Errorf("row %d: time %d lies outside the day %s", i, ms, day)
		}
	}
	for i := range t.Columns {
		if err := t.Columns[i].check(n); err != nil {
			return err
		}
	}
	return nil
}

func (c *Column) check(rows int) error {
	filled := len(c.Floats)
	if c.PerUnit != 0 {
		filled = len(c.Ints)
	}
	if filled != rows || (c.Missing != nil && len(c.Missing) != rows) {
		return fmt.Errorf("%s: %d values for %d readings", c.Channel, filled, rows)
	}
	return nil
}

// Builder collects readings into a Table.
type Builder struct {
	ms      []int64
	flags   []dust.Flags
	columns [dust.ChannelCount]*Column
}

// NewBuilder returns an empty builder with room for n readings.
func NewBuilder(n int) *Builder {
	return &Builder{ms: make([]int64, 0, n), flags: make([]dust.Flags, 0, n)}
}

// Start begins a row. Set fills it.
func (b *Builder) Start(ms int64, flags dust.Flags) {
	b.ms, b.flags = append(b.ms, ms), append(b.flags, flags)
}

// Set gives channel c of the row begun last the value x.
func (b *Builder) Set(c dust.Channel, x float64) {
	col := b.columns[c]
	switch {
	case col == nil:
		col = &Column{Channel: c, Floats: make([]float64, 0, cap(b.ms))}
		b.columns[c] = col
	case col.PerUnit != 0:
		col.float()
	}
	col.fill(len(b.ms) - 1)
	col.Floats = append(col.Floats, x)
	if col.Missing != nil {
		col.Missing = append(col.Missing, false)
	}
}

// SetHundredths gives channel c of the row begun last the value k/100. A column
// for which nothing but this is called takes half the time and memory.
func (b *Builder) SetHundredths(c dust.Channel, k int64) {
	col := b.columns[c]
	if col == nil {
		col = &Column{Channel: c, PerUnit: 100, Ints: make([]int32, 0, cap(b.ms))}
		b.columns[c] = col
	}
	if col.PerUnit == 0 || k < -maxInt || k > maxInt {
		b.Set(c, float64(k)/100)
		return
	}
	col.fill(len(b.ms) - 1)
	col.Ints = append(col.Ints, int32(k))
	if col.Missing != nil {
		col.Missing = append(col.Missing, false)
	}
}

// float turns Ints into Floats.
func (c *Column) float() {
	c.Floats = make([]float64, len(c.Ints), cap(c.Ints))
	for i, k := range c.Ints {
		c.Floats[i] = float64(k) / float64(c.PerUnit)
	}
	c.PerUnit, c.Ints = 0, nil
}

// fill marks the rows up to n that have no value.
func (c *Column) fill(n int) {
	filled := len(c.Floats) + len(c.Ints)
	if filled == n {
		return
	}
	if c.Missing == nil {
		c.Missing = make([]bool, filled, cap(c.Floats)+cap(c.Ints))
	}
	none := n - filled
	for range none {
		c.Missing = append(c.Missing, true)
	}
	if c.PerUnit != 0 {
		c.Ints = append(c.Ints, make([]int32, none)...)
	} else {
		c.Floats = append(c.Floats, make([]float64, none)...)
	}
}

// Table returns what was collected, each channel as exact integers if there is
// a quantum for all its values. The builder must not be used after it.
func (b *Builder) Table() *Table {
	t := &Table{MS: b.ms, Flags: b.flags}
	for _, col := range b.columns {
		if col != nil {
			col.fill(len(b.ms))
			if col.PerUnit != 0 {
				col.coarsen()
			} else {
				col.quantize()
			}
			t.Columns = append(t.Columns, *col)
		}
	}
	return t
}

// quanta are tried from coarse to fine. None is finer than what sensors send.
var quanta = []int{1, 10, 100, 1000}

// maxInt is the largest number that nine decimal digits hold.
const maxInt = 999_999_999

// quantize turns Floats into Ints if that loses nothing.
func (c *Column) quantize() {
	ints := make([]int32, len(c.Floats))
	from := 0
	for _, perUnit := range quanta {
		// What fitted a coarser quantum fits this one too, but as another integer,
		// or as none if it is large; so the rows before are done again.
		if from = fits(c.Floats, float64(perUnit), ints, from); from == len(ints) &&
			(perUnit == 1 || fits(c.Floats, float64(perUnit), ints, 0) == len(ints)) {
			c.PerUnit, c.Ints, c.Floats = perUnit, ints, nil
			return
		}
	}
}

// coarsen makes whole units or tenths of hundredths that are nothing finer.
func (c *Column) coarsen() {
	divisor := int32(100)
	for _, k := range c.Ints {
		for k%divisor != 0 {
			divisor /= 10
		}
		if divisor == 1 {
			return
		}
	}
	for i := range c.Ints {
		c.Ints[i] /= divisor
	}
	c.PerUnit /= int(divisor)
}

// fits fills ints from row from on and returns the first row whose value is not
// exactly a whole number of quanta.
func fits(values []float64, perUnit float64, ints []int32, from int) int {
	for i := from; i < len(values); i++ {
		k := math.RoundToEven(values[i] * perUnit)
		if !(math.Abs(k) <= maxInt) { // also what is no number
			return i
		}
		ints[i] = int32(k)
		// By bits: a negative zero is no integer.
		if math.Float64bits(float64(ints[i])/perUnit) != math.Float64bits(values[i]) {
			return i
		}
	}
	return len(values)
}

// equal reports the first difference between two tables.
func (t *Table) equal(u *Table) error {
	if !slices.Equal(t.MS, u.MS) || !slices.Equal(t.Flags, u.Flags) {
		return fmt.Errorf("times or flags of %d readings came back different", len(t.MS))
	}
	if len(t.Columns) != len(u.Columns) {
		return fmt.Errorf("%d channels came back as %d", len(t.Columns), len(u.Columns))
	}
	for i := range t.Columns {
		if err := t.Columns[i].equal(&u.Columns[i]); err != nil {
			return err
		}
	}
	return nil
}

func (c *Column) equal(d *Column) error {
	same := c.Channel == d.Channel && c.PerUnit == d.PerUnit && slices.Equal(c.Ints, d.Ints) &&
		len(c.Floats) == len(d.Floats) && slices.Equal(c.Missing, d.Missing)
	for i := 0; same && i < len(c.Floats); i++ {
		same = math.Float64bits(c.Floats[i]) == math.Float64bits(d.Floats[i])
	}
	if !same {
		return fmt.Errorf("%s came back different", c.Channel)
	}
	return nil
}
