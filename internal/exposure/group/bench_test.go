package group

import "testing"

func BenchmarkSummarise(b *testing.B) {
	values := valuesOf(welding...)
	for b.Loop() {
		Summarise(values, 5, Options{})
	}
}

func BenchmarkNoncentralT(b *testing.B) {
	for b.Loop() {
		NoncentralT{DF: 9, Delta: 5.2}.CDF(7)
	}
}
