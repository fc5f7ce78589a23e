package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// debianRelease is what the package is installed on.
const debianRelease = "bookworm"

// TestInstall makes a release, unpacks a small Debian into a folder, and lives
// there with the package as a user would: install, look, use, upgrade, remove,
// purge. It needs root, debootstrap and a Debian mirror; with CI=true it fails
// without them.
func TestInstall(t *testing.T) {
	if why := cannotInstall(); why != "" {
		if os.Getenv("CI") == "true" {
			t.Fatal(why)
		}
		t.Skip(why)
	}
	dist := filepath.Join(t.TempDir(), "dist")
	require.NoError(t, makeRelease(t.Context(), "0.0.1", dist, "..", "linux/"+runtime.GOARCH))
	packages, err := filepath.Glob(filepath.Join(dist, "*.deb"))
	require.NoError(t, err)
	require.Len(t, packages, 1)

	d := newDebian(t)
	d.copyIn(packages[0], "/tmp/dustlog.deb")
	d.run("dpkg", "-i", "/tmp/dustlog.deb")
	require.Equal(t, "dustlog 0.0.1\n", d.run("dustlog", "version"))
	require.Contains(t, d.run("id", "dustlog"), "(dialout)")
	require.Equal(t, "root:dustlog 640\n", d.run("stat", "-c", "%U:%G %a", "/etc/dustlog/dustlog.toml"))
	for _, path := range []string{"/lib/systemd/system/dustlog.service", "/lib/udev/rules.d/60-dustlog.rules",
		"/usr/share/bash-completion/completions/dustlog"} {
		require.FileExists(t, filepath.Join(d.root, path))
	}
	require.Contains(t, d.run("dustlog", "config", "show", "--config", "/etc/dustlog/dustlog.toml"), "My shop", "the file that comes with it is a right one")

	// The main job, as the service's user, on a machine that has nothing else.
	d.run("install", "-d", "-o", "dustlog", "-g", "dustlog", "/var/lib/dustlog")
	out := d.run("setpriv", "--reuid=dustlog", "--regid=dustlog", "--init-groups", "env", "HOME=/var/lib/dustlog",
		"dustlog", "demo", "--quiet", "--out", "/var/lib/dustlog/demo")
	require.Contains(t, out, "Is a respirator still needed?")
	report, err := os.ReadFile(filepath.Join(d.root, "/var/lib/dustlog/demo/report.html"))
	require.NoError(t, err)
	require.Contains(t, string(report), "invented")

	// What the owner wrote stays through an upgrade and a removal; readings stay
	// through everything.
	own := "[shop]\nname = \"Mine\"\n"
	require.NoError(t, os.WriteFile(filepath.Join(d.root, "/etc/dustlog/dustlog.toml"), []byte(own), 0o640))
	d.run("dpkg", "-i", "/tmp/dustlog.deb")
	require.Equal(t, own, d.run("cat", "/etc/dustlog/dustlog.toml"))
	d.run("dpkg", "-r", "dustlog")
	require.Equal(t, own, d.run("cat", "/etc/dustlog/dustlog.toml"))
	require.NoFileExists(t, filepath.Join(d.root, "/usr/bin/dustlog"))
	d.run("dpkg", "-P", "dustlog")
	require.NoFileExists(t, filepath.Join(d.root, "/etc/dustlog/dustlog.toml"))
	require.FileExists(t, filepath.Join(d.root, "/var/lib/dustlog/demo/report.html"))
}

// The unit is one that systemd accepts, where systemd is at hand.
func TestUnit(t *testing.T) {
	verify, err := exec.LookPath("systemd-analyze")
	if err != nil {
		t.Skip("no systemd-analyze")
	}
	out, err := exec.CommandContext(t.Context(), verify, "verify", "--man=no", "files/dustlog.service").CombinedOutput()
	for line := range strings.Lines(string(out)) {
		if !strings.Contains(line, "is not executable") { // the program is not installed here
			require.NotContains(t, line, "dustlog.service", line)
		}
	}
	require.NotContains(t, string(out), "Unknown", err)
}

func cannotInstall() string {
	if runtime.GOOS != "linux" || os.Geteuid() != 0 {
		return "installing a package into a folder needs root on Linux"
	}
	if _, err := exec.LookPath("debootstrap"); err != nil {
		return "no debootstrap: run `make tools`"
	}
	return ""
}

// debian is a small Debian in a folder.
type debian struct {
	t    *testing.T
	root string
}

func newDebian(t *testing.T) *debian {
	t.Helper()
	d := &debian{t, filepath.Join(t.TempDir(), "root")}
	out, err := exec.CommandContext(t.Context(), "debootstrap", "--variant=minbase", debianRelease, d.root).CombinedOutput()
	require.NoError(t, err, "%s", last(out))
	return d
}

// run runs a command inside, and returns what it printed to standard output.
func (d *debian) run(command ...string) string {
	d.t.Helper()
	cmd := exec.CommandContext(d.t.Context(), "chroot", append([]string{d.root}, command...)...)
	cmd.Env = []string{"PATH=/usr/sbin:/usr/bin:/sbin:/bin", "LC_ALL=C"}
	var problems strings.Builder
	cmd.Stderr = &problems
	out, err := cmd.Output()
	require.NoError(d.t, err, "%v: %s", command, problems.String())
	return string(out)
}

func (d *debian) copyIn(from, to string) {
	d.t.Helper()
	content, err := os.ReadFile(from)
	require.NoError(d.t, err)
	require.NoError(d.t, os.WriteFile(filepath.Join(d.root, to), content, 0o644))
}

// last is the end of a long output.
func last(out []byte) []byte { return out[max(0, len(out)-2000):] }
