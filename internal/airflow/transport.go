package airflow

import (
	"dustlog/internal/units"
	"dustlog/internal/words"
)

// TransportRange is the least velocity that ducts are designed for, so that what is in
// the air does not settle.
type TransportRange struct {
	What string         `json:"what"`
	Low  units.Velocity `json:"low"`
	High units.Velocity `json:"high"`
}

// TransportRanges is a government guidance's table of minimum duct design velocities,
// which follows [IV] (read in a copy). European practice is about 20 m/s for wood
// (from memory).
var TransportRanges = []TransportRange{
	{"very fine light dust, wood flour", units.FPM(2500), units.FPM(3000)},
	{"dry dust, light shavings", units.FPM(3000), units.FPM(4000)},
	{"average industrial dust, sawdust", units.FPM(3500), units.FPM(4000)},
	{"heavy or wet sawdust, blocks", units.FPM(4000), units.FPM(4500)},
}

// Words for what a velocity carries.
const (
	TooSlow  = "too slow"
	Slow     = "slow"
	Carries  = "carries"
	Doubtful = "cannot tell"
)

// TransportCheck is a duct's velocity held against the table.
type TransportCheck struct {
	Duct     string          `json:"duct"`
	Velocity units.Velocity  `json:"velocity"`
	Low      *units.Velocity `json:"velocity_low"`
	High     *units.Velocity `json:"velocity_high"`
	Answer   string          `json:"answer"`
	Why      words.Text      `json:"why"`
	Needed   units.Flow      `json:"flow_for_4000_fpm"` // through this duct
}

// CheckTransport judges a velocity with its interval (nil: not known): "too slow" and
// "carries" are said only where the whole interval agrees.
func CheckTransport(duct string, v units.Velocity, low, high *units.Velocity, area units.Area) TransportCheck {
	flour, sawdust := TransportRanges[0].Low, TransportRanges[2].High
	c := TransportCheck{Duct: duct, Velocity: v, Low: low, High: high, Needed: TransportFlow(area, sawdust)}
	least, most := v, v
	if low != nil && high != nil {
		least, most = *low, *high
	}
	switch {
	case most < flour:
		c.Answer, c.Why = TooSlow, words.Of("below %s, the least even for wood flour: dust settles in the duct, narrows it and can burn there", flour)
	case least >= sawdust:
		c.Answer, c.Why = Carries, words.Of("at or above %s, the upper end for sawdust; wet sawdust and blocks want up to %s", sawdust, TransportRanges[3].High)
	case most < sawdust:
		c.Answer, c.Why = Slow, words.Of("below %s, the upper end for sawdust: shavings and sawdust may settle; look into the duct", sawdust)
	default:
		c.Answer, c.Why = Doubtful, words.Of("the interval reaches from below to above %s: measure more points", sawdust)
	}
	return c
}

// TransportFlow is the flow that gives a duct a velocity.
func TransportFlow(area units.Area, v units.Velocity) units.Flow { return Flow(v, area) }
