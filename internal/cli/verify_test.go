package cli_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/bundle"
	"dustlog/internal/cli"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

// call runs the program and returns its exit code and what it printed.
func call(t *testing.T, dir string, args ...string) (code int, stdout, stderr string) {
	t.Helper()
	var out, errs bytes.Buffer
	env := cli.Env{Stdin: strings.NewReader(""), Stdout: &out, Stderr: &errs, Now: func() time.Time { return time.Date(2026, 3, 9, 18, 0, 0, 0, time.UTC) },
		LookupEnv: func(string) (string, bool) { return "", false }}
	code = cli.Main(t.Context(), append(args, "--store", filepath.Join(dir, "s.db"), "--config", filepath.Join(dir, "shop.toml")), env)
	return code, out.String(), errs.String()
}

// shop makes a store with four short days under two setups, and settings that
// change results.
func shop(t *testing.T) (dir string) {
	t.Helper()
	dir = t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(dir, "shop.toml"), []byte("[shop]\nzone = \"UTC\"\nshift = \"08:00-09:00\"\nlimit = \"shop-target\"\nalso_limits = \"uk-hard\"\n"+
		"[[limit]]\nid = \"shop-target\"\nvalue = \"0.2 mg/m3\"\nfraction = \"respirable\"\naveraging = \"8 h\"\nsource = \"own\"\n[materials]\nblend = \"softwood\"\n"+
		"[collector.new]\nroom = \"4237.76 ft3\"\n[[collector.new.duct]]\nname = \"main\"\ndiameter = \"6 in\"\n"), 0o600))
	var csv strings.Builder
	csv.WriteString("time,sensor,pm2_5_ug_m3,pm10_ug_m3\n")
	for day := range 4 {
		begin := time.Date(2026, 3, 2+day, 8, 0, 0, 0, time.UTC)
		for i := range 720 {
			x := 100.1 - 20*float64(day) + float64(i%7)
			fmt.Fprintf(&csv, "%s,bench,%g,%g\n", begin.Add(time.Duration(i)*5*time.Second).Format(time.RFC3339), x, 2*x)
		}
	}
	file := filepath.Join(dir, "days.csv")
	require.NoError(t, os.WriteFile(file, []byte(csv.String()), 0o600))
	enterRemarks(t, filepath.Join(dir, "s.db"))
	for _, args := range [][]string{
		{"import", file, "--position", "breathing_zone", "--model", "sps30"},
		{"setup", "use", "old", "--at", "2026-03-02 00:00"}, {"setup", "use", "new", "--at", "2026-03-04 00:00"},
		{"task", "add", "sanding", "--material", "blend", "--from", "2026-03-02 08:10", "--to", "2026-03-02 08:40"},
		{"task", "add", "sanding", "--material", "blend", "--from", "2026-03-04 08:10", "--to", "2026-03-04 08:40"},
		{"airflow", "add", "velocity-pressure", "0.52", "0.61", "0.66", "0.63", "in. w.g.", "--at", "2026-03-04 08:05"},
		{"airflow", "add", "filter-drop", "450", "Pa", "--at", "2026-03-04 08:06"},
		{"report", "-o", filepath.Join(dir, "r.html"), "--bundle", filepath.Join(dir, "week.zip")},
	} {
		code, _, stderr := call(t, dir, args...)
		require.Zero(t, code, "%v: %s", args, stderr)
	}
	return dir
}

// enterRemarks taps two remarks, one of which is taken back.
func enterRemarks(t *testing.T, path string) {
	t.Helper()
	store, err := sqlite.Open(t.Context(), path, sqlite.Options{Create: true})
	require.NoError(t, err)
	defer store.Close()
	at := time.Date(2026, 3, 4, 8, 15, 0, 0, time.UTC)
	for _, e := range []dust.Entry{
		{ID: "a", Kind: dust.NoteEntry, At: at, Text: "door open"},
		{ID: "b", Kind: dust.NoteEntry, At: at.Add(time.Minute), Text: "a slip of the finger"},
		{ID: "c", Kind: dust.UndoEntry, At: at.Add(2 * time.Minute), Undoes: "b"},
	} {
		_, err := store.Enter(t.Context(), e)
		require.NoError(t, err)
	}
}

func TestABundleVerifies(t *testing.T) {
	dir := shop(t)
	code, stdout, stderr := call(t, dir, "verify", filepath.Join(dir, "week.zip"))
	require.Zero(t, code, stderr)
	require.Contains(t, stdout, "2880 readings taken in again")
	require.Contains(t, stdout, "identical: every number")

	b, err := bundle.Open(filepath.Join(dir, "week.zip"))
	require.NoError(t, err)
	defer b.Close()
	var results struct {
		Compare struct{ Conditions json.RawMessage }
		Airflow struct {
			Setups []struct{ Flow *json.RawMessage }
		}
	}
	require.NoError(t, b.ReadJSON("results.json", &results))
	require.Contains(t, string(results.Compare.Conditions), "door open", "remarks bear on results")
	require.NotContains(t, string(results.Compare.Conditions), "slip of the finger", "it was taken back")
	require.NotNil(t, results.Airflow.Setups[len(results.Airflow.Setups)-1].Flow)

	// Elsewhere, without the shop's settings and store, it is the same.
	elsewhere := t.TempDir()
	require.NoError(t, os.WriteFile(filepath.Join(elsewhere, "shop.toml"), []byte("[shop]\nlimit = \"uk-soft\"\n"), 0o600))
	code, stdout, stderr = call(t, elsewhere, "verify", filepath.Join(dir, "week.zip"))
	require.Zero(t, code, stderr+stdout)
}

// A report of a time in which only one of the two setups was in use says so.
func TestAReportOfOneSetupsDays(t *testing.T) {
	dir := shop(t)
	out, zip := filepath.Join(dir, "one.html"), filepath.Join(dir, "one.zip")
	code, _, stderr := call(t, dir, "report", "--from", "2026-03-02", "--to", "2026-03-03", "-o", out, "--pdf", filepath.Join(dir, "one.pdf"), "--bundle", zip)
	require.Zero(t, code, stderr)
	page, err := os.ReadFile(out)
	require.NoError(t, err)
	require.Contains(t, strings.ToLower(string(page)), "too little data")
	code, _, stderr = call(t, dir, "verify", zip)
	require.Zero(t, code, stderr)
}

// retell packs a bundle anew, with fitting hashes, after a change.
func retell(t *testing.T, from, to string, change func(name string, content []byte) []byte) {
	t.Helper()
	b, err := bundle.Open(from)
	require.NoError(t, err)
	defer b.Close()
	var out bytes.Buffer
	w := bundle.NewWriter(&out, b.Manifest.About, b.Manifest.MadeBy, b.Manifest.Created)
	for _, e := range b.Manifest.Files {
		require.NoError(t, b.Read(e.Name, func(r io.Reader) error {
			content, err := io.ReadAll(r)
			require.NoError(t, err)
			return w.Add(e.Name, e.About, func(w io.Writer) error { _, err := w.Write(change(e.Name, content)); return err })
		}))
	}
	require.NoError(t, w.Close())
	require.NoError(t, os.WriteFile(to, out.Bytes(), 0o600))
}

func TestAChangedReadingIsSeen(t *testing.T) {
	dir := shop(t)
	changed := filepath.Join(dir, "changed.zip")
	retell(t, filepath.Join(dir, "week.zip"), changed, func(name string, c []byte) []byte {
		if strings.HasPrefix(name, "readings/") {
			require.Contains(t, string(c), "101.1")
			return bytes.Replace(c, []byte("101.1"), []byte("901.1"), 1)
		}
		return c
	})
	code, stdout, stderr := call(t, dir, "verify", changed)
	require.NotZero(t, code)
	require.Contains(t, stdout, "exposure.shifts[0].twa_8h_mg_m3")
	require.Contains(t, stderr, "are not what its records give")

	code, stdout, _ = call(t, dir, "verify", "--json", changed)
	require.NotZero(t, code)
	var v struct {
		Identical   bool
		Differences []struct{ Where string }
	}
	require.NoError(t, json.Unmarshal([]byte(stdout), &v))
	require.False(t, v.Identical)
	require.NotEmpty(t, v.Differences)
}

// Another kind of processor may round the last bits of a sum otherwise.
func TestTheLastBitsAreNoDifference(t *testing.T) {
	dir := shop(t)
	number := regexp.MustCompile(`("gm_before": \d+\.\d+)`)
	nudged := func(by string) string {
		path := filepath.Join(dir, "nudged"+by+".zip")
		found := false
		retell(t, filepath.Join(dir, "week.zip"), path, func(name string, c []byte) []byte {
			if name != "results.json" {
				return c
			}
			return number.ReplaceAllFunc(c, func(text []byte) []byte {
				found = true
				key, value, _ := strings.Cut(string(text), ": ")
				x, err := strconv.ParseFloat(value, 64)
				require.NoError(t, err)
				factor, err := strconv.ParseFloat(by, 64)
				require.NoError(t, err)
				return fmt.Appendf(nil, "%s: %.17g", key, x*factor)
			})
		})
		require.True(t, found)
		return path
	}
	code, stdout, stderr := call(t, dir, "verify", nudged("1.00000000000001"))
	require.Zero(t, code, stderr)
	require.Regexp(t, `the same: every word, and every number to 9 digits; \d differ behind that`, stdout)
	code, stdout, _ = call(t, dir, "verify", nudged("1.0000001"))
	require.NotZero(t, code)
	require.Contains(t, stdout, "gm_before")
}

func TestABrokenBundleIsTold(t *testing.T) {
	dir := shop(t)
	whole, err := os.ReadFile(filepath.Join(dir, "week.zip"))
	require.NoError(t, err)
	cut := filepath.Join(dir, "cut.zip")
	require.NoError(t, os.WriteFile(cut, whole[:len(whole)/2], 0o600))
	code, _, stderr := call(t, dir, "verify", cut)
	require.NotZero(t, code)
	require.Contains(t, stderr, "damaged or was changed")
	code, _, stderr = call(t, dir, "verify", filepath.Join(dir, "nothing.zip"))
	require.NotZero(t, code)
	require.Contains(t, stderr, "no such file")
}
