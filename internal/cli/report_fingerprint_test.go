package cli_test

import (
	"io"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/bundle"
)

// The report in a bundle names the SHA-256 that the manifest has for the results
// beside it, so that a printed report can be held against its bundle.
func TestReportNamesTheFingerprintOfItsResults(t *testing.T) {
	b, err := bundle.Open(filepath.Join(shop(t), "week.zip"))
	require.NoError(t, err)
	defer b.Close()
	sum := ""
	for _, f := range b.Manifest.Files {
		if f.Name == "results.json" {
			sum = f.SHA256
		}
	}
	require.Len(t, sum, 64)
	var page strings.Builder
	require.NoError(t, b.Read("report.html", func(r io.Reader) error {
		_, err := io.Copy(&page, r)
		return err
	}))
	require.True(t, strings.Contains(page.String(), sum))
}
