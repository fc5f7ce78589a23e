package main

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestTheSameBytesTwice(t *testing.T) {
	if testing.Short() {
		t.Skip("builds the program twice")
	}
	var sums [2]string
	for i := range sums {
		dist := filepath.Join(t.TempDir(), "dist")
		require.NoError(t, makeRelease(t.Context(), "0.0.1", dist, "..", "linux/amd64"))
		content, err := os.ReadFile(filepath.Join(dist, "SHA256SUMS"))
		require.NoError(t, err)
		sums[i] = string(content)
	}
	require.Equal(t, sums[0], sums[1])
	for _, part := range []string{"dustlog_0.0.1_amd64.deb", "dustlog_0.0.1_linux_amd64.tar.gz", "dustlog_0.0.1_linux_amd64.cdx.json"} {
		require.Contains(t, sums[0], part)
	}
}

func TestWrongCallsSayWhatToDo(t *testing.T) {
	out := filepath.Join(t.TempDir(), "dist")
	require.ErrorContains(t, makeRelease(t.Context(), "1.2", out, "..", ""), "as in 1.2.0")
	require.ErrorContains(t, makeRelease(t.Context(), "1.2.0", out, "..", "linux/mips"), "linux/arm64")
	require.NoDirExists(t, out)
	require.ErrorContains(t, makeRelease(t.Context(), "1.2.0", t.TempDir(), "..", "linux/amd64"), "does not exist yet")
	t.Setenv("SOURCE_DATE_EPOCH", "yesterday")
	require.ErrorContains(t, makeRelease(t.Context(), "1.2.0", out, "..", "linux/amd64"), "whole seconds")
}
