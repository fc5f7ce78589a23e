package efficiency

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Bin is a size range in µm.
type Bin struct{ Low, High float64 }

func (b Bin) label() string { return fmt.Sprintf("%g–%g µm", b.Low, b.High) }

// BinEfficiency is what was found for a bin, as a share.
type BinEfficiency struct {
	Bin
	E float64
}

// mode is one lognormal mode of a dust by volume.
type mode struct{ median, gsd, share float64 }

// outdoor is a dust by volume: two lognormal modes.
type outdoor struct {
	name  string
	modes [2]mode
}

// The dusts of ISO 16890-1:2016, table 3: urban for ePM1 and ePM2.5, rural for
// ePM10. Medians in µm and geometric standard deviations are from memory.
var (
	urban = outdoor{"urban", [2]mode{{0.3, 2.2, 0.45}, {10, 3.1, 0.55}}}
	rural = outdoor{"rural", [2]mode{{0.25, 2.2, 0.18}, {11, 4, 0.82}}}
)

// volume is the share of the dust's volume in a bin.
func (o outdoor) volume(b Bin) (share float64) {
	for _, m := range o.modes {
		n := distuv.Normal{Mu: math.Log(m.median), Sigma: math.Log(m.gsd)}
		share += m.share * (n.CDF(math.Log(b.High)) - n.CDF(math.Log(b.Low)))
	}
	return share
}

// fraction is one of the standard's particle fractions, 0.3 µm up to a size.
type fraction struct {
	name string
	um   float64
	dust outdoor
}

var fractions = []fraction{{"ePM1", 1, urban}, {"ePM2.5", 2.5, urban}, {"ePM10", 10, rural}}

const smallest = 0.3 // µm, where the standard begins

// ePM weighs bin efficiencies with the standard's dust:
//
//	ePMx = Σ E(bin)·q(bin) / Σ q(bin),  bins from 0.3 µm to x
//
// q(bin) is the dust's volume in the bin; the standard takes its density at the
// bin's geometric mean times the width in ln d, which is the same for narrow bins.
// ok is false if the bins leave a gap.
func (f fraction) ePM(bins []BinEfficiency) (share float64, ok bool) {
	reached, sum := smallest, 0.0
	for _, b := range bins {
		if b.Low > reached || reached >= f.um {
			break
		}
		if b.High <= reached {
			continue
		}
		part := Bin{reached, min(b.High, f.um)}
		q := f.dust.volume(part)
		share, sum, reached = share+b.E*q, sum+q, part.High
	}
	return share / sum, reached >= f.um && sum > 0
}

// RoundedDown is how ISO 16890 reports an efficiency: down to whole 5 %, and
// "> 95" above 95 (from memory; rounding down is in makers' summaries too).
func RoundedDown(share float64) string {
	percent := 100 * share
	if percent > 95 {
		return "> 95 %"
	}
	const step, tiny = 5, 1e-9 // 0.55·100 is below 55
	return fmt.Sprintf("%.0f %%", max(0, math.Floor(percent/step+tiny)*step))
}
