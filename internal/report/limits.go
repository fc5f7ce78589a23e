package report

import (
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// limitRow is one limit over all shifts of one sensor.
type limitRow struct {
	Sensor, Limit    string
	Shifts, Governs  int // shifts judged, and those in which it was the lowest that may bear
	Highest          *float64
	HighestIsAtLeast bool
	Over             int
	Bearing          words.Text
	Peaks            words.Text
}

// limitRows sums the findings up where several limits were asked about.
func limitRows(shifts []exposure.ShiftResult) []limitRow {
	var rows []limitRow
	for _, s := range shifts {
		if len(s.Limits) < 2 {
			continue
		}
		for _, l := range s.Limits {
			i := -1
			for k := range rows {
				if rows[k].Sensor == s.Sensor && rows[k].Limit == l.Label {
					i = k
				}
			}
			if i < 0 {
				i = len(rows)
				rows = append(rows, limitRow{Sensor: s.Sensor, Limit: l.Label, Bearing: bearingText(l.Bearing), Peaks: peaks(l.Excursions)})
			}
			rows[i].add(l)
		}
	}
	return rows
}

func (r *limitRow) add(l exposure.LimitFinding) {
	r.Shifts++
	if l.Governs {
		r.Governs++
	}
	if l.Finding == exposure.Over {
		r.Over++
	}
	if l.ShareOfLimit != nil && (r.Highest == nil || *l.ShareOfLimit > *r.Highest) {
		r.Highest, r.HighestIsAtLeast = l.ShareOfLimit, l.ShareIsAtLeast
	}
	if bearingText(l.Bearing).String() != r.Bearing.String() {
		r.Bearing = words.Of("differs from shift to shift")
	}
	if l.Excursions != nil && len(l.Excursions.Broken) > 0 {
		r.Peaks = peaks(l.Excursions)
	}
}

func bearingText(b exposure.Bearing) words.Text {
	switch b {
	case exposure.Applies:
		return words.Of("applies")
	case exposure.DoesNotApply:
		return words.Of("does not apply")
	}
	return words.Of("not known")
}

func peaks(e *exposure.Excursions) words.Text {
	switch {
	case e == nil:
		return words.Of("no rule known")
	case len(e.Broken) > 0:
		return words.Of("%s broken: %s", e.Rule.Name, e.Broken[0])
	}
	return words.Of("%s not seen broken", e.Rule.Name)
}
