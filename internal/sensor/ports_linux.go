package sensor

import (
	"path/filepath"
	"regexp"
)

// usbInterface is the kernel's name of a USB interface: bus-port.port:config.interface.
var usbInterface = regexp.MustCompile(`^[0-9]+-[0-9.]+:[0-9]+\.[0-9]+$`)

// sysTTY is where the kernel shows serial devices.
var sysTTY = "/sys/class/tty"

// usbPath tells two adapters without serial number apart: by the socket.
func usbPath(port string) string {
	device, err := filepath.EvalSymlinks(filepath.Join(sysTTY, filepath.Base(port), "device"))
	if err != nil {
		return ""
	}
	for ; device != "/" && device != "."; device = filepath.Dir(device) {
		if name := filepath.Base(device); usbInterface.MatchString(name) {
			return name
		}
	}
	return ""
}
