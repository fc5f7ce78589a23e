//go:build !darwin || cgo

package sensor

import (
	"fmt"
	"slices"
	"strings"

	"go.bug.st/serial/enumerator"
)

// ListPorts lists the serial ports of this computer by name.
func ListPorts() ([]PortInfo, error) {
	details, err := enumerator.GetDetailedPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	ports := make([]PortInfo, 0, len(details))
	for _, d := range details {
		if d.Name == "" {
			continue // a port without a device behind it
		}
		p := PortInfo{Path: d.Name, Serial: d.SerialNumber, USBPath: usbPath(d.Name)}
		if d.IsUSB {
			p.VID, p.PID = strings.ToUpper(d.VID), strings.ToUpper(d.PID)
		}
		ports = append(ports, p)
	}
	slices.SortFunc(ports, func(a, b PortInfo) int { return strings.Compare(a.Path, b.Path) })
	return ports, nil
}
