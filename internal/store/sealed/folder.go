package sealed

import (
	"fmt"
	"os"
	"runtime"
)

// SyncFolder makes the names in a folder last past a power cut.
func SyncFolder(path string) error {
	if runtime.GOOS == "windows" {
		return nil // folders cannot be synced there, and need not be
	}
	f, err := os.Open(path)
	if err != nil {
		return fmt.Errorf("sync folder: %w", err)
	}
	err = f.Sync()
	if closeErr := f.Close(); err == nil {
		err = closeErr
	}
	if err != nil {
		return fmt.Errorf("sync folder %s: %w", path, err)
	}
	return nil
}
