package validation

import (
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// fake is a test that may fail.
type fake struct {
	testing.TB
	name   string
	failed []string
}

func (f *fake) Helper()      {}
func (f *fake) Name() string { return f.name }
func (f *fake) Failed() bool { return len(f.failed) > 0 }
func (f *fake) Errorf(format string, args ...any) {
	f.failed = append(f.failed, fmt.Sprintf(format, args...))
}
func (f *fake) Fatalf(format string, args ...any) {
	f.Errorf(format, args...)
	panic("fatal")
}

func TestCheckAssertsAndRecords(t *testing.T) {
	folder := t.TempDir()
	t.Setenv(Folder, folder)
	good := &fake{name: "TestPublishedThings/one"}
	Check(good, "a thing", "a book", 2.5, 2.52, 0.05)
	CheckAll(good, "a table", "a book", []float64{1, 0}, []float64{1.1, 0.2}, 0.2)
	CheckSet(good, "a set", "a book", map[string]float64{"b": 2, "a": 100}, map[string]float64{"a": 101, "b": 2}, 0.01, 0)
	require.Empty(t, good.failed)

	text, err := os.ReadFile(filepath.Join(folder, "internal_validation.jsonl"))
	require.NoError(t, err)
	decoder := json.NewDecoder(bytes.NewReader(text))
	var rows []Record
	for decoder.More() {
		var r Record
		require.NoError(t, decoder.Decode(&r))
		rows = append(rows, r)
	}
	require.Len(t, rows, 3)
	require.Equal(t, "internal/validation", rows[0].Section)
	require.InDelta(t, 0.02, rows[0].Difference, 1e-12)
	require.InDelta(t, 0.008, rows[0].Relative, 1e-12)
	require.Equal(t, [2]float64{0, 1}, [2]float64{rows[1].Published, rows[1].Highest})
	require.InDelta(t, 0.2, rows[1].Difference, 1e-12)
	require.InDelta(t, 1, rows[1].Relative, 1e-12, "published as nothing")
	require.Equal(t, "a set: a, b", rows[2].Method)
	require.True(t, rows[2].Mixed)
}

func TestCheckFails(t *testing.T) {
	t.Setenv(Folder, t.TempDir())
	off := &fake{name: "TestPublishedThings"}
	Check(off, "a thing", "a book", 2.5, 2.6, 0.05)
	require.Len(t, off.failed, 1)
	require.Contains(t, off.failed[0], "published 2.5")
	left, err := os.ReadDir(os.Getenv(Folder))
	require.NoError(t, err)
	require.Empty(t, left, "what failed is not put on the page")

	misnamed := &fake{name: "TestThings"}
	require.Panics(t, func() { Check(misnamed, "a thing", "a book", 1, 1, 0) })
	require.Contains(t, misnamed.failed[0], "must begin with TestPublished")
	require.Panics(t, func() { CheckAll(off, "a table", "a book", []float64{1}, nil, 0) })
	require.Panics(t, func() { CheckSet(off, "a set", "a book", map[string]float64{"a": 1}, map[string]float64{"b": 1}, 0, 0) })
}

func TestSimulationsAreKept(t *testing.T) {
	path := filepath.Join(t.TempDir(), "testdata", "simulations.json") // a package may not have the folder yet
	rows := []Simulation{{What: "says reduced", Setting: "5 v 5", Studies: 2000, Seed: 7, Intended: "2.5 %", Found: 0.024, SE: 0.0034}}
	require.NoError(t, SaveSimulations(path, rows))
	back, err := LoadSimulations(path)
	require.NoError(t, err)
	require.Equal(t, rows, back)
}
