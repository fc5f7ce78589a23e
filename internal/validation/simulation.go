package validation

import (
	"encoding/json"
	"os"
	"path/filepath"
)

// SimulationFile is where a package keeps the results of its long simulations,
// beneath its folder. They are too slow to repeat for the page: the test that runs
// them rewrites the file, and the page shows what it says.
const SimulationFile = "testdata/simulations.json"

// Simulation is one row of the page's second table.
type Simulation struct {
	What     string  `json:"what"`     // as in "says reduced, true ratio 1"
	Setting  string  `json:"setting"`  // design, spread, sizes
	Studies  int     `json:"studies"`  // how many were simulated
	Seed     uint64  `json:"seed"`     // repeats them
	Intended string  `json:"intended"` // what theory or a published simulation says, with its source
	Found    float64 `json:"found"`    // share
	SE       float64 `json:"se"`       // standard error of Found
}

// SaveSimulations writes a package's rows; path is SimulationFile in its tests.
func SaveSimulations(path string, rows []Simulation) error {
	text, err := json.MarshalIndent(rows, "", " ")
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return err
	}
	return os.WriteFile(path, append(text, '\n'), 0o644)
}

// LoadSimulations reads them.
func LoadSimulations(path string) (rows []Simulation, err error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	return rows, json.Unmarshal(text, &rows)
}
