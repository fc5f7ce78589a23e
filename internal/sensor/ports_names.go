//go:build darwin && !cgo

package sensor

import (
	"fmt"
	"slices"

	"go.bug.st/serial"
)

// ListPorts lists the serial ports of this computer by name. Without cgo macOS does
// not tell what is behind them; its names contain the serial number.
func ListPorts() ([]PortInfo, error) {
	names, err := serial.GetPortsList()
	if err != nil {
		return nil, fmt.Errorf("list serial ports: %w", err)
	}
	slices.Sort(names)
	ports := make([]PortInfo, 0, len(names))
	for _, name := range names {
		ports = append(ports, PortInfo{Path: name})
	}
	return ports, nil
}
