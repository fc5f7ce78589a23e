package config

import (
	"fmt"
	"strings"
	"time"
)

// Respirator says how the live answer is given, [respirator] in the file.
type Respirator struct {
	// OnChange is a program and its arguments, run whenever the answer changes; empty:
	// none. No shell reads it.
	OnChange    []string
	Timeout     time.Duration // the program is ended after it
	RepeatEvery time.Duration // run it again without a change; 0: never
	StaleAfter  time.Duration // a sensor without a usable reading for longer counts as lost
	Settle      time.Duration // a laxer answer must hold for so long
}

// respiratorFile mirrors the table.
type respiratorFile struct {
	OnChange    []string `toml:"on_change"`
	Timeout     *string  `toml:"timeout"`
	RepeatEvery *string  `toml:"repeat_every"`
	StaleAfter  *string  `toml:"stale_after"`
	Settle      *string  `toml:"settle"`
}

func defaultRespirator() Respirator {
	return Respirator{Timeout: 10 * time.Second, StaleAfter: 10 * time.Second, Settle: time.Minute}
}

// respiratorSettings are its scalars. The bounds keep the answer fail-safe: a sensor
// may not be mute for long, and a lamp may not flicker.
var respiratorSettings = []setting{
	{"respirator.timeout", "the program of [respirator] on_change is ended after it, 1s to 1m",
		func(f *file) *string { return f.Respirator.Timeout },
		func(c *Config) string { return c.Respirator.Timeout.String() },
		func(c *Config, v string) error {
			return setBetween(&c.Respirator.Timeout, v, time.Second, time.Minute)
		}},
	{"respirator.repeat_every", "run that program again without a change, 10s to 1h; 0s: never",
		func(f *file) *string { return f.Respirator.RepeatEvery },
		func(c *Config) string { return c.Respirator.RepeatEvery.String() },
		func(c *Config, v string) error {
			if v == "0" || v == "0s" {
				c.Respirator.RepeatEvery = 0
				return nil
			}
			return setBetween(&c.Respirator.RepeatEvery, v, 10*time.Second, time.Hour)
		}},
	{"respirator.stale_after", "a sensor without a usable reading for longer counts as lost, 3s to 2m",
		func(f *file) *string { return f.Respirator.StaleAfter },
		func(c *Config) string { return c.Respirator.StaleAfter.String() },
		func(c *Config, v string) error {
			return setBetween(&c.Respirator.StaleAfter, v, 3*time.Second, 2*time.Minute)
		}},
	{"respirator.settle", "\"not shown to be needed\" must hold for so long before it is said, 10s to 1h",
		func(f *file) *string { return f.Respirator.Settle },
		func(c *Config) string { return c.Respirator.Settle.String() },
		func(c *Config, v string) error {
			return setBetween(&c.Respirator.Settle, v, 10*time.Second, time.Hour)
		}},
}

func setBetween(into *time.Duration, v string, least, most time.Duration) error {
	d, err := time.ParseDuration(v)
	if err != nil || d < least || d > most {
		return fmt.Errorf("%q: give a time from %s to %s", v, least, most)
	}
	*into = d
	return nil
}

// check looks at the program. Whether it is there is found out when it is run, so
// that a configuration can be read on another computer.
func (r Respirator) check() error {
	if r.OnChange != nil && (len(r.OnChange) == 0 || strings.TrimSpace(r.OnChange[0]) == "") {
		return fmt.Errorf("[respirator] on_change names no program: write it as in on_change = [\"/usr/local/bin/lamp\"]")
	}
	return nil
}
