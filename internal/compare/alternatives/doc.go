// Package alternatives holds other ways to look at the same numbers: shown
// beside the default method of package compare, never deciding. Each says in its
// comment what it may be believed for. Values are in any one unit; logarithms of
// concentrations give ratios when exponentiated.
package alternatives

import "errors"

// Errors of this package.
var (
	// ErrTooFew: fewer values than the formula needs.
	ErrTooFew = errors.New("too few values")
	// ErrNoSpread: the values do not differ at all.
	ErrNoSpread = errors.New("values do not differ")
	// ErrOutOfRange: an argument for which the formula is not made.
	ErrOutOfRange = errors.New("out of range")
)
