package config

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/words"
)

// Where a setting came from.
const (
	fromDefault = "default"
	fromFlag    = "flag"
)

// Sources are what Load reads. The zero Sources give the defaults.
type Sources struct {
	Path        string                      // file named by --config; must exist
	DefaultPath string                      // file read if it exists and Path is ""
	LookupEnv   func(string) (string, bool) // nil: no environment
	Flags       map[string]string           // setting name → value, only those given
	// Default store path.
	Store string
}

// setting is one scalar setting. Its name is its place in the file; in the
// environment it is DUSTLOG_ with that name in capitals and "_" for ".".
type setting struct {
	name   string
	help   string
	inFile func(*file) *string
	get    func(*Config) string
	set    func(*Config, string) error
}

func (s setting) variable() string {
	return "DUSTLOG_" + strings.ToUpper(strings.ReplaceAll(s.name, ".", "_"))
}

var settings = slices.Concat([]setting{
	{"store", "path of the store",
		func(f *file) *string { return f.Store },
		func(c *Config) string { return c.Store },
		func(c *Config, v string) error { c.Store = v; return nil }},
	{"shop.name", "name printed on reports",
		func(f *file) *string { return f.Shop.Name },
		func(c *Config) string { return c.Shop.Name },
		func(c *Config, v string) error { c.Shop.Name = v; return nil }},
	{"shop.language", "language of reports and of pictures drawn by plot: \"en\" or \"de\"",
		func(f *file) *string { return f.Shop.Language },
		func(c *Config) string { return c.Shop.Language }, setLanguage},
	{"shop.zone", "time zone of days and shifts, as in the IANA time zone database",
		func(f *file) *string { return f.Shop.Zone },
		func(c *Config) string { return c.Shop.Zone.String() }, setZone},
	{"shop.shift", "working hours, as in \"08:00-16:30\"",
		func(f *file) *string { return f.Shop.Shift },
		func(c *Config) string { return c.Shop.Shift },
		func(c *Config, v string) error { c.Shop.Shift = v; return nil }},
	{"shop.limit", "id of the exposure limit",
		func(f *file) *string { return f.Shop.Limit },
		func(c *Config) string { return c.Shop.Limit },
		func(c *Config, v string) error { c.Shop.Limit = v; return nil }},
	{"shop.also_limits", "ids of more limits to judge, as in \"uk-soft, us-niosh-rel\"",
		func(f *file) *string { return f.Shop.AlsoLimits },
		func(c *Config) string { return strings.Join(c.Shop.AlsoLimits, ", ") },
		func(c *Config, v string) error { c.Shop.AlsoLimits = splitList(v); return nil }},
	{"shop.long_shifts", "lower 8-h limits in longer shifts and weeks: \"none\" or \"brief_scala\"",
		func(f *file) *string { return f.Shop.LongShifts },
		func(c *Config) string { return c.Shop.LongShifts },
		func(c *Config, v string) error { c.Shop.LongShifts = v; return nil }},
	{"shop.mass_scale", "\"industrial\" or \"atmospheric\", for sensors that send both",
		func(f *file) *string { return f.Shop.MassScale },
		func(c *Config) string { return string(c.Shop.MassScale) }, setMassScale},
	{"shop.smallest_change_percent", "smallest reduction that matters, in percent",
		func(f *file) *string { return number(f.Shop.SmallestChange) },
		func(c *Config) string { return strconv.FormatFloat(c.Shop.SmallestChange, 'g', -1, 64) }, setSmallestChange},
	{"collect.commit_every", "time between commits, 1s to 60s",
		func(f *file) *string { return f.Collect.CommitEvery },
		func(c *Config) string { return c.CommitEvery.String() }, setCommitEvery},
	{"collect.metrics", "host:port at which metrics and health are offered, without a password; empty for nowhere",
		func(f *file) *string { return f.Collect.Metrics },
		func(c *Config) string { return c.Metrics },
		func(c *Config, v string) error { c.Metrics = v; return nil }},
	{"forward.to", "where readings are copied to, as in influx://host:8086/database",
		func(f *file) *string { return f.Forward.To },
		func(c *Config) string { return c.Forward.To },
		func(c *Config, v string) error { c.Forward.To = v; return nil }},
	{"forward.every", "time between looks for new readings to copy, 1s to 1h",
		func(f *file) *string { return f.Forward.Every },
		func(c *Config) string { return c.Forward.Every.String() }, setForwardEvery},
	{"forward.token_file", "file that holds the InfluxDB token, unless DUSTLOG_INFLUX_TOKEN does",
		func(f *file) *string { return f.Forward.TokenFile },
		func(c *Config) string { return c.Forward.TokenFile },
		func(c *Config, v string) error { c.Forward.TokenFile = v; return nil }},
	{"forward.org", "InfluxDB organisation, only for servers from 2 on",
		func(f *file) *string { return f.Forward.Org },
		func(c *Config) string { return c.Forward.Org },
		func(c *Config, v string) error { c.Forward.Org = v; return nil }},
}, respiratorSettings, serveSettings, mqttSettings)

func number(x *float64) *string {
	if x == nil {
		return nil
	}
	s := strconv.FormatFloat(*x, 'g', -1, 64)
	return &s
}

func setLanguage(c *Config, v string) error {
	p, err := words.In(v)
	if err != nil {
		return err
	}
	c.Shop.Language = p.Tag()
	return nil
}

func setZone(c *Config, v string) error {
	zone, err := time.LoadLocation(v)
	if err != nil {
		return fmt.Errorf("%q is not in the IANA time zone database", v)
	}
	c.Shop.Zone = zone
	return nil
}

func setMassScale(c *Config, v string) error {
	c.Shop.MassScale = MassScale(v)
	if c.Shop.MassScale != Industrial && c.Shop.MassScale != Atmospheric {
		return fmt.Errorf("%q: use %q or %q", v, Industrial, Atmospheric)
	}
	return nil
}

func setSmallestChange(c *Config, v string) error {
	x, err := strconv.ParseFloat(v, 64)
	if err != nil || !(x > 0 && x < 100) {
		return fmt.Errorf("%q: give a number between 0 and 100", v)
	}
	c.Shop.SmallestChange = x
	return nil
}

func setCommitEvery(c *Config, v string) error {
	d, err := time.ParseDuration(v)
	if err != nil || d < time.Second || d > time.Minute {
		return fmt.Errorf("%q: give a time from 1s to 60s", v)
	}
	c.CommitEvery = d
	return nil
}

func setForwardEvery(c *Config, v string) error {
	d, err := time.ParseDuration(v)
	if err != nil || d < time.Second || d > time.Hour {
		return fmt.Errorf("%q: give a time from 1s to 1h", v)
	}
	c.Forward.Every = d
	return nil
}

// DefaultLimit is used where the user has chosen none. Of the general wood-dust
// limits in the table it is one of the two lowest.
const DefaultLimit = "us-acgih-other"

// Load merges the sources. Errors in the file wrap ErrFile and name line and
// column; other errors name the setting and where it came from.
func Load(src Sources) (Config, error) {
	c := Config{
		Store:       src.Store,
		CommitEvery: 10 * time.Second,
		Forward:     Forward{Every: time.Minute},
		Serve:       Serve{Address: DefaultServeAddress},
		Respirator:  defaultRespirator(),
		Shop:        Shop{Language: "en", Zone: time.Local, Limit: DefaultLimit, LongShifts: "none", MassScale: Industrial, SmallestChange: 30},
		origins:     map[string]string{},
	}
	f, err := c.readFile(src)
	if err != nil {
		return c, err
	}
	for _, s := range settings {
		if err := c.applyOne(s, &f, src); err != nil {
			return c, err
		}
	}
	c.Sensors, c.Limits, c.Materials = f.Sensor, f.Limit, f.Materials
	c.Respirator.OnChange = f.Respirator.OnChange
	if err := c.Respirator.check(); err != nil {
		return c, fmt.Errorf("%w %s: %w", ErrFile, c.Path, err)
	}
	if c.Collectors, err = collectors(f.Collector, c.Shop.Zone); err != nil {
		return c, fmt.Errorf("%w %s: %w", ErrFile, c.Path, err)
	}
	return c, c.checkSensors()
}

func (c *Config) readFile(src Sources) (file, error) {
	path := src.Path
	if path == "" && src.LookupEnv != nil {
		path, _ = src.LookupEnv("DUSTLOG_CONFIG")
	}
	if path == "" {
		if _, err := os.Stat(src.DefaultPath); src.DefaultPath == "" || errors.Is(err, fs.ErrNotExist) {
			return file{}, nil
		}
		path = src.DefaultPath
	}
	c.Path = path
	f, text, err := read(path)
	c.text = text
	return f, err
}

func (c *Config) applyOne(s setting, f *file, src Sources) error {
	c.origins[s.name] = fromDefault
	value, origin := s.inFile(f), c.Path
	if src.LookupEnv != nil {
		if v, ok := src.LookupEnv(s.variable()); ok {
			value, origin = &v, s.variable()
		}
	}
	if v, ok := src.Flags[s.name]; ok {
		value, origin = &v, fromFlag
	}
	if value == nil {
		return nil
	}
	c.origins[s.name] = origin
	inFile := origin == c.Path && origin != ""
	if s.name == "store" && inFile && !filepath.IsAbs(*value) {
		// A file means the same wherever the program is started.
		beside := filepath.Join(filepath.Dir(c.Path), *value)
		value = &beside
	}
	err := s.set(c, *value)
	switch {
	case err == nil:
		return nil
	case inFile:
		return fmt.Errorf("%w %s: %s: %w", ErrFile, lineOf(c.Path, s.name), s.name, err)
	}
	return fmt.Errorf("%w: %s (from %s): %w", ErrSetting, s.name, origin, err)
}

// lineOf is path:line of a setting in the file.
func lineOf(path, name string) string {
	text, err := os.ReadFile(path)
	if err != nil {
		return path
	}
	key := name[strings.LastIndex(name, ".")+1:]
	for i, line := range strings.Split(string(text), "\n") {
		if left, _, ok := strings.Cut(line, "="); ok && strings.TrimSpace(left) == key {
			return fmt.Sprintf("%s:%d", path, i+1)
		}
	}
	return path
}

func (c *Config) checkSensors() error {
	names, ports := map[string]bool{}, map[string]string{}
	for i, s := range c.Sensors {
		at := fmt.Sprintf("%s: sensor %d", c.Path, i+1)
		switch {
		case s.Name == "":
			return fmt.Errorf("%w %s has no name", ErrFile, at)
		case names[s.Name]:
			return fmt.Errorf("%w %s: a sensor named %q is there already", ErrFile, at, s.Name)
		case s.Model == "" || s.place() == "" || s.Position == "":
			return fmt.Errorf("%w %s (%q) needs model, position, and port, usb_serial or usb_path", ErrFile, at, s.Name)
		case ports[s.place()] != "":
			return fmt.Errorf("%w %s: sensors %q and %q name the same %s", ErrFile, at, ports[s.place()], s.Name, s.place())
		case s.Mode != "" && s.Mode != Active && s.Mode != Passive:
			return fmt.Errorf("%w %s (%q): mode %q: use %q or %q", ErrFile, at, s.Name, s.Mode, Active, Passive)
		case s.HumidityKappa != nil && !(*s.HumidityKappa >= 0 && *s.HumidityKappa <= 2):
			return fmt.Errorf("%w %s (%q): humidity_kappa %g: give 0 to 2, and only one that was measured for this dust", ErrFile, at, s.Name, *s.HumidityKappa)
		}
		if s.Factor != nil {
			if err := s.Factor.Check(); err != nil {
				return fmt.Errorf("%w %s (%q): %w", ErrFile, at, s.Name, err)
			}
		}
		if _, _, err := s.DutyCycle(); err != nil {
			return fmt.Errorf("%w %s (%q): %w", ErrFile, at, s.Name, err)
		}
		names[s.Name], ports[s.place()] = true, s.Name
	}
	return nil
}

// Origin says where a setting came from: a file, a variable, "flag" or "default".
func (c Config) Origin(name string) string { return cmp.Or(c.origins[name], fromDefault) }

// Setting is one scalar setting as it ended up.
type Setting struct {
	Name, Value, Origin, Variable, Help string
}

// Scalars lists the scalar settings in a fixed order.
func (c Config) Scalars() []Setting {
	var all []Setting
	for _, s := range settings {
		all = append(all, Setting{Name: s.name, Value: s.get(&c), Origin: c.Origin(s.name), Variable: s.variable(), Help: s.help})
	}
	return all
}
