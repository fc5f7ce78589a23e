package efficiency

import (
	"slices"
	"strings"

	"dustlog/internal/dust"
)

// edge is a size limit in µm and the channel that counts from it or up to it.
type edge struct {
	channel dust.Channel
	um      float64
}

// From above: particles larger than the size. Up to: particles from 0.3 µm to the
// size. Differences of neighbours are bins; the counts themselves are cumulative.
var (
	largerThan = []edge{{dust.N03, 0.3}, {dust.N05, 0.5}, {dust.N10, 1}, {dust.N25, 2.5}, {dust.N50, 5}, {dust.N100, 10}}
	upTo       = []edge{{dust.NPM05, 0.5}, {dust.NPM1, 1}, {dust.NPM25, 2.5}, {dust.NPM4, 4}, {dust.NPM10, 10}}
)

// Channels are what an efficiency can be worked out from.
func Channels() []dust.Channel {
	out := []dust.Channel{dust.PM1, dust.PM25, dust.PM4, dust.PM10}
	for _, e := range slices.Concat(largerThan, upTo) {
		out = append(out, e.channel)
	}
	return out
}

// quantity is one row to be: what plus counts and minus does not.
type quantity struct {
	plus, minus dust.Channel
	differs     bool // minus is in use
	bin         Bin
	label       string
	mass        bool
}

// quantities lists the rows that the channels present on both sides give.
func quantities(present func(dust.Channel) bool) (out []quantity) {
	for _, c := range []dust.Channel{dust.PM1, dust.PM25, dust.PM4, dust.PM10} {
		if present(c) {
			out = append(out, quantity{plus: c, label: c.Label() + " mass", mass: true})
		}
	}
	have := func(edges []edge) []edge {
		return slices.DeleteFunc(slices.Clone(edges), func(e edge) bool { return !present(e.channel) })
	}
	if above := have(largerThan); len(above) > 0 {
		for i, e := range above[:len(above)-1] {
			b := Bin{e.um, above[i+1].um}
			out = append(out, quantity{plus: e.channel, minus: above[i+1].channel, differs: true, bin: b, label: b.label()})
		}
		out = append(out, quantity{plus: above[0].channel, label: "all it counts, " + above[0].channel.Label()})
	}
	if below := have(upTo); len(below) > 0 {
		first := Bin{smallest, below[0].um}
		out = append(out, quantity{plus: below[0].channel, bin: first, label: first.label()})
		for i, e := range below[1:] {
			b := Bin{below[i].um, e.um}
			out = append(out, quantity{plus: e.channel, minus: below[i].channel, differs: true, bin: b, label: b.label()})
		}
		last := below[len(below)-1].channel
		out = append(out, quantity{plus: last, label: "all it counts, " + last.Label()})
	}
	return out
}

// sized reports whether the row is a size bin.
func (q quantity) sized() bool { return q.bin.High > 0 }

// Reasons why a sensor's row is no efficiency by size. Kuula et al. 2020, Atmos.
// Meas. Tech. 13:2413, tested low-cost sensors with particles of one size: the
// channels of the PMS5003 all answered below about 1 µm, those of the SPS30 below
// about 1.3 µm; neither saw 2.5 to 10 µm.
const (
	plantowerBins = "the sensor works its size bins out from one scattering signal (Atmos. Meas. Tech. 13:2413, 2020)"
	sps30Bins     = "the sensor sees next to nothing of this size and works the bin out from finer particles (Atmos. Meas. Tech. 13:2413, 2020; its data sheet says so of PM4 and PM10)"
	coarseMass    = "the sensor works this mass out from finer particles"
	unknownBins   = "the bins are taken as the instrument gives them; whether they are measured apart is not known"
)

// judge says why a row of a sensor is no efficiency ("" if it is one), and a note.
func (q quantity) judge(model string) (why, note string) {
	model = strings.ToLower(model)
	family := func(prefix string) bool { return strings.HasPrefix(model, prefix) }
	own := model == "" || family("senml")
	switch {
	case q.mass && (q.plus == dust.PM4 || q.plus == dust.PM10) && !own:
		return coarseMass, ""
	case !q.sized():
		return "", ""
	case family("pms"):
		return plantowerBins, ""
	case family("sps30") && q.bin.High > 1:
		return sps30Bins, ""
	case own:
		return "", unknownBins
	}
	return "", ""
}
