package exposure

import (
	"dustlog/internal/words"
)

// Reason is why a sensor's shifts got a finding, told by one of them.
type Reason struct {
	Sensor  string
	Finding Finding
	Shifts  int    // how many of the sensor's shifts got this finding
	Of      int    // of how many
	Date    string // the shift that Why speaks of: the one with the largest share of the limit
	Why     words.Text
}

// Reasons joins the shifts by sensor and finding, in order of appearance, so
// that a fortnight does not give the same sentence ten times.
func (r Result) Reasons() []Reason {
	type key struct {
		sensor  string
		finding Finding
	}
	var out []Reason
	place, of, largest := map[key]int{}, map[string]int{}, map[key]float64{}
	for _, s := range r.Shifts {
		k := key{s.Sensor, s.Finding}
		of[s.Sensor]++
		share := -1.0
		if s.ShareOfLimit != nil {
			share = *s.ShareOfLimit
		}
		i, known := place[k]
		if !known {
			i = len(out)
			place[k] = i
			out = append(out, Reason{Sensor: s.Sensor, Finding: s.Finding})
		}
		out[i].Shifts++
		if !known || share > largest[k] {
			largest[k], out[i].Date, out[i].Why = share, s.Date, s.Why
		}
	}
	for i := range out {
		out[i].Of = of[out[i].Sensor]
	}
	return out
}
