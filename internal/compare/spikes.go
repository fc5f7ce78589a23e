package compare

import (
	"cmp"
	"math"
	"slices"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// A spike is one reading of more than spikeFactor times the median of the
// readings up to spikeReach before and after it, with no echo in the other
// channels of the sensor or at the background sensor: electronics, not air.
const (
	spikeFactor     = 5
	spikeReach      = 5 * time.Second
	leastNeighbours = 4
	spikeReason     = "spike"
)

// spikes finds the spikes of the study's series, each series once.
type spikes struct {
	witnesses []*dust.Series
	found     map[*dust.Series]spans
}

func (st *study) newSpikes() *spikes {
	s := &spikes{found: map[*dust.Series]spans{}}
	for _, x := range st.in.Series {
		if x != nil && isAmount(x.Channel) {
			s.witnesses = append(s.witnesses, x)
		}
	}
	if st.in.Background != nil {
		s.witnesses = append(s.witnesses, st.in.Background)
	}
	return s
}

// spans are the stretches for which left out readings speak, in order, Unix ms.
type spans []dust.Span

func (s spans) holds(ms int64) bool {
	if len(s) == 0 {
		return false
	}
	i, found := slices.BinarySearchFunc(s, ms, func(p dust.Span, ms int64) int { return cmp.Compare(p.From, ms) })
	return found || i > 0 && ms < s[i-1].To
}

// of lists the spikes of a series. A nil receiver knows none.
func (s *spikes) of(series *dust.Series) spans {
	if s == nil {
		return nil
	}
	list, ok := s.found[series]
	if !ok {
		list = s.find(series)
		s.found[series] = list
	}
	return list
}

func (s *spikes) find(series *dust.Series) (list spans) {
	ms, value, _ := series.Columns()
	floor := netFloor(series.Channel)
	for i := range ms {
		// Cheap first: a spike towers over one neighbour at least.
		if !(value[i] > floor) || i > 0 && i+1 < len(ms) && value[i] <= spikeFactor*math.Min(value[i-1], value[i+1]) {
			continue
		}
		if !towers(ms, value, i, floor) || s.echo(series, ms[i]) {
			continue
		}
		to := ms[i] + series.LongestHold().Milliseconds()
		if i+1 < len(ms) {
			to = min(to, ms[i+1])
		}
		list = append(list, dust.Span{From: ms[i], To: to})
	}
	return list
}

// towers reports whether value i stands above its neighbourhood like a spike.
func towers(ms []int64, value []float64, i int, floor float64) bool {
	var near []float64
	reach := spikeReach.Milliseconds()
	for j := i - 1; j >= 0 && ms[j] >= ms[i]-reach; j-- {
		near = append(near, value[j])
	}
	for j := i + 1; j < len(ms) && ms[j] <= ms[i]+reach; j++ {
		near = append(near, value[j])
	}
	return len(near) >= leastNeighbours && value[i] > spikeFactor*median(near)+floor
}

// echo reports whether another series stands out at the same time too.
func (s *spikes) echo(series *dust.Series, at int64) bool {
	for _, other := range s.witnesses {
		if other == series {
			continue
		}
		ms, value, _ := other.Columns()
		i, found := slices.BinarySearch(ms, at)
		if !found && i > 0 && (i == len(ms) || at-ms[i-1] < ms[i]-at) {
			i--
		}
		if i < len(ms) && math.Abs(float64(ms[i]-at)) <= 1000 && towers(ms, value, i, netFloor(other.Channel)) {
			return true
		}
	}
	return false
}

// fillSpikes shows the result with the spikes in, if any lies in a run.
func (st *study) fillSpikes(res *Result, q quantity) {
	n := 0
	for _, r := range st.runs {
		for _, p := range st.spikes.of(q.plus) {
			if at := time.UnixMilli(p.From); !at.Before(r.start) && at.Before(r.stop) {
				n++
			}
		}
	}
	if n == 0 {
		return
	}
	row := st.row(q, st.analyse(q, rules{spikes: true}))
	row.Note = words.Plural(n, "%d reading of more than five times its neighbours, with no echo in another channel, taken in", "%d readings of more than five times its neighbours, with no echo in another channel, taken in", n)
	res.WithSpikes = &row
}

func spikeWarning(res Result) words.Text {
	if res.WithSpikes == nil || res.WithSpikes.Ratio == nil || res.Ratio == nil {
		return words.Text{}
	}
	return words.Of("single readings without an echo were left out as spikes; with them the ratio is %s instead of %s", figure(*res.WithSpikes.Ratio), figure(*res.Ratio))
}
