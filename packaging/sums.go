package main

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// sums writes the checksums that `sha256sum -c SHA256SUMS` reads.
func (r release) sums() error {
	entries, err := os.ReadDir(r.out) // sorted by name
	if err != nil {
		return err
	}
	var list strings.Builder
	for _, e := range entries {
		content, err := os.ReadFile(filepath.Join(r.out, e.Name()))
		if err != nil {
			return err
		}
		fmt.Fprintf(&list, "%x  %s\n", sha256.Sum256(content), e.Name())
	}
	return os.WriteFile(filepath.Join(r.out, "SHA256SUMS"), []byte(list.String()), 0o644)
}
