package metrics

import "golang.org/x/sys/windows"

// FreeBytes tells the room on the disk that folder lies on.
func FreeBytes(folder string) (uint64, error) {
	path, err := windows.UTF16PtrFromString(folder)
	if err != nil {
		return 0, err
	}
	var free uint64
	err = windows.GetDiskFreeSpaceEx(path, &free, nil, nil)
	return free, err
}
