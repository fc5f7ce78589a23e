// Package validation lets tests check published numbers and put them on a page:
// method, source, published value, our value, difference. Only tests import it.
//
//	func TestPublishedToleranceFactors(t *testing.T) {
//		validation.Check(t, "K 95/95, n = 10", "ISO 16269-6:2014", 2.911, got, 0.0005)
//	}
//
// Check asserts in every run. Where the environment names a folder it also records;
// the command internal/validation/page runs the tests that way and writes
// docs/validation.md. To be found by it a test's name begins with TestPublished.
package validation

import (
	"encoding/json"
	"maps"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"testing"
)

// Folder is the environment variable that names the folder to record in.
const Folder = "DUSTLOG_VALIDATION"

// Prefix begins the name of every test that checks published numbers.
const Prefix = "TestPublished"

// Record is one row of the page.
type Record struct {
	Section    string  `json:"section"` // folder of the package that was tested
	Method     string  `json:"method"`
	Source     string  `json:"source"`
	Values     int     `json:"values"`
	Published  float64 `json:"published"`         // of several the lowest
	Highest    float64 `json:"published_highest"` // and the highest
	Ours       float64 `json:"ours"`              // if it is one value
	Difference float64 `json:"difference"`        // ours less published; of several the largest
	Relative   float64 `json:"relative"`          // |Difference| over |published|; of several the largest
	Mixed      bool    `json:"mixed"`             // values of different kinds: only Relative means anything
}

// Check asserts that got lies within tolerance of the published value.
func Check(t testing.TB, method, source string, published, got, tolerance float64) {
	t.Helper()
	compare(t, Record{Section: caller(), Method: method, Source: source}, []float64{published}, []float64{got}, 0, tolerance)
}

// CheckAll is Check for a printed table of values: one row of the page.
func CheckAll(t testing.TB, method, source string, published, got []float64, tolerance float64) {
	t.Helper()
	compare(t, Record{Section: caller(), Method: method, Source: source}, published, got, 0, tolerance)
}

// CheckSet is Check for several results of one input, by name: one row of the
// page. Each may be off by the larger of abs and rel of its published value.
func CheckSet(t testing.TB, method, source string, published, got map[string]float64, rel, abs float64) {
	t.Helper()
	names := slices.Sorted(maps.Keys(published))
	if want := slices.Sorted(maps.Keys(got)); !slices.Equal(names, want) {
		t.Fatalf("%s: published are %v, computed %v", method, names, want)
	}
	var p, g []float64
	for _, name := range names {
		p, g = append(p, published[name]), append(g, got[name])
	}
	compare(t, Record{Section: caller(), Method: method + ": " + strings.Join(names, ", "), Source: source, Mixed: true}, p, g, rel, abs)
}

func compare(t testing.TB, r Record, published, got []float64, rel, abs float64) {
	t.Helper()
	name, _, _ := strings.Cut(t.Name(), "/")
	if !strings.HasPrefix(name, Prefix) {
		t.Fatalf("%s checks published values: its name must begin with %s, or it is missing from the page", name, Prefix)
	}
	if len(published) == 0 || len(published) != len(got) {
		t.Fatalf("%s: %d values for %d published", r.Method, len(got), len(published))
	}
	r.Values, r.Published, r.Highest, r.Ours = len(published), published[0], published[0], got[0]
	for i, want := range published {
		difference := got[i] - want
		if !(math.Abs(difference) <= max(abs, rel*math.Abs(want))) {
			t.Errorf("%s: got %.10g, published %.10g (abs %g, rel %g; %s)", r.Method, got[i], want, abs, rel, r.Source)
		}
		if math.Abs(difference) >= math.Abs(r.Difference) {
			r.Difference = difference
		}
		if relative := math.Abs(difference / want); !math.IsInf(relative, 0) && !math.IsNaN(relative) {
			r.Relative = max(r.Relative, relative)
		} else if difference != 0 {
			r.Relative = max(r.Relative, 1) // published as nothing at all
		}
		r.Published, r.Highest = min(r.Published, want), max(r.Highest, want)
	}
	if folder := os.Getenv(Folder); folder != "" && !t.Failed() {
		if err := record(folder, r); err != nil {
			t.Fatalf("record for the validation page: %v", err)
		}
	}
}

// caller is the folder of the package whose test called Check.
func caller() string {
	pc := make([]uintptr, 1)
	runtime.Callers(3, pc)
	frame, _ := runtime.CallersFrames(pc).Next()
	name := frame.Function // dustlog/internal/exposure/group.TestPublished…
	slash := strings.LastIndex(name, "/") + 1
	pkg, _, _ := strings.Cut(name[slash:], ".")
	folder := name[:slash] + strings.TrimSuffix(pkg, "_test")
	_, folder, _ = strings.Cut(folder, "/")
	return folder
}

var recording sync.Mutex

// record appends one line to the section's file.
func record(folder string, r Record) error {
	recording.Lock()
	defer recording.Unlock()
	line, err := json.Marshal(r)
	if err != nil {
		return err
	}
	f, err := os.OpenFile(filepath.Join(folder, strings.ReplaceAll(r.Section, "/", "_")+".jsonl"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	if _, err := f.Write(append(line, '\n')); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
