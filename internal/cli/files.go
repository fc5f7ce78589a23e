package cli

import (
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
)

// writeWhole makes a file appear whole or not at all: a temporary file in the
// same folder, synced, then renamed.
func writeWhole(path string, content []byte) error {
	return streamWhole(path, func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
}

// streamWhole is writeWhole for what does not fit into memory.
func streamWhole(path string, write func(io.Writer) error) error {
	if _, err := os.Stat(filepath.Dir(path)); err != nil {
		return fmt.Errorf("writing %s: folder %s: %w", path, filepath.Dir(path), errors.Unwrap(err))
	}
	f, err := os.CreateTemp(filepath.Dir(path), "."+filepath.Base(path)+"-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	defer os.Remove(f.Name()) // no effect once renamed
	err = write(f)
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
