//go:build unix

package metrics

import "golang.org/x/sys/unix"

// FreeBytes tells the room on the disk that folder lies on, for a user without
// special rights.
func FreeBytes(folder string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(folder, &s); err != nil {
		return 0, err
	}
	return uint64(s.Bavail) * uint64(s.Bsize), nil //nolint:unconvert // their types differ from system to system
}
