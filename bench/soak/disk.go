package main

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
)

const diskMiB = 384

// mountSmall makes folder a small disk of its own, if this user may; small is false if
// not, and folder is an ordinary one.
func mountSmall(folder string, log io.Writer) (small bool, unmount func()) {
	_ = os.MkdirAll(folder, 0o755) // what it is for fails if this does
	if err := exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%dm", diskMiB), "tmpfs", folder).Run(); err != nil {
		fmt.Fprintln(log, "no small disk can be mounted, so it will not be full:", err)
		return false, func() {}
	}
	return true, func() { _ = exec.Command("umount", "-l", folder).Run() }
}

// fill leaves no room on the disk that folder lies on.
func fill(folder string) (empty func(), err error) {
	path := filepath.Join(folder, "ballast")
	f, err := os.Create(path)
	if err != nil {
		return nil, err
	}
	block := make([]byte, 1<<20)
	for err == nil {
		if _, err = f.Write(block); err != nil && len(block) > 1 && errors.Is(err, syscall.ENOSPC) {
			block, err = block[:len(block)/2], nil
		}
	}
	if !errors.Is(err, syscall.ENOSPC) {
		return nil, errors.Join(err, f.Close(), os.Remove(path))
	}
	return func() { _ = f.Close(); _ = os.Remove(path) }, nil
}
