package airflow

import (
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// AirChanges holds what a flow would exchange against how fast dust was seen to go.
type AirChanges struct {
	Room     units.Volume `json:"room"`
	PerHour  float64      `json:"air_changes_per_h"` // Q/V
	Measured *float64     `json:"measured_clearance_per_h"`
	Low      *float64     `json:"measured_low_per_h"`
	High     *float64     `json:"measured_high_per_h"`
	Share    *float64     `json:"measured_over_computed"`
	Answer   words.Text   `json:"answer"`
}

// Clearance is a measured rate in 1/h with its interval; nil: not known.
type Clearance struct{ PerHour, Low, High *float64 }

// ChangesOf is Q/V in 1/h beside the measured rate, which holds ventilation, filtration
// and settling together: in a mixed room with clean returned air it is at least Q/V.
// measured may be nil.
func ChangesOf(q units.Flow, room units.Volume, measured *Clearance) AirChanges {
	const secondsPerHour = 3600
	c := AirChanges{Room: room, PerHour: float64(q) / float64(room) * secondsPerHour}
	if measured == nil || measured.PerHour == nil || !(c.PerHour > 0) {
		c.Answer = words.Of("cannot tell: no clearance was measured under this setup (dustlog clearance)")
		return c
	}
	c.Measured, c.Low, c.High = measured.PerHour, measured.Low, measured.High
	c.Share = ptr(*measured.PerHour / c.PerHour)
	low, high := *measured.PerHour, *measured.PerHour
	if c.Low != nil && c.High != nil {
		low, high = *c.Low, *c.High
	}
	switch {
	case high < c.PerHour:
		c.Answer = words.Of("dust goes more slowly (%.1f/h) than the flow exchanges air (%.1f/h): the collector was off while it cleared, the room is badly mixed, or the air that comes back is not clean", *c.Measured, c.PerHour)
	case low > c.PerHour:
		c.Answer = words.Of("dust goes faster (%.1f/h) than the flow exchanges air (%.1f/h): settling, other filters or open doors help", *c.Measured, c.PerHour)
	default:
		c.Answer = words.Of("what the flow exchanges (%.1f/h) lies within what was measured", c.PerHour)
	}
	return c
}
