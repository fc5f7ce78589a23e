package compare

import (
	"strings"
	"testing"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"

	"github.com/stretchr/testify/require"
)

func TestSignedNumbers(t *testing.T) {
	for x, want := range map[float64]string{44.83: "+44.8", -5: "−5.0", -0.04: "0.0", 0.04: "0.0", 0: "0.0", -0.06: "−0.1"} {
		require.Equal(t, want, string(signed(x)))
	}
}

func TestManyAndOne(t *testing.T) {
	require.Equal(t, "1 run", runCount(1).String())
	require.Equal(t, "0 runs", runCount(0).String())
	require.Equal(t, "2 sessions", sessionCount(2).String())
	require.Equal(t, "more than 1000 times as high", change(1e200).String())
	require.Equal(t, "from 50 % lower to more than 10000 % higher", interval(0.5, 1e200).String())

	s := newShop(t)
	s.blocks(welchOld, welchNew)
	var res Result
	one := 1
	res.SessionsNeeded, res.MoreSessions = &one, &one
	require.Contains(t, newStudy(s.in.withDefaults()).moreSessions(res, analysis{}).String(), "About 1 more session under each setup would")
	require.Contains(t, newStudy(s.in.withDefaults()).moreSessions(res, analysis{estimate: estimate{paired: true}}).String(), "About 1 more day with both setups would")
}

// The smallest change is often a default, so no text says that the reader chose it.
func TestVerdictsNameTheSmallestChange(t *testing.T) {
	for _, c := range []struct {
		old, new []float64
		want     Verdict
		text     string
	}{
		{welchOld, welchNew, ReducedEnough, "reaches the smallest reduction set to matter (30 %)."},
		{[]float64{100, 101, 102, 103}, []float64{90, 91, 92, 93}, ReducedLess, "stays below the smallest reduction set to matter (30 %)."},
		{[]float64{100, 130, 110, 120}, []float64{70, 90, 80, 60}, ReducedUncertain, "whether it reaches the smallest reduction set to matter (30 %)."},
		{[]float64{100, 101, 103, 102}, []float64{101, 102, 100, 103}, NoneThatMatters, "rules out the smallest reduction set to matter (30 %)."},
	} {
		s := newShop(t)
		s.blocks(c.old, c.new)
		res := s.compare()
		require.Equal(t, c.want, res.Verdict)
		require.Contains(t, res.Why.String(), c.text)
	}
}

// Texts for people: curly quotes, true minus signs, no minus before a zero.
func TestTypography(t *testing.T) {
	s := newShop(t)
	s.in.Series[0].Sensor.Position = dust.Exhaust
	s.derive(dust.PM10, func(x float64) float64 { return 3 * x })
	s.flags = dust.Saturated
	s.blocks([]float64{100, 100, 101, 99.9}, []float64{40, 39.9, 40.1, 40})
	s.in.Tasks = append(s.in.Tasks, dust.Task{Name: "sanding", Start: monday.Add(time.Minute), Stop: monday.Add(2 * time.Minute)})
	for _, text := range texts(s.compare()) {
		require.NotContains(t, text, `"`)
		for _, word := range strings.Fields(text) {
			require.NotRegexp(t, `^\(?-[0-9]`, word)
			require.NotRegexp(t, `^\(?−0(\.0)?$`, word)
		}
	}
	require.Contains(t, s.compare().Why.String(), "under “new hood” than under “old hood”")
}

// The whole sentences of a comparison, with decimal commas. The numbers are those of
// case welch1, a reference value.
func TestAComparisonInGerman(t *testing.T) {
	say, err := words.In("de")
	require.NoError(t, err)
	s := newShop(t)
	s.blocks(welchOld, welchNew)
	res := s.compare()
	require.Equal(t, "PM2,5 war unter „new hood“ um 60 % niedriger als unter „old hood“, Grundlage: 5 Arbeitsabschnitte vorher und 5 nachher (95-%-Intervall: um 31 bis 77 % niedriger). "+
		"Auch das vorsichtige Ende des Intervalls erreicht die kleinste Minderung, die als wesentlich festgelegt ist (30 %).", say.Text(res.Why))
	require.Equal(t, "genug gemindert", say.Text(res.Verdict.Text()))
	require.Contains(t, say.Text(res.Caution), "Ein Block vorher, einer nachher")
	require.Contains(t, say.Text(res.Method), "Intervall nach Welchs t 95 %")
	for _, text := range append(res.Warnings, res.DesignWhy, res.PrimaryWhy, res.Method) {
		require.NotRegexp(t, `\b(the|of|and|with|sessions)\b`, say.Text(text))
	}
}
