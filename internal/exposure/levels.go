package exposure

import (
	"cmp"
	"slices"

	"dustlog/internal/dust"
)

// levels counts the time at each concentration: a counting histogram with a bin
// for each 0.1 µg/m³, the resolution of most sensors, so nothing is sorted for
// them. Where a bin may hold different values, those of the one bin that matters
// are.
type levels struct {
	bins []int64 // ms; number topBin holds all from 13.1 mg/m³ up
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

func (l *levels) add(ng float64, ms int64) {
	bin := topBin
	if x := ng / binWidth; x < topBin {
		bin = int(x)
	}
	if bin >= len(l.bins) {
		l.grow(bin + 1)
	}
	l.bins[bin] += ms
}

// grow makes room for n bins. What lies beyond the length is always zero.
func (l *levels) grow(n int) {
	if n > cap(l.bins) {
		bins := make([]int64, min(2*n, topBin+1))
		copy(bins, l.bins)
		l.bins = bins
	}
	l.bins = l.bins[:n]
}

// percentile is the lowest concentration such that the air was at or below it
// for at least percent of the measured time: the inverse of the empirical
// distribution function, definition 1 of Hyndman and Fan, The American
// Statistician 50 (1996) 361, with time as the weight. It is a value that was
// read, never one in between. spans are those that were added, measured their
// total time above zero.
func (l *levels) percentile(percent, measured int64, spans []dust.Span) float64 {
	below := int64(0) // ms in lower bins
	bin := 0
	for ; bin < len(l.bins); bin++ {
		if (below+l.bins[bin])*100 >= percent*measured {
			break
		}
		below += l.bins[bin]
	}
	if !l.fine && bin < topBin {
		return float64(bin) * binWidth
	}
	inside := l.inBin(bin, spans)
	for _, p := range inside {
		below += p.To - p.From
		if below*100 >= percent*measured {
			return p.Value
		}
	}
	return inside[len(inside)-1].Value
}

// inBin lists the spans of one bin, the lowest first.
func (l *levels) inBin(bin int, spans []dust.Span) []dust.Span {
	var inside []dust.Span
	for _, p := range spans {
		x := p.Value / binWidth
		if (bin == topBin && x >= topBin) || (x < topBin && int(x) == bin) {
			inside = append(inside, p)
		}
	}
	slices.SortFunc(inside, func(a, b dust.Span) int { return cmp.Compare(a.Value, b.Value) })
	return inside
}

// above is how long readings were above a limit in mg/m³.
func (l *levels) above(limit float64, spans []dust.Span) (ms int64) {
	if !l.fine && len(l.bins) <= topBin {
		for bin := len(l.bins) - 1; bin >= 0 && float64(bin)*binWidth/nanogramsPerMilligram > limit; bin-- {
			ms += l.bins[bin]
		}
		return ms
	}
	for _, p := range spans {
		if p.Value/nanogramsPerMilligram > limit {
			ms += p.To - p.From
		}
	}
	return ms
}
