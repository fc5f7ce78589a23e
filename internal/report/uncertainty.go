package report

import (
	"fmt"
	"math"

	"dustlog/internal/exposure"
)

// uncertaintyPart says how wrong the numbers may be, and of what nothing is known.
func uncertaintyPart(in Input) part {
	p := part{ID: "uncertainty", Title: "Uncertainty", Intro: []string{"What is known of each error. What is not known is not small."}}
	g := grid{Columns: []gridColumn{texts("error of", 2), texts("from", 3), texts("how much", 2), texts("in which numbers", 3)}}
	add := func(cells ...string) { g.Rows = append(g.Rows, gridRow{Cells: cells}) }
	if r := in.Compare; r != nil {
		percent := func(ln *float64) string {
			if ln == nil {
				return "not known"
			}
			return fmt.Sprintf("%.1f %% (standard uncertainty of the ratio)", 100*math.Expm1(*ln))
		}
		u := r.Uncertainty
		add("the ratio after/before", "how "+r.UnitOfReplication+"s of one setup differ", percent(u.Sessions), "the interval of the comparison")
		add("the ratio after/before", "the background that is taken off ("+r.Background.Kind+")", percent(&u.Background), "the interval of the comparison")
		drift := percent(&u.Drift)
		if u.Drift == 0 {
			drift = "not stated, so not in the interval"
		}
		add("the ratio after/before", "drift of the sensor between the setups", drift, "the interval of the comparison")
		add("the ratio after/before", "all of these together", percent(u.Total), fmt.Sprintf("the interval: %s degrees of freedom", num("%.1f", u.DF)))
	}
	calibrated := false
	for _, s := range in.Exposure.Shifts {
		calibrated = calibrated || s.Factor != nil
	}
	if calibrated {
		add("concentrations of shifts with a factor", "pairs of filter and sensor", "the factor’s 95 % limits, see calibration", "share of the limit and findings; the TWAs are plain readings")
	}
	add("plain readings, mg/m³", "the maker’s calibration for another dust than wood", "not known; in published tests −72 % for workplace dusts, spruce among them", "every TWA, 15-minute mean and run mean without a factor")
	if gap, ok := widestGap(in.Exposure); ok {
		add("8-hour TWA", "time that was not measured", gap, "the three TWAs of each shift: as zero, like the measured, like the worst task")
	}
	add("8-hour TWA", "readings flagged and left out, or doubtful and kept", "see “Data”: minutes by flag", "every number of a shift")
	add("findings on other days", "few days", "the tolerance limits and the confidence named with them", "days as one group")
	p.Tables = []grid{g}
	return p
}

// widestGap is the shift whose TWAs differ most by what unmeasured time is taken for.
func widestGap(r exposure.Result) (string, bool) {
	widest, text := 0.0, ""
	for _, s := range breathingZone(r).Shifts {
		if s.TWA8h == nil || s.TWA8hWorst == nil || *s.TWA8h <= 0 {
			continue
		}
		if ratio := *s.TWA8hWorst / *s.TWA8h; ratio >= widest {
			widest, text = ratio, fmt.Sprintf("widest on %s: %.3f to %.3f mg/m³", s.Date, *s.TWA8h, *s.TWA8hWorst)
		}
	}
	return text, text != ""
}
