package sealed

import (
	"slices"
)

// Slice returns the rows whose time lies in [from, to). It shares memory with t.
func (t *Table) Slice(from, to int64) *Table {
	i, _ := slices.BinarySearch(t.MS, from)
	j, _ := slices.BinarySearch(t.MS, to)
	if j < i {
		j = i
	}
	if i == 0 && j == len(t.MS) {
		return t
	}
	u := &Table{MS: t.MS[i:j], Flags: t.Flags[i:j], Columns: slices.Clone(t.Columns)}
	for k := range u.Columns {
		c := &u.Columns[k]
		if c.PerUnit != 0 {
			c.Ints = c.Ints[i:j]
		} else {
			c.Floats = c.Floats[i:j]
		}
		if c.Missing != nil {
			c.Missing = c.Missing[i:j]
		}
	}
	return u
}

// Merge returns the readings of both tables in time order. Of two at the same
// moment, the one of first stays; doubles says how many of second were left out.
func Merge(first, second *Table) (merged *Table, doubles int) {
	b := NewBuilder(first.Len() + second.Len())
	i, j := 0, 0
	for i < first.Len() || j < second.Len() {
		switch {
		case j == second.Len() || (i < first.Len() && first.MS[i] < second.MS[j]):
			b.add(first, i)
			i++
		case i == first.Len() || second.MS[j] < first.MS[i]:
			b.add(second, j)
			j++
		default:
			b.add(first, i)
			i, j = i+1, j+1
			doubles++
		}
	}
	return b.Table(), doubles
}

func (b *Builder) add(t *Table, i int) {
	b.Start(t.MS[i], t.Flags[i])
	for k := range t.Columns {
		if x, ok := t.Columns[k].Value(i); ok {
			b.Set(t.Columns[k].Channel, x)
		}
	}
}
