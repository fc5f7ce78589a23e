package compare

import (
	"encoding/binary"
	"math/rand/v2"
	"slices"
)

// DrawOrder draws the order of a study: blocks, each of which holds every setup
// once, in an order drawn at random. Slow drift then falls on all setups alike,
// and nobody chose which of them got the good days. The same seed, setups and
// their order give the same blocks, and more blocks continue fewer.
func DrawOrder(seed uint64, setups []string, blocks int) [][]string {
	var key [32]byte
	binary.LittleEndian.PutUint64(key[:], seed)
	rng := rand.New(rand.NewChaCha8(key))
	out := make([][]string, blocks)
	for i := range out {
		block := slices.Clone(setups)
		rng.Shuffle(len(block), func(a, b int) { block[a], block[b] = block[b], block[a] })
		out[i] = block
	}
	return out
}

// asDrawn reports whether the sessions came in the order that was drawn
// beforehand. Sessions that follow each other under one setup on one day are one.
func (st *study) asDrawn() bool {
	if st.in.PlanSeed == 0 {
		return false
	}
	var came []string
	for i, x := range st.sessions {
		if i > 0 && x.setup == st.sessions[i-1].setup && x.day == st.sessions[i-1].day {
			continue
		}
		came = append(came, x.setup)
	}
	setups := st.in.PlanSetups
	if len(setups) == 0 {
		setups = []string{st.in.Before, st.in.After}
	}
	var drawn []string
	for _, block := range DrawOrder(st.in.PlanSeed, setups, len(came)) {
		for _, s := range block {
			if s == st.in.Before || s == st.in.After {
				drawn = append(drawn, s)
			}
		}
	}
	return len(came) > 0 && len(came) <= len(drawn) && slices.Equal(came, drawn[:len(came)])
}
