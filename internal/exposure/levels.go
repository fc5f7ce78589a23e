package exposure

import (
	"cmp"
	"slices"
)

// levels counts the time at each concentration: a counting histogram with a bin
// for each 0.1 µg/m³, the resolution of most sensors, so nothing is sorted for
// them. Where a bin may hold different values, those of the one bin that matters
// are.
type levels struct {
	bins []int64 // ms, up to the last bin used; number topBin holds all from 13.1 mg/m³ up
	fine bool    // values other than whole bins may occur
}

const (
	binWidth = 100.0 // ng/m³
	topBin   = 1<<17 - 1
)

func (l *levels) reset(fine bool) {
	clear(l.bins)
	l.bins, l.fine = l.bins[:0], fine
}

// count adds readings, each with its time in ms.
func (l *levels) count(ng []float64, ms []int32) {
	if l.bins == nil {
		l.bins = make([]int64, 0, topBin+1)
	}
	bins := (*[topBin + 1]int64)(l.bins[:topBin+1])
	top := 0
	for k, ms := range ms[:len(ng)] {
		bin := binOf(ng[k])
		bins[bin&topBin] += int64(ms) // the mask saves a check of bounds
		top = max(top, bin)
	}
	l.bins = l.bins[:max(len(l.bins), top+1)]
}

// binOf finds the bin. A product of rounded numbers does: it never falls below a
// whole number that is meant, and bins only need to be in the order of values.
func binOf(ng float64) int {
	if x := ng * (1 / binWidth); x < topBin {
		return int(x)
	}
	return topBin
}

// percentile is the lowest concentration, in ng/m³, such that the air was at or
// below it for at least percent of the measured time: the inverse of the
// empirical distribution function, definition 1 of Hyndman and Fan, The American
// Statistician 50 (1996) 361, with time as the weight. It is a value that was
// read, never one in between. The measured time must not be zero.
func (s *stretch) percentile(percent, measured int64) float64 {
	l := &s.levels
	below := int64(0) // ms in lower bins
	bin := 0
	for ; bin < len(l.bins)-1; bin++ {
		if (below+l.bins[bin])*100 >= percent*measured {
			break
		}
		below += l.bins[bin]
	}
	if !l.fine && bin < topBin {
		return float64(bin) * binWidth
	}
	inside := s.inBin(bin)
	for _, v := range inside {
		below += v.ms
		if below*100 >= percent*measured {
			return v.ng
		}
	}
	return inside[len(inside)-1].ng
}

// level is one reading: a concentration and how long it lasted.
type level struct {
	ng float64
	ms int64
}

// inBin lists the readings of one bin, the lowest first.
func (s *stretch) inBin(bin int) []level {
	var inside []level
	for k := s.i; k < s.j; k++ {
		if ng := s.b.ng[k]; binOf(ng) == bin {
			inside = append(inside, level{ng, s.inside(s.b.ms[k], s.b.end(k))})
		}
	}
	slices.SortFunc(inside, func(a, b level) int { return cmp.Compare(a.ng, b.ng) })
	return inside
}

// above is how long readings were above a limit in mg/m³.
func (s *stretch) above(limit float64) (ms int64) {
	if l := &s.levels; !l.fine && len(l.bins) <= topBin {
		for bin := len(l.bins) - 1; bin >= 0 && float64(bin)*binWidth/nanogramsPerMilligram > limit; bin-- {
			ms += l.bins[bin]
		}
		return ms
	}
	for k := s.i; k < s.j; k++ {
		if s.b.ng[k]/nanogramsPerMilligram > limit {
			ms += s.inside(s.b.ms[k], s.b.end(k))
		}
	}
	return ms
}
