package compare

import (
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// coarseNote limits every row above about 2.5 µm.
func coarseNote() words.Text {
	return words.Of("indicative: many optical sensors work out coarse dust from the fine signal")
}

// channel is the quantity of one channel.
func (st *study) channel(c dust.Channel) quantity {
	q := quantity{
		metric: c.Key(), label: exposure.ChannelText(c), unit: c.Unit(), floor: netFloor(c),
		plus: st.in.series(c), bgPlus: st.in.background(c),
	}
	if c == dust.PM4 || c == dust.PM10 || c == dust.PM10Atm {
		q.note = coarseNote()
	}
	return q
}

// between is the quantity of what plus holds and minus does not.
func (st *study) between(plus, minus dust.Channel, label words.Text) quantity {
	q := st.channel(plus)
	q.metric = strings.TrimSuffix(plus.Key(), "_"+unitKey(plus)) + "_minus_" + minus.Key()
	q.label = label
	q.minus, q.bgMinus = st.in.series(minus), st.in.background(minus)
	return q
}

func unitKey(c dust.Channel) string {
	return strings.TrimPrefix(strings.TrimPrefix(c.Key(), c.Metric()), "_")
}

// has reports whether the sensor sent readings of c.
func (st *study) has(c dust.Channel) bool {
	s := st.in.series(c)
	return s != nil && s.Len() > 0
}

// edge is a size limit in µm and the channel that counts from it or up to it.
type edge struct {
	channel dust.Channel
	size    words.Number
	coarse  bool
}

// From above: counts of particles larger than the size. From below: counts from
// 0.3 µm up to the size. Differences of neighbours are bins; the cumulative
// counts themselves would show each particle several times.
var (
	largerThan = []edge{
		{dust.N03, "0.3", false}, {dust.N05, "0.5", false}, {dust.N10, "1", false},
		{dust.N25, "2.5", true}, {dust.N50, "5", true}, {dust.N100, "10", true},
	}
	upTo = []edge{
		{dust.NPM05, "0.5", false}, {dust.NPM1, "1", false}, {dust.NPM25, "2.5", false},
		{dust.NPM4, "4", true}, {dust.NPM10, "10", true},
	}
)

// sizes lists the quantities of the answer by size, fine to coarse.
func (st *study) sizes() []quantity {
	var list []quantity
	for _, c := range []dust.Channel{dust.PM1, dust.PM25, dust.PM4, dust.PM10} {
		if st.has(c) {
			list = append(list, st.channel(c))
		}
	}
	if edges := st.present(largerThan); len(edges) > 0 {
		for i, e := range edges[:len(edges)-1] {
			list = append(list, st.bin(e.channel, edges[i+1].channel, sizeRange(e.size, edges[i+1].size), e.coarse))
		}
		last := edges[len(edges)-1]
		q := st.channel(last.channel)
		if last.coarse {
			q.note = coarseNote()
		}
		list = append(list, q)
	}
	if edges := st.present(upTo); len(edges) > 0 {
		list = append(list, st.channel(edges[0].channel))
		for i, e := range edges[1:] {
			list = append(list, st.bin(e.channel, edges[i].channel, sizeRange(edges[i].size, e.size), e.coarse))
		}
	}
	return list
}

func sizeRange(from, to words.Number) words.Text { return words.Of("%s–%s µm", from, to) }

func (st *study) present(edges []edge) []edge {
	var out []edge
	for _, e := range edges {
		if st.has(e.channel) {
			out = append(out, e)
		}
	}
	return out
}

func (st *study) bin(plus, minus dust.Channel, label words.Text, coarse bool) quantity {
	q := st.between(plus, minus, label)
	q.note = words.Text{}
	if coarse {
		q.note = coarseNote()
	}
	return q
}

// bySize gives the effect on every size. All but the primary outcome are
// secondary; see adjustSecondary.
func (st *study) bySize() []Effect {
	rows := []Effect{}
	for _, q := range st.sizes() {
		row, _ := st.effect(q)
		row.Secondary = q.metric != st.in.Metric.Key()
		rows = append(rows, row)
	}
	return rows
}

// effect estimates one quantity as a row of a table, with the word for it.
func (st *study) effect(q quantity) (row Effect, word Verdict) {
	a := st.analyse(q, rules{})
	row = st.row(q, a)
	row.Note = words.JoinSaid("; ", st.effectNotes(q, a)...)
	word, _ = a.word(st.in.SmallestChangePercent/100, st.in.Confidence)
	return row, word
}

func (st *study) effectNotes(q quantity, a analysis) []words.Text {
	var notes []words.Text
	add := func(when bool, text words.Text) {
		if when {
			notes = append(notes, text)
		}
	}
	add(true, q.note)
	add(!q.hasBackground() && st.in.Background != nil, words.Of("no background of this channel was subtracted"))
	lost := a.nonDetects[before] + a.nonDetects[after]
	add(lost > 0, words.Plural(lost, "%d run not told from the background", "%d runs not told from the background", lost))
	add(a.arithmetic, words.Of("arithmetic means, Fieller interval"))
	add(a.noSpread, words.Of("sessions do not differ at all: no interval"))
	add(st.noDiary, words.Of("no diary: no interval"))
	add(!a.ok && !a.noSpread && !st.noDiary, words.Of("too little data for an interval"))
	return notes
}
