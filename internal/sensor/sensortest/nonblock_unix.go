//go:build unix

package sensortest

import (
	"os"
	"syscall"
)

// pollable returns f as a file whose reads and writes end when it is closed or a
// deadline passes. Package pty hands out blocking files, which would hang.
func pollable(f *os.File) (*os.File, error) {
	fd, err := syscall.Dup(int(f.Fd()))
	if err != nil {
		return f, err
	}
	syscall.CloseOnExec(fd)
	if err := syscall.SetNonblock(fd, true); err != nil {
		return f, err
	}
	defer f.Close()
	return os.NewFile(uintptr(fd), f.Name()), nil
}
