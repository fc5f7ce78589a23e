package respirator

import (
	"dustlog/internal/clearance"
	"dustlog/internal/exposure"
	"dustlog/internal/words"
)

// Facts are what past days taught. The zero Facts teach nothing.
type Facts struct {
	Masks     []exposure.MaskResult
	Clearing  []Clearing
	LimitUgM3 float64           // the lowest of the chosen limits, µg/m³; 0: none
	Materials map[string]string // a user's names for materials, see exposure.WoodOf
}

// Clearing is how dust leaves the air where one sensor sits, under one setup.
type Clearing struct {
	Sensor string
	Setup  string
	Runs   int            // decays it rests on
	Rate   clearance.Rate // levels in µg/m³
}

// What counts as back at the level without work: at most twice that level, or 5 µg/m³
// above it where it is lower (our choice, no published source; decays are only
// fitted from three times the background on).
const leastRise = 5.0 // µg/m³

// Back is the level, µg/m³, at or below which fine dust counts as back at the level
// without work.
func (c Clearing) Back() float64 {
	level := max(c.Rate.Background, 0)
	return level + max(level, leastRise)
}

// until is how long the air takes from a level now (µg/m³) until it is back: an
// upper bound in minutes. ok is false where none can be told; why says why.
func (c Clearing) until(level float64) (minutes float64, why words.Text, ok bool) {
	back := c.Back()
	switch {
	case !(c.Rate.LowPerHour > 0) || !(c.Rate.PerHour > 0):
		return 0, words.Of("how slowly dust may leave the air here is not known from %s: let the sensor run for an hour after work on several days", decays(c.Runs)), false
	case !(c.Rate.BackgroundHigh < back):
		return 0, words.Of("the level without work is not known well enough: it may be %.0f µg/m³", c.Rate.BackgroundHigh), false
	}
	wait := clearance.MinutesUntil(back, level, c.Rate)
	if wait.Upper == nil {
		return 0, wait.Why, false
	}
	return *wait.Upper, words.Text{}, true
}

func decays(n int) words.Text { return words.Plural(n, "%d decay", "%d decays", n) }

// clearing finds what is known of a sensor's place under a setup.
func (f *Facts) clearing(sensor, setup string) *Clearing {
	for i, c := range f.Clearing {
		if c.Sensor == sensor && c.Setup == setup {
			return &f.Clearing[i]
		}
	}
	return nil
}

// mask finds the answer for a task on a material.
func (f *Facts) mask(task, material string) *exposure.MaskResult {
	for i, m := range f.Masks {
		if m.Is(task, material) {
			return &f.Masks[i]
		}
	}
	return nil
}
