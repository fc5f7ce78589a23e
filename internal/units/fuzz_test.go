package units_test

import (
	"errors"
	"math"
	"testing"

	"dustlog/internal/units"
)

// What is accepted is finite, prints, and reads back to what was printed, to the
// digits printed; what is refused says so with ErrUnit.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"1,000 cfm", "6 in", "2 1/2 in", "-4.2 in. w.g.", "250 Pa", "20 m/s", "68 °F", "8.5 A", "110 ft2", "0.075 lb/ft3", "850 m³/h", "1", "m", "1/0 in", "−1 Pa"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		back(t, s, units.ParseFlow, units.Flow.SI)
		back(t, s, units.ParseFlow, units.Flow.US)
		back(t, s, units.ParsePressure, units.Pressure.SI)
		back(t, s, units.ParsePressure, units.Pressure.US)
		back(t, s, units.ParseVelocity, units.Velocity.SI)
		back(t, s, units.ParseVelocity, units.Velocity.US)
		back(t, s, units.ParseLength, units.Length.SI)
		back(t, s, units.ParseLength, units.Length.US)
		back(t, s, units.ParseArea, units.Area.US)
		back(t, s, units.ParseVolume, units.Volume.US)
		back(t, s, units.ParseTemperature, units.Temperature.SI)
		back(t, s, units.ParseTemperature, units.Temperature.US)
		back(t, s, units.ParseCurrent, units.Current.String)
		if list, err := units.ParsePressures(s); err == nil && len(list) == 0 {
			t.Errorf("%q: an empty list", s)
		}
	})
}

func back[T ~float64](t *testing.T, s string, parse func(string) (T, error), print func(T) string) {
	x, err := parse(s)
	if err != nil {
		if !errors.Is(err, units.ErrUnit) {
			t.Errorf("%q: error %v is not marked", s, err)
		}
		return
	}
	size := math.Abs(float64(x))
	if math.IsNaN(size) || math.IsInf(size, 0) {
		t.Fatalf("%q gives %v", s, x)
	}
	if size < 1 || size > 1e12 || float64(x) < -270 && float64(x) > -280 {
		return // rounds to nothing, loses digits, or is rounded below absolute zero
	}
	again, err := parse(print(x))
	if err != nil {
		t.Fatalf("%q prints as %q, which cannot be read: %v", s, print(x), err)
	}
	if math.Abs(float64(again-x)) > 0.02*size+0.6 {
		t.Errorf("%q is %v, prints as %q, reads as %v", s, x, print(x), again)
	}
}
