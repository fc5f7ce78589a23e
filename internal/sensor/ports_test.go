package sensor_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

func TestPortIsFoundByIdentity(t *testing.T) {
	a := sensor.PortInfo{Path: "/dev/ttyUSB0", VID: "10C4", PID: "EA60", Serial: "0123", USBPath: "1-1.2:1.0"}
	b := sensor.PortInfo{Path: "/dev/ttyUSB1", VID: "1A86", PID: "7523", USBPath: "1-1.3:1.0"} // no serial number
	c := sensor.PortInfo{Path: "/dev/ttyUSB2", VID: "1A86", PID: "7523", USBPath: "1-1.4:1.0"}
	moved := func(p sensor.PortInfo, path string) sensor.PortInfo { p.Path = path; return p }
	for name, test := range map[string]struct {
		id    sensor.Identity
		ports []sensor.PortInfo
		want  string
		says  string
	}{
		"same place":                {a.Identity(), []sensor.PortInfo{a, b}, "/dev/ttyUSB0", ""},
		"by serial, other name":     {a.Identity(), []sensor.PortInfo{b, moved(a, "/dev/ttyUSB5")}, "/dev/ttyUSB5", ""},
		"by socket, other name":     {b.Identity(), []sensor.PortInfo{c, moved(b, "/dev/ttyUSB7")}, "/dev/ttyUSB7", ""},
		"names exchanged":           {b.Identity(), []sensor.PortInfo{moved(c, "/dev/ttyUSB1"), moved(b, "/dev/ttyUSB2")}, "/dev/ttyUSB2", ""},
		"unknown to the system":     {sensor.Identity{Path: "/dev/pts/3"}, nil, "/dev/pts/3", ""},
		"other socket, so by name":  {b.Identity(), []sensor.PortInfo{moved(c, b.Path)}, "/dev/ttyUSB1", ""},
		"another adapter's name":    {a.Identity(), []sensor.PortInfo{{Path: a.Path, VID: "10C4", PID: "EA60", Serial: "0999"}}, "", "another adapter"},
		"configured serial, absent": {sensor.Identity{Serial: "77"}, []sensor.PortInfo{a}, "", "USB serial number 77"},
		"two with one serial":       {sensor.Identity{Serial: "0001"}, []sensor.PortInfo{{Path: "x", Serial: "0001"}, {Path: "y", Serial: "0001"}}, "", "usb_path"},
		"serial and socket":         {sensor.Identity{Serial: "0001", USBPath: "2-1:1.0"}, []sensor.PortInfo{{Path: "x", Serial: "0001"}, {Path: "y", Serial: "0001", USBPath: "2-1:1.0"}}, "y", ""},
	} {
		t.Run(name, func(t *testing.T) {
			got, err := test.id.Find(test.ports)
			if test.says != "" {
				require.ErrorIs(t, err, dust.ErrPortMissing)
				require.ErrorContains(t, err, test.says)
				return
			}
			require.NoError(t, err)
			require.Equal(t, test.want, got)
		})
	}
}

func TestListPortsDoesNotFail(t *testing.T) {
	ports, err := sensor.ListPorts()
	require.NoError(t, err)
	for _, p := range ports {
		require.NotEmpty(t, p.Path)
	}
}
