package sensor

import (
	"fmt"
	"slices"
	"strings"

	"dustlog/internal/dust"
)

// PortInfo is a serial port and what the system knows of the adapter behind it.
type PortInfo struct {
	Path    string // as it is opened
	VID     string // USB vendor id, four hex digits in capitals; "" if it is not USB
	PID     string
	Serial  string // USB serial number; many adapters have none
	USBPath string // socket and interface the adapter is plugged into, where the system tells
}

// USB is the vendor and product id, or "".
func (p PortInfo) USB() string {
	if p.VID == "" {
		return ""
	}
	return p.VID + ":" + p.PID
}

// Identity says how a sensor's port is found again, whatever name it got this time.
// Empty fields say nothing.
type Identity struct {
	VID, PID string
	Serial   string // USB serial number
	USBPath  string
	Path     string // the port's name
}

// Identity is what is worth remembering of the port.
func (p PortInfo) Identity() Identity { return Identity{p.VID, p.PID, p.Serial, p.USBPath, p.Path} }

// Find returns the port that has the identity: by serial number first, then by the
// socket it is plugged into, then by name. A name alone does not count if the adapter
// that has it now carries another serial number. The error wraps dust.ErrPortMissing.
func (id Identity) Find(ports []PortInfo) (string, error) {
	same := func(a, b string) bool { return a == "" || b == "" || strings.EqualFold(a, b) }
	if id.Serial != "" {
		var found []PortInfo
		for _, p := range ports {
			if p.Serial == id.Serial && same(id.VID, p.VID) && same(id.PID, p.PID) {
				found = append(found, p)
			}
		}
		if i := slices.IndexFunc(found, func(p PortInfo) bool { return id.USBPath != "" && p.USBPath == id.USBPath }); i >= 0 {
			return found[i].Path, nil
		}
		if i := slices.IndexFunc(found, func(p PortInfo) bool { return p.Path == id.Path }); i >= 0 {
			return found[i].Path, nil
		}
		switch len(found) {
		case 0:
		case 1:
			return found[0].Path, nil
		default:
			return "", fmt.Errorf("%w: %d adapters carry the USB serial number %q: give usb_path as well, see dustlog ports",
				dust.ErrPortMissing, len(found), id.Serial)
		}
	}
	if id.USBPath != "" {
		for _, p := range ports {
			if p.USBPath == id.USBPath && same(id.Serial, p.Serial) && same(id.VID, p.VID) && same(id.PID, p.PID) {
				return p.Path, nil
			}
		}
	}
	if id.Path == "" {
		return "", fmt.Errorf("%w: no port has %s: plug the sensor in, or see dustlog ports", dust.ErrPortMissing, id)
	}
	for _, p := range ports {
		if p.Path == id.Path && !same(id.Serial, p.Serial) {
			return "", fmt.Errorf("%w: %s is another adapter now (USB serial number %q, not %q)", dust.ErrPortMissing, p.Path, p.Serial, id.Serial)
		}
	}
	return id.Path, nil
}

// String lists what the identity rests on.
func (id Identity) String() string {
	var parts []string
	for _, part := range []struct{ name, value string }{
		{"USB serial number", id.Serial}, {"USB path", id.USBPath}, {"name", id.Path},
	} {
		if part.value != "" {
			parts = append(parts, part.name+" "+part.value)
		}
	}
	return strings.Join(parts, ", ")
}
