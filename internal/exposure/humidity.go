package exposure

import (
	"dustlog/internal/words"
)

// Humidity is what a correction for humidity would make of a shift, where the
// user has said how strongly the dust takes up water. It is a range to look at:
// no finding and no factor rests on it, and readings stay as they are.
type Humidity struct {
	Kappa float64 `json:"kappa"`
	// Without and With are the sensor's own value over the limit's averaging time,
	// as it was read and as it would read in dry air.
	Without *float64 `json:"compared_without_mg_m3"`
	With    *float64 `json:"compared_with_mg_m3"`
	// Shares of the readings: corrected, without a humidity of the time, and above
	// the humidity up to which the formula is used. The last two are taken as read.
	Corrected float64    `json:"corrected_share"`
	Unknown   float64    `json:"unknown_share"`
	TooHumid  float64    `json:"too_humid_share"`
	Why       words.Text `json:"why,omitzero"` // there is no With
}
