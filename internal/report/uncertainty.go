package report

import (
	"math"

	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// uncertaintyPart says how wrong the numbers may be, and of what nothing is known.
func uncertaintyPart(in Input) part {
	p := part{ID: "uncertainty", Title: words.Of("Uncertainty"), Intro: []words.Text{words.Of("What is known of each error. What is not known is not small.")}}
	g := grid{Columns: []gridColumn{texts(words.Of("error of"), 2), texts(words.Of("comes from"), 3), texts(words.Of("how much"), 2), texts(words.Of("in which numbers"), 3)}}
	add := func(cells ...any) { g.Rows = append(g.Rows, gridRow{Cells: cells}) }
	if r := in.Compare; r != nil {
		percent := func(ln *float64) words.Text {
			if ln == nil {
				return words.Of("not known")
			}
			return words.Of("%.1f %% (standard uncertainty of the ratio)", 100*math.Expm1(*ln))
		}
		u := r.Uncertainty
		add(words.Of("the ratio after/before"), words.Of("how %s of one setup differ", r.UnitsText()), percent(u.Sessions), words.Of("the interval of the comparison"))
		add(words.Of("the ratio after/before"), words.Of("the background that is taken off (%s)", r.Background.Kind), percent(&u.Background), words.Of("the interval of the comparison"))
		drift := percent(&u.Drift)
		if u.Drift == 0 {
			drift = words.Of("not stated, so not in the interval")
		}
		add(words.Of("the ratio after/before"), words.Of("drift of the sensor between the setups"), drift, words.Of("the interval of the comparison"))
		add(words.Of("the ratio after/before"), words.Of("all of these together"), percent(u.Total), words.Of("the interval: %s degrees of freedom", num("%.1f", u.DF)))
	}
	calibrated := false
	for _, s := range in.Exposure.Shifts {
		calibrated = calibrated || s.Factor != nil
	}
	if calibrated {
		add(words.Of("concentrations of shifts with a factor"), words.Of("pairs of filter and sensor"), words.Of("the factor’s 95 %% limits, see calibration"), words.Of("share of the limit and findings; the TWAs are plain readings"))
	}
	add(words.Of("plain readings, mg/m³"), words.Of("the maker’s calibration for another dust than wood"), words.Of("not known; in published tests −72 %% for workplace dusts, spruce among them"), words.Of("every TWA, 15-minute mean and run mean without a factor"))
	if gap, ok := widestGap(in.Exposure); ok {
		add(words.Of("8-hour TWA"), words.Of("time that was not measured"), gap, words.Of("the three TWAs of each shift: as zero, like the measured, like the worst task"))
	}
	add(words.Of("8-hour TWA"), words.Of("readings flagged and left out, or doubtful and kept"), words.Of("see “Data”: minutes by flag"), words.Of("every number of a shift"))
	add(words.Of("findings on other days"), words.Of("few days"), words.Of("the tolerance limits and the confidence named with them"), words.Of("days as one group"))
	p.Tables = []grid{g}
	return p
}

// widestGap is the shift whose TWAs differ most by what unmeasured time is taken for.
func widestGap(r exposure.Result) (words.Text, bool) {
	widest, text := 0.0, words.Text{}
	for _, s := range breathingZone(r).Shifts {
		if s.TWA8h == nil || s.TWA8hWorst == nil || *s.TWA8h <= 0 {
			continue
		}
		if ratio := *s.TWA8hWorst / *s.TWA8h; ratio >= widest {
			widest, text = ratio, words.Of("widest on %s: %.3f to %.3f mg/m³", words.Day(s.Date), *s.TWA8h, *s.TWA8hWorst)
		}
	}
	return text, !text.IsZero()
}
