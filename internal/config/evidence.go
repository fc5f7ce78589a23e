package config

import (
	"maps"
	"slices"

	"github.com/pelletier/go-toml/v2"
)

// evidence are the tables of the file that results rest on.
var evidence = []string{"collector", "limit", "materials", "sensor"}

// ports are what of a sensor says nothing about its readings, but something about the
// computer.
var ports = []string{"port", "usb_serial", "usb_path"}

// NoPort stands where Evidence leaves a port out.
const NoPort = "left out"

// Evidence is the part of the file that results rest on, beside the settings that
// Scalars lists, as it was written there: the sensors without their ports, limits,
// materials and records of the dust collector. It is a configuration file again,
// empty if there was none.
func (c Config) Evidence() ([]byte, error) {
	all := map[string]any{}
	if err := toml.Unmarshal(c.text, &all); err != nil {
		return nil, err
	}
	maps.DeleteFunc(all, func(table string, _ any) bool { return !slices.Contains(evidence, table) })
	if sensors, ok := all["sensor"].([]any); ok {
		for _, s := range sensors {
			if s, ok := s.(map[string]any); ok {
				maps.DeleteFunc(s, func(key string, _ any) bool { return slices.Contains(ports, key) })
				s["port"] = NoPort // a file without one would be refused
			}
		}
	}
	if len(all) == 0 {
		return nil, nil
	}
	return toml.Marshal(all)
}
