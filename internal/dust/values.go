package dust

import (
	"iter"
	"math/bits"
)

// Values holds what one reading says, channel by channel. The zero Values is
// empty; a channel that was not set is missing.
type Values struct {
	present uint32
	v       [ChannelCount]float64
}

// Set stores x for channel c. NaN and infinity are no values: they leave the
// channel missing.
func (v *Values) Set(c Channel, x float64) {
	if x-x != 0 { // only these two; cheaper than asking for each
		v.Unset(c)
		return
	}
	v.present |= 1 << c
	v.v[c] = x
}

// Reset makes every channel missing.
func (v *Values) Reset() {
	if v.present != 0 {
		*v = Values{}
	}
}

// Unset makes channel c missing.
func (v *Values) Unset(c Channel) {
	v.present &^= 1 << c
	v.v[c] = 0
}

// Get returns the value of channel c, and whether there is one.
func (v *Values) Get(c Channel) (float64, bool) { return v.v[c], v.Has(c) }

// Has reports whether channel c has a value.
func (v *Values) Has(c Channel) bool { return v.present&(1<<c) != 0 }

// Len is the number of channels that have a value.
func (v *Values) Len() int { return bits.OnesCount32(v.present) }

// All yields the channels that have a value, in the order of their constants.
func (v *Values) All() iter.Seq2[Channel, float64] {
	return func(yield func(Channel, float64) bool) {
		for c := range ChannelCount {
			if v.Has(c) && !yield(c, v.v[c]) {
				return
			}
		}
	}
}
