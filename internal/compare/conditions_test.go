package compare

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

func confounders(res Result) (what []string) {
	for _, c := range res.Confounders {
		what = append(what, c.What)
	}
	return what
}

func TestAlikeConditionsLowerNothing(t *testing.T) {
	s := newShop(t)
	s.derive(dust.Humidity, func(float64) float64 { return 50 })
	s.blocks(welchOld, welchNew)
	res := s.compare()
	require.Empty(t, res.Confounders)
	require.Equal(t, res.DesignByOrder, res.Design)
	require.InDelta(t, 50, *res.Conditions[0].Humidity, 1e-9)
	require.Equal(t, map[string]float64{"sanding": 20}, res.Conditions[1].TaskMinutes)
	require.InDelta(t, 4, *res.Conditions[1].MinutesPerSession, 1e-9)
}

// Each thing that was not alike lowers the grade by one step, from B on.
func TestEachConfounderLowersTheGrade(t *testing.T) {
	abba := func(change func(s *shop)) Result {
		s := newShop(t)
		s.derive(dust.Humidity, func(x float64) float64 {
			if x < 300 {
				return 70
			}
			return 50
		})
		s.pairedDays([]float64{410, 520, 405, 640}, []float64{190, 260, 150, 295})
		change(s)
		return s.compare()
	}
	base := abba(func(*shop) {})
	require.Equal(t, "B", base.DesignByOrder)
	require.Equal(t, []string{"humidity"}, confounders(base))
	require.Equal(t, "C", base.Design)
	require.Contains(t, base.Caution.String(), "relative humidity 50 % before, 70 % after")

	two := abba(func(s *shop) {
		for i := range s.in.Tasks {
			s.in.Tasks[i].Material = "oak"
			if dust.SetupAt(s.in.Setups, s.in.Tasks[i].Start) == "new hood" {
				s.in.Tasks[i].Material = "pine"
			}
		}
	})
	require.Equal(t, []string{"material", "humidity"}, confounders(two))
	require.Equal(t, "D", two.Design)
	require.Contains(t, two.DesignWhy.String(), "B by the order of sessions, lower since these were not alike: material, humidity")

	doors := abba(func(s *shop) {
		for d := range 4 {
			day := monday.AddDate(0, 0, d)
			for _, at := range []time.Time{day.Add(time.Minute), day.Add(3*time.Hour + time.Minute)} {
				if dust.SetupAt(s.in.Setups, at) == "new hood" {
					s.in.Notes = append(s.in.Notes, Note{At: at, Text: "Door to the yard open"})
				}
			}
		}
	})
	require.Equal(t, []string{"humidity", "doors"}, confounders(doors))
	require.Len(t, doors.Conditions[1].Notes, 4)
	require.Empty(t, doors.Conditions[0].Notes)
}

func TestWorkThatWasNotAlike(t *testing.T) {
	s := newShop(t)
	s.setup("old hood", monday)
	s.setup("new hood", monday.AddDate(0, 0, 3))
	for d := range 6 {
		day := monday.AddDate(0, 0, d)
		s.run("sanding", day, runLength, flat(100+float64(7*d)))
		if d < 3 { // only under the old setup
			s.run("turning", day.Add(time.Hour), runLength, flat(50))
		} else {
			s.run("sanding", day.Add(time.Hour), 2*runLength, flat(90))
		}
	}
	res := s.compare()
	require.Equal(t, []string{"tasks", "minutes"}, confounders(res))
	require.Contains(t, res.Confounders[0].Why.String(), "50 % of the work under “old hood”")
	require.Contains(t, res.Confounders[1].Why.String(), "4 min of work a session before, 12 after")
}
