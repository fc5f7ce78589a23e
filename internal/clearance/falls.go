package clearance

import (
	"slices"
	"time"

	"dustlog/internal/words"
)

// Rules for finding decays in a trace. They are our choice, no published source.
const (
	settle     = time.Minute     // after the source is off: the room mixes
	risen      = 1.2             // a level this much above that at a task's end is new dust …
	lateAtMost = 5 * time.Minute // … which may come so late, if it is only mixing
	longestGap = 5 * time.Minute // more without a mean ends a record
	backHalf   = 0.5             // dust is back when the level is up by half …
	backShare  = 0.05            // … and by this share of the fall so far
	clearFall  = 3.0             // a drop without a diary must fall by this factor
)

// fall is a stretch of means from a peak to where the record ends.
type fall struct {
	peak, end int // indices; end is not part of it
	endedBy   words.Text
}

// falls cuts means at gaps and where dust comes back.
func falls(means []mean, until words.Text) (out []fall) {
	for from := 0; from < len(means); {
		to, endedBy := from+1, until
		for to < len(means) && means[to].ms-means[to-1].ms <= longestGap.Milliseconds() {
			to++
		}
		if to < len(means) {
			endedBy = words.Of("a gap in the readings")
		}
		for _, f := range unbroken(smooth(means[from:to]), endedBy) {
			out = append(out, fall{f.peak + from, f.end + from, f.endedBy})
		}
		from = to
	}
	return out
}

// unbroken finds the falls in levels without gaps. A record that dust ended is
// cut at its lowest level, where nothing of the new dust is in it.
func unbroken(level []float64, until words.Text) (out []fall) {
	peak, low := 0, 0
	for i, v := range level {
		up := v - level[low]
		switch {
		case up > backHalf*level[low] && up > backShare*(level[peak]-level[low]) && low > peak:
			out = append(out, fall{peak, low + 1, words.Of("dust came back")})
			peak, low = i, i
		case v > level[peak]:
			peak, low = i, i
		case v < level[low]:
			low = i
		}
	}
	return append(out, fall{peak, len(level), until})
}

// smooth is the running median of three.
func smooth(means []mean) []float64 {
	out := make([]float64, len(means))
	for i := range means {
		three := []float64{means[max(i-1, 0)].c, means[i].c, means[min(i+1, len(means)-1)].c}
		slices.Sort(three)
		out[i] = three[1]
	}
	return out
}

// clear reports whether a fall without a diary is one: by a factor of 3.
func (f fall) clear(level []float64) bool {
	return level[f.peak] > clearFall*slices.Min(level[f.peak:f.end])
}

// search finds the first mean at or after a time in ms.
func search(means []mean, ms int64) (int, bool) {
	return slices.BinarySearchFunc(means, ms, func(m mean, ms int64) int { return int(m.ms - ms) })
}
