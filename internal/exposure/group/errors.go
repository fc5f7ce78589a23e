package group

import (
	"errors"
	"fmt"
	"math"

	"dustlog/internal/words"
)

// Reasons why a number cannot be computed.
var (
	// ErrNoSpread: the shifts do not differ at all. Real air never does that; a
	// stuck sensor does.
	ErrNoSpread = words.Error(words.Of("the shifts do not differ at all, which real air never does: check the sensor"))
	// ErrNotPositive: a value of zero or less, or none at all, has no logarithm.
	ErrNotPositive = words.Error(words.Of("value is not above zero"))
)

// TooFewError says how many shifts a method needs.
type TooFewError struct {
	Have, Need int
}

func (e TooFewError) Error() string { return e.text().String() }

func (e TooFewError) text() words.Text {
	return words.Of("not enough days: %d of at least %d", e.Have, e.Need)
}

// More is how many shifts are lacking.
func (e TooFewError) More() int { return e.Need - e.Have }

// reason is what an error says to people.
func reason(err error) words.Text {
	if few := (TooFewError{}); errors.As(err, &few) {
		return few.text()
	}
	return words.OfError(err)
}

// fewestForSpread is the least number of shifts a spread is taken from: two always
// lie on a line (common practice, no source).
const fewestForSpread = 3

// noSpread is the standard deviation in ln units below which only rounding is left.
const noSpread = 1e-9

func positive(x float64) bool { return x > 0 && !math.IsInf(x, 1) }

// probability checks a share or a confidence.
func probability(what string, p float64) error {
	if !(p > 0 && p < 1) {
		return fmt.Errorf("%s %g must lie between 0 and 1", what, p)
	}
	return nil
}
