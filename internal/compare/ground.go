package compare

import (
	"math"
	"slices"
	"time"
)

type groundKind int

const (
	noGround       groundKind = iota // nothing is known of the background: none is subtracted
	readGround                       // the background sensor as it reads: Cbg = Cout
	offsetGround                     // Cbg = a + Cout
	lineGround                       // Cbg = a + b·Cout
	constantGround                   // Cbg = a, for want of a second sensor
)

// ground is the background of one quantity, Cbg = a + b·Cout, with its
// uncertainty. a and b are found from idle minutes and shared by all runs, so
// their error does not shrink with runs.
type ground struct {
	kind            groundKind
	a, b            float64
	varA, varB, cov float64
	df              float64
	spread          float64 // sd of the idle means about Cbg
	n               int     // independent idle means it rests on
	minutes         float64 // idle minutes measured
	blocks          int     // idle means of them
	decays          []decay // falls of the level after tasks
	clearance       [sides]rate
}

// at is the background where the background sensor reads outside.
func (g *ground) at(outside float64) float64 { return g.a + g.b*outside }

// variance of at(outside): s²(a) + Cout²·s²(b) + 2·Cout·cov(a, b).
func (g *ground) variance(outside float64) float64 {
	return math.Max(0, g.varA+outside*outside*g.varB+2*outside*g.cov)
}

// loq is the limit of quantification of a net mean, three times its standard
// uncertainty: the scatter of idle means about the background with the
// background's own uncertainty, both as often as a run's dose holds them
// (stretch). Never below floor, what rounding leaves. Source: 3·u, as the
// detection limits of IUPAC 1978 and the quantification floor of practice.
func (g *ground) loq(floor, outside, stretch float64) float64 {
	if math.IsNaN(outside) {
		outside = 0
	}
	if x := 3 * stretch * math.Sqrt(g.spread*g.spread+g.variance(outside)); x > floor && isFinite(x) {
		return x
	}
	return floor
}

// Idle time is time without a task for long enough that the air has cleared: 3/λ,
// or an hour while the clearance rate is not known. After 3/λ a twentieth of the
// dust is still there, so 5/λ are waited where that leaves enough idle time.
const (
	unknownWait     = time.Hour
	clearingTimes   = 3
	longClearing    = 5
	idleBlock       = 5 * time.Minute
	shortIdleBlock  = time.Minute
	fewestBlocks    = 12 // of idleBlock; else shorter ones are taken
	fewestLine      = 10 // independent idle means for a line
	fewestOffset    = 3
	unsureSlope     = 0.25 // standard error of b above which b is taken as 1
	longestThinning = 12
)

// idleMean is the mean of one stretch of idle time at both sensors.
type idleMean struct {
	room, outside float64 // outside is NaN without a background sensor
	stretch       int     // idle stretch it is from
	day           string
}

// groundOf finds the background of q, once.
func (st *study) groundOf(q quantity) *ground {
	if g, ok := st.grounds[q.metric]; ok {
		return g
	}
	g := st.findGround(q)
	st.grounds[q.metric] = g
	return g
}

func (st *study) findGround(q quantity) *ground {
	if st.noDiary {
		return st.unfitted(q)
	}
	first := st.fitGround(q, unknownWait)
	decays := st.decays(q, first)
	clearance := clearanceOf(decays)
	g := first
	if slowest := slowest(clearance); slowest > 0 {
		for _, times := range []float64{longClearing, clearingTimes} {
			g = st.fitGround(q, time.Duration(times/slowest*float64(time.Hour)))
			if g.blocks >= fewestBlocks {
				break
			}
		}
	}
	if first.kind == noGround && g.kind != noGround { // falls too short to show their own background
		decays = st.decays(q, g)
		clearance = clearanceOf(decays)
	}
	g.clearance, g.decays = clearance, decays
	return g
}

// unfitted is the background as the sensor reads it, or none.
func (st *study) unfitted(q quantity) *ground {
	if q.hasBackground() {
		return &ground{kind: readGround, b: 1}
	}
	return &ground{}
}

// fitGround fits the background to idle time that begins wait after a task.
func (st *study) fitGround(q quantity, wait time.Duration) *ground {
	stretches := st.idleStretches(wait)
	block := idleBlock
	means := st.idleMeans(q, stretches, block)
	if len(means) < fewestBlocks {
		block = shortIdleBlock
		means = st.idleMeans(q, stretches, block)
	}
	g := st.unfitted(q)
	if !q.hasBackground() {
		if c, ok := constant(means); ok {
			g = c
		}
	} else if l, ok := fitOutside(means); ok {
		g = l
	}
	g.minutes, g.blocks = float64(len(means))*block.Minutes(), len(means)
	return g
}

// idleMeans cuts idle stretches into blocks and measures them. A block counts if
// three quarters of it were measured, at both sensors if there are two.
func (st *study) idleMeans(q quantity, stretches []stretch, block time.Duration) (out []idleMean) {
	need := leastMeasured * block.Seconds()
	for i, s := range stretches {
		for from := s.from; !from.Add(block).After(s.to); from = from.Add(block) {
			if from = q.skipGap(from, block); from.Add(block).After(s.to) {
				break
			}
			m := idleMean{stretch: i, outside: math.NaN(), room: st.mean(q, from, from.Add(block), need, rules{})}
			if q.hasBackground() {
				m.outside = q.outside(from, from.Add(block), need)
			}
			if !math.IsNaN(m.room) && !(q.hasBackground() && math.IsNaN(m.outside)) {
				m.day = from.In(st.in.Zone).Format(time.DateOnly)
				out = append(out, m)
			}
		}
	}
	return out
}

// skipGap moves on by whole blocks to the one that holds the next reading: nights
// and weekends hold none.
func (q quantity) skipGap(from time.Time, block time.Duration) time.Time {
	ms, _, _ := q.plus.Columns()
	i, _ := slices.BinarySearch(ms, from.UnixMilli())
	if i == len(ms) {
		return from.AddDate(1, 0, 0)
	}
	if gap := time.UnixMilli(ms[i]).Sub(from); gap > block {
		return from.Add(gap.Truncate(block))
	}
	return from
}

// constant is the mean of the days' idle medians: a day is the unit, and a median
// bears dust that nobody noted.
func constant(means []idleMean) (*ground, bool) {
	var days []string
	byDay := map[string][]float64{}
	for _, m := range means {
		if byDay[m.day] == nil {
			days = append(days, m.day)
		}
		byDay[m.day] = append(byDay[m.day], m.room)
	}
	if len(days) == 0 {
		return nil, false
	}
	var medians []float64
	for _, d := range days {
		medians = append(medians, median(byDay[d]))
	}
	if len(days) == 1 { // blocks of the one day have to do
		medians = byDay[days[0]]
		if len(medians) < fewestOffset {
			return nil, false
		}
	}
	m, sd := meanSD(medians)
	n := len(medians)
	return &ground{kind: constantGround, a: m, varA: sd * sd / float64(n), df: float64(n - 1), spread: sd, n: n}, true
}
