package cli

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
)

// writeWhole makes a file appear whole or not at all: a temporary file in the
// same folder, synced, then renamed.
func writeWhole(path string, content []byte) error {
	if _, err := os.Stat(filepath.Dir(path)); err != nil {
		return fmt.Errorf("writing %s: folder %s: %w", path, filepath.Dir(path), errors.Unwrap(err))
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer os.Remove(f.Name()) // no effect once renamed
	_, err = f.Write(content)
	if err == nil {
		err = f.Sync()
	}
	if err == nil {
		err = f.Chmod(0o644)
	}
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}
