package compare

import (
	"math"
	"testing"
	"time"
	_ "time/tzdata"

	"dustlog/internal/dust"

	"github.com/stretchr/testify/require"
)

func order(setups string) []placed {
	var out []placed
	for i, c := range setups {
		s := before
		if c == 'B' {
			s = after
		}
		at := monday.AddDate(0, 0, i)
		out = append(out, placed{index: i, side: s, day: at.Format(time.DateOnly), start: at})
	}
	return out
}

func TestDesignGrade(t *testing.T) {
	for setups, want := range map[string]string{
		"": "D", "A": "D", "AAAB": "D", "BA": "D",
		"AABB": "C", "AAAAABBBBB": "C", "BBBAAA": "C", "AAAAABBBBBA": "C",
		"ABBA": "B", "ABAB": "B", "ABBAABBA": "B", "AABBAABB": "B",
	} {
		got, why := designGrade(order(setups))
		require.Equal(t, want, got, setups)
		require.NotEmpty(t, why)
	}
}

func TestDesignSaysWhenOneSetupAlwaysCameFirst(t *testing.T) {
	var o []placed
	for d := range 3 {
		for k := range 2 {
			at := monday.AddDate(0, 0, d).Add(time.Duration(k) * time.Hour)
			o = append(o, placed{side: side(k), day: at.Format(time.DateOnly), start: at})
		}
	}
	grade, why := designGrade(o)
	require.Equal(t, "B", grade)
	require.Contains(t, why.String(), "the old setup came first every day")
}

func TestTrendWithinSetups(t *testing.T) {
	// Each setup falls by 5 % a day, and the change itself does nothing to that.
	s := newShop(t)
	s.blocks([]float64{1000, 950, 902.5, 857.375}, []float64{400, 380, 361, 342.95})
	res := s.compare()
	require.InDelta(t, -5, *res.TrendPercentPerDay, 1e-9)
	require.Equal(t, "C", res.Design)
	require.InDelta(t, -5, *res.TrendLow, 1e-6)
	require.InDelta(t, -5, *res.TrendHigh, 1e-6)
	requireWarning(t, res, "change by −5.0 % a day (interval −5.0 to −5.0)")
}

func TestSpellsAgreeWithTheDiary(t *testing.T) {
	at := func(h int) time.Time { return monday.Add(time.Duration(h) * time.Hour) }
	for name, periods := range map[string][]dust.SetupPeriod{
		"in turn":        {{Setup: "a", From: at(0), To: at(2)}, {Setup: "b", From: at(2)}},
		"open":           {{Setup: "a", From: at(0)}, {Setup: "b", From: at(3)}},
		"nested":         {{Setup: "a", From: at(0), To: at(8)}, {Setup: "b", From: at(2), To: at(4)}},
		"gap":            {{Setup: "a", From: at(0), To: at(2)}, {Setup: "a", From: at(5), To: at(6)}},
		"declared again": {{Setup: "a", From: at(0), To: at(2)}, {Setup: "a", From: at(2), To: at(6)}},
		"out of order":   {{Setup: "b", From: at(4)}, {Setup: "a", From: at(1)}},
		"none":           nil,
	} {
		t.Run(name, func(t *testing.T) {
			cut := spells(periods)
			for h := -1; h < 12; h++ {
				got := ""
				for _, s := range cut {
					if s.contains(at(h), at(h).Add(time.Minute)) {
						got = s.setup
					}
				}
				require.Equal(t, dust.SetupAt(sortedPeriods(periods), at(h)), got, "hour %d", h)
			}
		})
	}
}

func TestWordsForRatios(t *testing.T) {
	for ratio, want := range map[float64]string{0.4: "60 % lower", 1.2: "20 % higher", 2.5: "2.5 times as high", 1.001: "about the same"} {
		require.Equal(t, want, change(ratio).String())
	}
	require.Equal(t, "31 to 77 % lower", interval(0.23, 0.69).String())
	require.Equal(t, "0.1 to 20 % lower", interval(0.80, 0.999).String())
	require.Equal(t, "5 to 90 % higher", interval(1.05, 1.9).String())
	require.Equal(t, "from 50 % lower to 30 % higher", interval(0.5, 1.3).String())
	require.Equal(t, "from 0 % lower to 30 % higher", interval(1, 1.3).String())
	require.Equal(t, "30", string(percent(30)))
	require.Equal(t, "2.5", string(percent(2.5)))
}

func TestNoDiaryDaysFollowTheClockChange(t *testing.T) {
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	// 31 March 2024 has 23 hours there: its midnights are 23:00 and 22:00 UTC.
	require.Equal(t, time.Date(2024, 3, 31, 22, 0, 0, 0, time.UTC),
		nextMidnight(time.Date(2024, 3, 30, 23, 0, 0, 0, time.UTC), zone).UTC())
}

// Slope and limits against the textbook line through one block of points: with a
// single setup the common slope is ordinary regression. R: confint(lm(y ~ x))
// needs n − 2 there, so the case uses both setups with the same pattern, for
// which the slope is the same and rss and sxx double.
func TestTrendInterval(t *testing.T) {
	s := newShop(t)
	levels := []float64{100, 120, 90, 130}
	s.blocks(levels, levels)
	res := s.compare()
	slope, se, ok := line([]float64{0, 1, 2, 3}, mustLogs(t, levels...))
	require.True(t, ok)
	se *= math.Sqrt(2.0 / 5) // rss/2/sxx becomes 2·rss/5/(2·sxx)
	q := tQuantile(0.975, 5)
	require.InEpsilon(t, 100*math.Expm1(slope), *res.TrendPercentPerDay, 1e-9)
	require.InEpsilon(t, 100*math.Expm1(slope-q*se), *res.TrendLow, 1e-9)
	require.InEpsilon(t, 100*math.Expm1(slope+q*se), *res.TrendHigh, 1e-9)
}
