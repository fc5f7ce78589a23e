package exposure

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func TestAerodynamicDiameter(t *testing.T) {
	// Worked from the formula: 5 µm, ρ 1.5, χ 1.3 → 5.37; 10 µm, ρ 0.6, χ 1 → 7.75 µm.
	require.InDelta(t, 5.37, Particles{1.5, 1.3}.Aerodynamic(5), 0.005)
	require.InDelta(t, 7.75, Particles{0.6, 1}.Aerodynamic(10), 0.005)
}

func TestBinMass(t *testing.T) {
	// A narrow bin at 1 µm: 1000 per cm³ at 1.5 g/cm³ are 785 µg/m³ (geometry).
	m, err := Particles{1.5, 1}.Mass(SizeBin{0.999, 1.001, 1000})
	require.NoError(t, err)
	require.InDelta(t, 785.4, m.All, 0.1)

	// The conventions' table of EN 481 (from memory) through a narrow bin of unit
	// density: at 4 µm half is respirable, at 10 µm half is thoracic.
	for _, c := range []struct{ d, inhalable, thoracic, respirable float64 }{
		{1, 0.971, 0.971, 0.971}, {4, 0.893, 0.890, 0.500}, {10, 0.774, 0.500, 0.013},
	} {
		m, err := Particles{1, 1}.Mass(SizeBin{c.d * 0.9999, c.d * 1.0001, 10})
		require.NoError(t, err)
		require.InDelta(t, c.inhalable, m.Inhalable/m.All, 0.0015, c.d)
		require.InDelta(t, c.thoracic, m.Thoracic/m.All, 0.0015, c.d)
		require.InDelta(t, c.respirable, m.Respirable/m.All, 0.0015, c.d)
	}

	// A wide bin: ⟨d³⟩ over ln d is (b³ − a³)/(3 ln(b/a)).
	m, err = Particles{1, 1}.Mass(SizeBin{2.5, 10, 1})
	require.NoError(t, err)
	require.InEpsilon(t, math.Pi/6*(1000-15.625)/(3*math.Log(4)), m.All, 1e-4)
	require.Less(t, m.Respirable, m.Thoracic)
	require.Less(t, m.Thoracic, m.Inhalable)
	require.Less(t, m.Inhalable, m.All)

	for _, b := range []SizeBin{{0, 1, 1}, {1, 1, 1}, {2, 1, 1}, {1, 200, 1}, {1, 2, -1}, {1, 2, math.NaN()}, {math.NaN(), 2, 1}} {
		_, err := Particles{1, 1}.Mass(b)
		require.ErrorContains(t, err, "size bin")
	}
	for _, p := range []Particles{{0, 1}, {1, 0.5}, {math.NaN(), 1}, {1, 100}} {
		_, err := p.Mass(SizeBin{1, 2, 1})
		require.Error(t, err)
	}
}

// Halves of a bin with half its number each weigh what the bin weighs, and twice
// the number weighs twice as much.
func TestBinMassLaws(t *testing.T) {
	p := Particles{0.8, 1.2}
	whole, err := p.Mass(SizeBin{0.5, 2, 100})
	require.NoError(t, err)
	low, err := p.Mass(SizeBin{0.5, 1, 50})
	require.NoError(t, err)
	high, err := p.Mass(SizeBin{1, 2, 50})
	require.NoError(t, err)
	require.InEpsilon(t, whole.All, low.All+high.All, 1e-4)
	require.InEpsilon(t, whole.Respirable, low.Respirable+high.Respirable, 1e-4)
	twice, err := p.Mass(SizeBin{0.5, 2, 200})
	require.NoError(t, err)
	require.InEpsilon(t, 2*whole.Thoracic, twice.Thoracic, 1e-12)
}

func TestStandsFor(t *testing.T) {
	for _, c := range []struct {
		channel  dust.Channel
		fraction Fraction
		errs     string
	}{
		{dust.PM25, InhalableFraction, "very low"}, {dust.PM10, TotalFraction, "very low"}, {dust.PM25, RespirableFraction, "low"},
		{dust.PM4, RespirableFraction, "either way"}, {dust.PM10, ThoracicFraction, "either way"}, {dust.PM1, ThoracicFraction, "low"},
	} {
		s, err := StandsFor(c.channel, c.fraction)
		require.NoError(t, err)
		require.Equal(t, c.errs, s.Errs)
		require.NotEmpty(t, s.Why)
	}
	_, err := StandsFor(dust.N03, RespirableFraction)
	require.ErrorContains(t, err, "no mass")
	// "At most a fifth too high": of dust just below 2.5 µm the convention counts
	// more than 1/1.2.
	require.Greater(t, Respirable(2.5), 1/1.2)
}
