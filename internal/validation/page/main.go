// Command page writes docs/validation.md from the tests that check published
// values. Run it from the repository's root:
//
//	go run ./internal/validation/page          # write
//	go run ./internal/validation/page -check   # fail if what is written is not up to date
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"

	"dustlog/internal/validation"
)

const pagePath = "docs/validation.md"

func main() {
	check := flag.Bool("check", false, "compare with the page instead of writing it")
	flag.Parse()
	if err := run(*check); err != nil {
		fmt.Fprintln(os.Stderr, "validation page:", err)
		os.Exit(1)
	}
}

func run(check bool) error {
	records, err := recordAll()
	if err != nil {
		return err
	}
	simulations, err := simulations("internal")
	if err != nil {
		return err
	}
	page, err := render(records, simulations)
	if err != nil {
		return err
	}
	if !check {
		return os.WriteFile(pagePath, page, 0o644)
	}
	old, err := os.ReadFile(pagePath)
	if err != nil {
		return err
	}
	if !bytes.Equal(old, page) {
		return fmt.Errorf("%s is out of date from %s on: run `make docs` and read the difference", pagePath, firstDifference(old, page))
	}
	return nil
}

// recordAll runs the tests that check published values, and only those, in every
// package whose tests import validation.
func recordAll() ([]validation.Record, error) {
	list := exec.Command("go", "list", "-f", `{{.ImportPath}} {{.TestImports}} {{.XTestImports}}`, "./...")
	list.Stderr = os.Stderr
	out, err := list.Output()
	if err != nil {
		return nil, fmt.Errorf("list the packages: %w", err)
	}
	var packages []string
	for line := range strings.Lines(string(out)) {
		pkg, imports, _ := strings.Cut(line, " ")
		if strings.Contains(imports, "dustlog/internal/validation") {
			packages = append(packages, pkg)
		}
	}
	if len(packages) == 0 {
		return nil, errors.New("no package has published values to check")
	}
	folder, err := os.MkdirTemp("", "validation")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(folder)
	test := exec.Command("go", append([]string{"test", "-vet=off", "-count=1", "-run", "^" + validation.Prefix}, packages...)...)
	test.Env = append(os.Environ(), validation.Folder+"="+folder)
	if out, err := test.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("run the tests: %w\n%s", err, out)
	}
	return read(folder)
}

func read(folder string) (records []validation.Record, err error) {
	files, err := filepath.Glob(filepath.Join(folder, "*.jsonl"))
	if err != nil {
		return nil, err
	}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		for line := range bytes.Lines(text) {
			var r validation.Record
			if err := json.Unmarshal(line, &r); err != nil {
				return nil, fmt.Errorf("%s: %w", name, err)
			}
			records = append(records, r)
		}
	}
	return records, nil
}

// simulations collects the packages' simulation files by package folder.
func simulations(root string) (map[string][]validation.Simulation, error) {
	found := map[string][]validation.Simulation{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		slashed := filepath.ToSlash(path)
		if err != nil || !strings.HasSuffix(slashed, "/"+validation.SimulationFile) {
			return err
		}
		rows, err := validation.LoadSimulations(path)
		if err != nil {
			return fmt.Errorf("%s: %w", path, err)
		}
		found[strings.TrimSuffix(slashed, "/"+validation.SimulationFile)] = rows
		return nil
	})
	return found, err
}

// firstDifference names the first line that is not the same.
func firstDifference(old, new []byte) string {
	a, b := strings.Split(string(old), "\n"), strings.Split(string(new), "\n")
	for i := range b {
		if i >= len(a) || a[i] != b[i] {
			return fmt.Sprintf("line %d (%.60s…)", i+1, b[i])
		}
	}
	return fmt.Sprintf("line %d", len(b)+1)
}
