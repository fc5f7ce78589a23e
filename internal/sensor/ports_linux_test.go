package sensor

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The tree is as the kernel builds it for a CH340 behind a hub, cut to what is read.
func TestUSBPathComesFromTheKernelsTree(t *testing.T) {
	root := t.TempDir()
	device := filepath.Join(root, "devices/platform/usb1/1-1/1-1.2/1-1.2:1.0/ttyUSB0")
	plain := filepath.Join(root, "devices/platform/serial8250/tty/ttyS0")
	require.NoError(t, os.MkdirAll(device, 0o755))
	require.NoError(t, os.MkdirAll(plain, 0o755))
	for name, target := range map[string]string{"ttyUSB0": device, "ttyS0": plain} {
		require.NoError(t, os.MkdirAll(filepath.Join(root, "class", name), 0o755))
		require.NoError(t, os.Symlink(target, filepath.Join(root, "class", name, "device")))
	}
	was := sysTTY
	sysTTY = filepath.Join(root, "class")
	defer func() { sysTTY = was }()
	require.Equal(t, "1-1.2:1.0", usbPath("/dev/ttyUSB0"))
	require.Empty(t, usbPath("/dev/ttyS0"))
	require.Empty(t, usbPath("/dev/ttyUSB9"))
}
