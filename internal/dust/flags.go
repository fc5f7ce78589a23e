package dust

import (
	"fmt"
	"strings"
)

// Flags says what is known against a reading. A flagged reading is kept; whether
// a statistic uses it is decided by Unusable, the same for every output.
type Flags uint32

// The flags.
const (
	// WarmUp: taken before the sensor's fan and laser were steady.
	WarmUp Flags = 1 << iota
	// Saturated: fine mass (PM2.5 or finer) at the top of the sensor's range; the
	// truth is this much or more. In a series it speaks of the series' channel.
	Saturated
	// AllZero: every channel zero; a dead laser or a blocked inlet looks like this.
	AllZero
	// Stuck: the same non-zero values for longer than real air ever gives.
	Stuck
	// CountOrder: cumulative counts rise with size, which no air can do.
	CountOrder
	// Humid: relative humidity above 75 %, where optical sensors over-read.
	Humid
	// ClockStep: the computer's clock was changed near this reading.
	ClockStep
	// FanFault and LaserFault: the sensor itself reports trouble.
	FanFault
	LaserFault
	// MissingValue: the sensor sent "no number" in a channel it normally has.
	MissingValue
	// NegativeMass: a mass below zero, which only an offset or a fault can give.
	NegativeMass
	// SaturatedCoarse and SaturatedCount: as Saturated, for masses coarser than
	// PM2.5 and for particle numbers. They come first when air gets dusty and say
	// nothing against the fine mass.
	SaturatedCoarse
	SaturatedCount

	flagCount = iota
)

var flagNames = [flagCount]string{
	"warm_up", "saturated", "all_zero", "stuck", "count_order", "humid",
	"clock_step", "fan_fault", "laser_fault", "missing_value", "negative_mass",
	"saturated_coarse", "saturated_count",
}

// unusable are the flags that take a reading out of every statistic.
const unusable = WarmUp | AllZero | Stuck | CountOrder | FanFault | LaserFault | NegativeMass

// SaturatedIn is the flag for a value of channel c at the top of its range.
func SaturatedIn(c Channel) Flags {
	switch {
	case c == PM4 || c == PM10 || c == PM10Atm:
		return SaturatedCoarse
	case c >= N03 && c <= NPM10:
		return SaturatedCount
	}
	return Saturated
}

// For returns the flags of a reading as they concern one of its channels:
// Saturated says that this channel was at the top of its range.
func (f Flags) For(c Channel) Flags {
	at := f.Has(SaturatedIn(c)) && c < TypicalSize
	f &^= Saturated | SaturatedCoarse | SaturatedCount
	if at {
		f |= Saturated
	}
	return f
}

// Unusable reports whether statistics must leave the reading out. Its time then
// counts as not measured. Saturated and humid readings stay in.
func (f Flags) Unusable() bool { return f&unusable != 0 }

// Has reports whether all flags of g are set in f.
func (f Flags) Has(g Flags) bool { return f&g == g }

// Names lists the flags set, in a fixed order.
func (f Flags) Names() []string {
	names := make([]string, 0, 2)
	for i, name := range flagNames {
		if f&(1<<i) != 0 {
			names = append(names, name)
		}
	}
	return names
}

// String joins the names with commas; no flags give "".
func (f Flags) String() string { return strings.Join(f.Names(), ",") }

// ParseFlags reads what String prints.
func ParseFlags(s string) (Flags, error) {
	var f Flags
	for name := range strings.SplitSeq(s, ",") {
		name = strings.TrimSpace(name)
		if name == "" {
			continue
		}
		bit := -1
		for i, known := range flagNames {
			if name == known {
				bit = i
			}
		}
		if bit < 0 {
			return 0, fmt.Errorf("unknown flag %q: use one of %s", name, strings.Join(flagNames[:], ", "))
		}
		f |= 1 << bit
	}
	return f, nil
}
