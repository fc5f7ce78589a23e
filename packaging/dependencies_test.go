package main

import (
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"golang.org/x/mod/modfile"
)

// Each library that the program uses has its reason, licence and date on a page,
// and nothing else stands there.
func TestEveryDependencyIsExplained(t *testing.T) {
	content, err := os.ReadFile("../go.mod")
	require.NoError(t, err)
	mod, err := modfile.Parse("go.mod", content, nil)
	require.NoError(t, err)
	page, err := os.ReadFile("../docs/dependencies.md")
	require.NoError(t, err)
	listed := map[string]bool{}
	for line := range strings.Lines(string(page)) {
		if cells := strings.Split(line, "|"); len(cells) == 6 && strings.Contains(cells[1], " v") {
			listed[strings.TrimSpace(cells[1])] = true
			for _, cell := range cells[2:5] {
				require.NotEmpty(t, strings.TrimSpace(cell), line)
			}
		}
	}
	for _, r := range mod.Require {
		if name := r.Mod.Path + " " + r.Mod.Version; !r.Indirect {
			require.True(t, listed[name], "docs/dependencies.md lacks %s", name)
			delete(listed, name)
		}
	}
	require.Empty(t, listed, "docs/dependencies.md lists what go.mod does not require")
}
