package cli_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/compare"
	"dustlog/internal/compare/plan"
)

// bench is a store made through the command line: one session a day, one run of
// sanding each, at a chosen level.
type bench struct {
	t             *testing.T
	config, store string
	day           time.Time
	rows          strings.Builder
}

func newBench(t *testing.T) *bench {
	b := &bench{t: t, config: filepath.Join(t.TempDir(), "dustlog.toml"), store: filepath.Join(t.TempDir(), "shop.db"), day: now.AddDate(0, -1, 0)}
	require.NoError(t, os.WriteFile(b.config, []byte("[shop]\nzone = \"UTC\"\n"), 0o600))
	b.rows.WriteString("time,pm2_5_ug_m3\n")
	return b
}

func (b *bench) try(args ...string) (code int, out, errs string) {
	return run(b.t, append(args, "--config", b.config, "--store", b.store)...)
}

func (b *bench) do(args ...string) string {
	b.t.Helper()
	code, out, errs := b.try(args...)
	require.Zero(b.t, code, errs)
	return out
}

// session notes a day's run under a setup and writes its readings.
func (b *bench) session(setup string, level float64) {
	b.t.Helper()
	at := func(d time.Duration) string { return b.day.Add(d).Format(time.RFC3339) }
	b.do("setup", "use", setup, "--at", at(0))
	b.do("task", "add", "sanding", "--from", at(0), "--to", at(4*time.Minute))
	for s := range 240 {
		fmt.Fprintf(&b.rows, "%s,%.1f\n", at(time.Duration(s)*time.Second), level+float64(s%2))
	}
	b.day = b.day.AddDate(0, 0, 1)
}

func (b *bench) imported() *bench {
	b.t.Helper()
	file := filepath.Join(b.t.TempDir(), "readings.csv")
	require.NoError(b.t, os.WriteFile(file, []byte(b.rows.String()), 0o600))
	b.do("import", file, "--sensor", "bench", "--model", "sps30", "--position", "breathing_zone")
	return b
}

func (b *bench) result(args ...string) (r compare.Result) {
	b.t.Helper()
	require.NoError(b.t, json.Unmarshal([]byte(b.do(append([]string{"compare", "--json"}, args...)...)), &r))
	return r
}

// Levels of reference case welch1 and of a third setup.
func threeSetups(t *testing.T) *bench {
	b := newBench(t)
	for _, x := range []float64{412, 655, 301, 518, 730} {
		b.session("drop box", x)
	}
	for _, x := range []float64{205, 160, 330, 241, 118} {
		b.session("cyclone", x)
	}
	for _, x := range []float64{90, 120, 70, 101, 83} {
		b.session("cyclone, new filter", x)
	}
	return b.imported()
}

func TestCompareAllSetups(t *testing.T) {
	b := threeSetups(t)
	r := b.result()
	require.Len(t, r.Setups, 2)
	require.Equal(t, "drop box", r.Setups[0].Before)
	require.InEpsilon(t, 0.398, *r.Setups[0].Ratio, 0.005) // case welch1; the readings wobble by 1 µg/m³
	require.InDelta(t, 0.975, r.Setups[1].StepConfidence, 1e-9)
	require.Less(t, *r.Setups[1].PHolm, 0.01)
	require.Equal(t, compare.ReducedEnough, r.Setups[1].Verdict)

	out := b.do("compare")
	require.Contains(t, out, "2 setups, each against “drop box”")
	require.Contains(t, out, "cyclone, new filter")

	// A name with a comma is quoted, as in CSV. Another order, another reference.
	r = b.result("--setups", `cyclone,"cyclone, new filter"`)
	require.Empty(t, r.Setups)
	require.Equal(t, [2]string{"cyclone", "cyclone, new filter"}, [2]string{r.Before, r.After})
}

func TestCompareOnePair(t *testing.T) {
	b := threeSetups(t)
	r := b.result("--before", "drop box", "--after", "cyclone")
	require.Equal(t, compare.RawBasis, r.Primary)
	require.Nil(t, r.Net)
	require.Contains(t, r.PrimaryWhy.String(), "no background is known")
	wide := b.result("--before", "drop box", "--after", "cyclone", "--drift-percent", "8", "--drift-df", "3")
	require.Less(t, *wide.CILow, *r.CILow)
	require.InEpsilon(t, math.Log(1.08), wide.Uncertainty.Drift, 1e-9)
	out := b.do("compare", "--before", "drop box", "--after", "cyclone", "--level", "300")
	for _, part := range []string{"raw (decides)", "time above 300", "none of it decides", "by other methods, none decides", "what else was so"} {
		require.Contains(t, out, part)
	}
}

func TestCompareRefusesOddCalls(t *testing.T) {
	b := threeSetups(t)
	for name, args := range map[string][]string{
		"needed together":       {"--before", "cyclone"},
		"not both":              {"--before", "a", "--after", "b", "--setups", "a,b"},
		"are both":              {"--before", "a", "--after", "a"},
		"needs two or more":     {"--setups", "cyclone"},
		"--drift-percent":       {"--drift-percent", "-1"},
		"the higher first":      {"--clearance-window", "1000"},
		"give the higher level": {"--clearance-window", "100,1000"},
		"--drift-df":            {"--drift-percent", "5", "--drift-df", "0"},
		"unknown metric":        {"--metric", "dust"},
		`unknown setup "flarp"`: {"--setups", "drop box,flarp"},
		"is named twice":        {"--setups", "cyclone,cyclone"},
		"between 0 and 100":     {"--smallest-change", "100"},
	} {
		code, _, errs := b.try(append([]string{"compare"}, args...)...)
		require.NotZero(t, code, name)
		require.Contains(t, errs, name)
	}
	lonely := newBench(t)
	lonely.session("drop box", 100)
	code, _, errs := lonely.imported().try("compare")
	require.Equal(t, 2, code)
	require.Contains(t, errs, "the diary holds 1 setup(s), a comparison needs two")
}

func TestPlanBeforeAnythingIsRecorded(t *testing.T) {
	b := newBench(t)
	out := b.do("plan", "--setups", "drop box,cyclone", "--seed", "17", "--start", "2026-03-06")
	require.Contains(t, out, "10 sessions under each of 2 setups, 20 working days") // R power.t.test, sd 0.5, 50 %: 9.23
	require.Contains(t, out, "nothing measured yet")
	require.Contains(t, out, "order drawn by seed 17")
	require.Contains(t, out, "[ ]   1  Fri 2026-03-06  ")
	require.Contains(t, out, "17 % of")
	require.Equal(t, out, b.do("plan", "--setups", "drop box,cyclone", "--seed", "17", "--start", "2026-03-06"))
	var p plan.Plan
	require.NoError(t, json.Unmarshal([]byte(b.do("plan", "--setups", "drop box,cyclone", "--json")), &p))
	require.NotZero(t, p.Seed)
	require.Equal(t, 0.5, p.SD)
	for name, args := range map[string][]string{
		"--setups is needed": nil, "a reduction of 0": {"--setups", "a,b", "--reduction", "0"}, "write a day": {"--setups", "a,b", "--start", "soon"},
	} {
		code, _, errs := b.try(append([]string{"plan"}, args...)...)
		require.Equal(t, 2, code)
		require.Contains(t, errs, name)
	}
}

func TestPlanWithWhatWasMeasured(t *testing.T) {
	b := threeSetups(t)
	var p plan.Plan
	require.NoError(t, json.Unmarshal([]byte(b.do("plan", "--setups", "drop box,another", "--json")), &p))
	require.Equal(t, "measured, 5 sessions", p.SDFrom)
	require.InDelta(t, 0.3579, p.SD, 0.001) // sd of ln 412, 655, 301, 518, 730; the readings wobble by 1 µg/m³
	out := b.do("plan", "--after")
	require.Contains(t, out, "drop box → cyclone: reduced")
	require.Contains(t, out, "drop box → cyclone, new filter: reduced enough so far")
	require.Contains(t, out, "It is settled")
}

// Sessions held in the order of the plan: grade A, if the seed is given.
func TestPlanIsCheckedAfterwards(t *testing.T) {
	b := newBench(t)
	for i, block := range compare.DrawOrder(17, []string{"drop box", "cyclone"}, 5) {
		for _, setup := range block {
			level := 300 + 31*float64(i)
			if setup == "cyclone" {
				level = 120 + 17*float64(i)
			}
			b.session(setup, level)
		}
	}
	b.imported()
	require.Equal(t, "B", b.result("--setups", "drop box,cyclone").Design)
	require.Equal(t, "A", b.result("--setups", "drop box,cyclone", "--plan-seed", "17").Design)
}
