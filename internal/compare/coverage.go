package compare

import "math"

// coverage counts, per setup, what was expected, measured and left out.
func (st *study) coverage(a analysis) []SetupCoverage {
	rows := []SetupCoverage{
		{Setup: st.in.Before, MinutesExcluded: map[string]float64{}},
		{Setup: st.in.After, MinutesExcluded: map[string]float64{}},
	}
	for i, r := range st.runs {
		row := &rows[r.side]
		row.RunsSeen++
		if a.usable[i] {
			row.RunsKept++
		}
		if r.need == 0 { // running, or across a change of setup: its time belongs to neither
			continue
		}
		row.MinutesExpected += r.seconds() / 60
		row.MinutesMeasured += r.measured.seconds / 60
		for reason, sec := range r.measured.lost {
			row.MinutesExcluded[reason] += sec / 60
		}
	}
	for side := range sides {
		rows[side].NonDetects = a.nonDetects[side]
	}
	return rows
}

// unevenlyExcluded reports whether the shares of expected time that unusable
// readings took differ by more than ten points, or those of runs left out do.
func unevenlyExcluded(rows []SetupCoverage) bool {
	var time, runs [sides]float64
	for side, row := range rows {
		if row.RunsSeen == 0 || !(row.MinutesExpected > 0) {
			return false
		}
		for _, minutes := range row.MinutesExcluded {
			time[side] += minutes / row.MinutesExpected
		}
		runs[side] = float64(row.RunsSeen-row.RunsKept) / float64(row.RunsSeen)
	}
	return math.Abs(time[before]-time[after]) > unevenExclusion || math.Abs(runs[before]-runs[after]) > unevenExclusion
}

// share is the share of the measured time of a setup's runs that pick selects.
func (st *study) share(a analysis, s side, pick func(measured) float64) float64 {
	var part, whole float64
	for i, r := range st.runs {
		if a.in[i] && r.side == s {
			part += pick(r.measured)
			whole += r.measured.seconds
		}
	}
	return part / whole
}
