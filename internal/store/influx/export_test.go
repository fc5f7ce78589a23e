package influx

import "io"

// Far makes the store treat its server as one on another computer.
func (s *Store) Far() { s.near = false }

// ReadColumn reads an answer of times and values.
func ReadColumn(csv io.Reader) (ms []int64, values []float64, err error) {
	var c column
	err = c.read(csv)
	c.order()
	return c.ms, c.value, err
}
