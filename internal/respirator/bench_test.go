package respirator

import (
	"testing"
	"time"

	"dustlog/internal/dust"
)

// BenchmarkStep is one second of watching one sensor: a reading, a look at the diary
// and an answer.
func BenchmarkStep(b *testing.B) {
	m := NewMachine(Rules{}, Watch([]dust.Sensor{bench}, false), Instant{Wall: monday})
	m.Learn(knownFacts(), nil)
	var v dust.Values
	v.Set(dust.PM25, 12)
	elapsed := time.Duration(0)
	b.ReportAllocs()
	for b.Loop() {
		elapsed += time.Second
		at := Instant{monday.Add(elapsed), elapsed}
		m.Reading(at, dust.Reading{Time: at.Wall, Sensor: "bench", Values: v})
		m.Diary(at, nil, "hood", nil)
		m.Step(at)
	}
}
