package simulate

import (
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/stat/distuv"

	"dustlog/internal/compare"
	"dustlog/internal/compare/plan"
	"dustlog/internal/validation"
)

// The long version takes some minutes: make validate.
var full = flag.Bool("full", false, "simulate as many studies as the validation page shows, and rewrite its rows")

const seed = 20_260

// design is one of the null designs, with what an independent simulation of the
// same model (2000 studies, another language and code, intervals without the
// permutation guard) gave: percent that say reduced, that say increased, and whose
// interval holds the truth.
type null struct {
	design                       Design
	model                        Model
	note                         string
	reduced, increased, coverage float64
	named                        bool // one of the four designs with a bound of its own
}

var (
	tails   = Model{Day: Usual.Day, Session: Usual.Session, Run: Usual.Run, Tails4: true}
	noisier = Model{Day: Usual.Day, Session: Usual.Session, Run: Usual.Run, NewNoisier: 1.6}
)

var nulls = []null{
	{Design{"before/after, 3 v 3", 3, Blocks}, Usual, "", 1.8, 2.1, 96.1, true},
	{Design{"before/after, 5 v 5", 5, Blocks}, Usual, "", 2.1, 2.5, 95.4, true},
	{Design{"before/after, 10 v 10", 10, Blocks}, Usual, "", 2.6, 3.2, 94.2, true},
	{Design{"within-day, 5 days", 5, WithinDay}, Usual, "", 2.6, 3.4, 94.0, true},
	{Design{"before/after, 5 v 5", 5, Blocks}, tails, ", t4 tails", 1.8, 2.4, 95.9, false},
	{Design{"before/after, 5 v 5", 5, Blocks}, noisier, ", new setup 1.6 times noisier", 2.4, 2.2, 95.4, false},
	{Design{"within-day, 3 days", 3, WithinDay}, Usual, "", 2.1, 2.7, 95.2, false},
	{Design{"within-day, 10 days", 10, WithinDay}, Usual, "", 2.1, 2.9, 95.0, false},
}

// rows collects what the page shows.
var rows []validation.Simulation

func row(what, setting, intended string, n, of int) {
	found, se := Share(n, of)
	rows = append(rows, validation.Simulation{What: what, Setting: setting, Studies: of, Seed: seed, Intended: intended, Found: found, SE: se})
}

// near requires that a share agrees with a published one of so many studies,
// within four standard errors of their difference.
func near(t *testing.T, what string, percent float64, publishedStudies, n, of int) {
	t.Helper()
	p := percent / 100
	pooled := (p*float64(publishedStudies) + float64(n)) / float64(publishedStudies+of)
	se := math.Sqrt(pooled * (1 - pooled) * (1/float64(publishedStudies) + 1/float64(of)))
	require.InDelta(t, p, float64(n)/float64(of), 4*se+0.0005, what)
}

// most is the largest number of n that a share of p gives but once in a thousand.
func most(n int, p float64) int {
	k := 0
	for (distuv.Binomial{N: float64(n), P: p}).CDF(float64(k)) < 0.999 {
		k++
	}
	return k
}

// Without a change a reduction may be claimed in 2.5 % of studies, and the
// interval must hold 1 in 95 %.
func TestNoChangeIsRarelyClaimed(t *testing.T) {
	studies := 250
	if *full {
		studies = 4000
	}
	if testing.Short() {
		studies = 60
	}
	began, asked := time.Now(), 0
	for _, c := range nulls {
		if !*full && !c.named {
			continue
		}
		setting := "no change, " + c.design.Name + c.note
		t.Run(setting, func(t *testing.T) {
			got, err := Ask(c.model, c.design, 1, studies, seed)
			require.NoError(t, err)
			asked += got.Studies
			t.Logf("%v", got)
			require.LessOrEqual(t, got.SaysReduced(), got.Reduced, "the guard only takes words back")
			require.LessOrEqual(t, got.SaysReduced(), most(studies, 0.025))
			require.GreaterOrEqual(t, got.Covered, got.Judged-most(got.Judged, 0.05))
			near(t, "reduced", c.reduced, 2000, got.Reduced, studies)
			near(t, "increased", c.increased, 2000, got.Increased, studies)
			near(t, "coverage", c.coverage, 2000, got.Covered, got.Judged)
			if *full && c.named {
				require.LessOrEqual(t, got.SaysReduced(), studies*3/100)
				share, _ := Share(got.Covered, got.Judged)
				require.InDelta(t, 0.95, share, 0.02)
			}
			row("says reduced", setting, "at most 2.5 %", got.SaysReduced(), studies)
			row("interval alone says reduced", setting, fmt.Sprintf("2.5 %%; independent simulation %.1f %%", c.reduced), got.Reduced, studies)
			row("interval alone says increased", setting, fmt.Sprintf("2.5 %%; independent simulation %.1f %%", c.increased), got.Increased, studies)
			row("interval holds the truth", setting, fmt.Sprintf("95 %%; independent simulation %.1f %%", c.coverage), got.Covered, got.Judged)
			row("permutation p at most 0.05", setting, "at most 5 %", got.SmallP, got.Judged)
		})
	}
	perMinute := float64(asked) / time.Since(began).Minutes()
	t.Logf("%.0f studies a minute", perMinute)
}

// power is one design with the percentages that say "reduced" of any size and
// "reduced enough" (30 %) at true reductions of 20, 30, 50 and 70 %, by the
// interval alone, of the same independent simulation (1000 studies a cell).
type power struct {
	design  Design
	reduced [4]float64
	enough  [4]float64
}

var reductions = [4]float64{20, 30, 50, 70}

var powers = []power{
	{Design{"before/after, 3 v 3", 3, Blocks}, [4]float64{4, 8, 22, 56}, [4]float64{0, 1, 8, 33}},
	{Design{"before/after, 5 v 5", 5, Blocks}, [4]float64{9, 18, 56, 95}, [4]float64{1, 1, 16, 73}},
	{Design{"before/after, 8 v 8", 8, Blocks}, [4]float64{14, 30, 82, 100}, [4]float64{0, 3, 27, 94}},
	{Design{"before/after, 10 v 10", 10, Blocks}, [4]float64{18, 35, 90, 100}, [4]float64{1, 3, 36, 98}},
	{Design{"within-day, 3 days", 3, WithinDay}, [4]float64{8, 12, 32, 62}, [4]float64{1, 2, 12, 39}},
	{Design{"within-day, 5 days", 5, WithinDay}, [4]float64{14, 24, 71, 98}, [4]float64{1, 2, 25, 85}},
	{Design{"within-day, 8 days", 8, WithinDay}, [4]float64{21, 47, 94, 100}, [4]float64{1, 2, 42, 99}},
	{Design{"within-day, 10 days", 10, WithinDay}, [4]float64{27, 57, 98, 100}, [4]float64{0, 2, 56, 100}},
}

func TestRealChangesAreFoundAsOftenAsTheyShould(t *testing.T) {
	studies, cells := 120, map[string]bool{"before/after, 5 v 5": true, "within-day, 5 days": true}
	if *full {
		studies = 500
	}
	if testing.Short() {
		studies = 40
	}
	for _, c := range powers {
		for i, reduction := range reductions {
			if !*full && !(cells[c.design.Name] && i > 1) {
				continue
			}
			setting := fmt.Sprintf("true reduction of %.0f %%, %s", reduction, c.design.Name)
			t.Run(setting, func(t *testing.T) {
				got, err := Ask(Usual, c.design, 1-reduction/100, studies, seed+uint64(i)+1)
				require.NoError(t, err)
				t.Logf("%v", got)
				near(t, "reduced", c.reduced[i], 1000, got.Reduced, studies)
				near(t, "enough", c.enough[i], 1000, got.Enough, studies)
				require.LessOrEqual(t, got.Increased, most(studies, 0.025))
				row("says reduced", setting, "as the interval alone, less what the guard takes back", got.SaysReduced(), studies)
				row("interval alone says reduced", setting, fmt.Sprintf("independent simulation %.0f %%", c.reduced[i]), got.Reduced, studies)
				row("interval alone says reduced enough", setting, fmt.Sprintf("independent simulation %.0f %%", c.enough[i]), got.Enough, studies)
			})
		}
	}
}

// A sensor that loses 5 % a day, and no change: before/after takes it for a
// reduction, taking turns does not. 10.2, 2.8 and 2.6 % in the independent
// simulation.
func TestDriftMisleadsBlocksOnly(t *testing.T) {
	studies := 200
	if *full {
		studies = 2000
	}
	if testing.Short() {
		studies = 40
	}
	drifting := Usual
	drifting.DriftPerDay = math.Log1p(-compare.DriftPerDayPercent / 100.0)
	for _, c := range []struct {
		design           Design
		reduced, printed float64
	}{
		{Design{"before/after, 5 v 5", 5, Blocks}, 10.2, compare.DriftInBlocksPercent},
		{Design{"alternate days, 5 v 5", 5, Alternate}, 2.8, compare.DriftInTurnsPercent},
		{Design{"within-day, 5 days", 5, WithinDay}, 2.6, compare.DriftInTurnsPercent},
	} {
		setting := "no change, sensor drifts by −5 % a day, " + c.design.Name
		got, err := Ask(drifting, c.design, 1, studies, seed+10)
		require.NoError(t, err)
		t.Logf("%s: %v", setting, got)
		near(t, setting, c.reduced, 2000, got.Reduced, studies)
		near(t, "as the program prints it: "+setting, c.printed, 2000, got.SaysReduced(), studies)
		row("interval alone says reduced", setting, fmt.Sprintf("independent simulation %.1f %%", c.reduced), got.Reduced, studies)
		row("says reduced", setting, "as the interval alone, less what the guard takes back", got.SaysReduced(), studies)
	}
}

// Asking after every day from the third to the tenth: 17 % claims of a change in
// the independent simulation, and 5.0 % with one interim look at p < 0.005.
func TestLookingDailyClaimsTooMuch(t *testing.T) {
	studies := 60
	if *full {
		studies = 2000
	}
	if testing.Short() {
		studies = 15
	}
	l, err := AskDaily(Usual, Design{"within-day, 10 days", 10, WithinDay}, 3, studies, seed+20)
	require.NoError(t, err)
	t.Logf("%+v", l)
	near(t, "daily", plan.LooksPercent, 2000, l.Any, studies)
	near(t, "once", plan.OneLookPercent, 2000, l.Once, studies)
	near(t, "interim", 5, 2000, l.Interim, studies)
	row("claims a change at one look at least", "no change, within-day, looked at daily from day 3 to 10", "independent simulation 17 %", l.Any, studies)
	row("claims a change at the last look", "no change, within-day, 10 days", "5 %", l.Once, studies)
	row("claims a change at an interim look (p < 0.005) or the last", "no change, within-day, 10 days", "independent simulation 5.0 %", l.Interim, studies)
}

// The long version replaces the rows that it made and keeps the others, so that a
// part can be repeated alone.
func TestMain(m *testing.M) {
	flag.Parse()
	code := m.Run()
	if *full && code == 0 {
		if err := save(); err != nil {
			fmt.Println(err)
			code = 1
		}
	}
	os.Exit(code)
}

func save() error {
	kept, err := validation.LoadSimulations(validation.SimulationFile)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, r := range rows {
		same := func(k validation.Simulation) bool { return k.What == r.What && k.Setting == r.Setting }
		if i := slices.IndexFunc(kept, same); i >= 0 {
			kept[i] = r
		} else {
			kept = append(kept, r)
		}
	}
	return validation.SaveSimulations(validation.SimulationFile, kept)
}
