//go:build unix

package cli

import (
	"os/exec"
	"syscall"
)

// inOwnGroup keeps a Ctrl-C at the terminal from the program, and ends its children
// with it.
func inOwnGroup(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	cmd.Cancel = func() error { return syscall.Kill(-cmd.Process.Pid, syscall.SIGKILL) }
}
