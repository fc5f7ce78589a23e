package config

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
)

// Config is every setting after flags, environment, file and defaults.
type Config struct {
	Path  string // the file read; "" if there was none
	Store string
	Shop  Shop
	// CommitEvery is how often collected readings are committed to the store.
	CommitEvery time.Duration
	Metrics     string // host:port at which a collector offers metrics and health; "" for nowhere
	Forward     Forward
	Serve       Serve
	Sensors     []Sensor
	Limits      []Limit           // the user's own, beside the built-in table
	Materials   map[string]string // material of the diary → group of woods
	Respirator  Respirator
	MQTT        MQTT
	Collectors  []Collector // by name of the setup

	origins map[string]string
	text    []byte // of the file
}

// Forward says where readings are copied to, and with which right. The token
// itself is no setting: it must not be shown.
type Forward struct {
	To        string        // influx://host:8086/database, or "" for nowhere
	Every     time.Duration // how often to look for new readings
	TokenFile string        // file that holds the token, read if DUSTLOG_INFLUX_TOKEN is not set
	Org       string        // organisation, only for servers from 2 on
}

// Shop is what is true of the place and the people working there.
type Shop struct {
	Name           string
	Language       string // tag of the language that reports are in
	Zone           *time.Location
	Shift          string   // "08:00-16:30", or "" if shifts are taken from the readings
	Limit          string   // id of the exposure limit
	AlsoLimits     []string // ids of limits judged beside it
	LongShifts     string   // "none" or "brief_scala"
	MassScale      MassScale
	SmallestChange float64 // smallest reduction that matters, in percent
}

// MassScale says which field is used of sensors that send two mass scales.
type MassScale string

// The mass scales. Both are always stored.
const (
	Industrial  MassScale = "industrial"  // CF=1, meant by the makers for industrial air
	Atmospheric MassScale = "atmospheric" // meant by the makers for outdoor air
)

// Sensor is one sensor to collect from.
type Sensor struct {
	Name  string `toml:"name"`
	Model string `toml:"model"`
	Port  string `toml:"port"`
	// USBSerial and USBPath find the port whatever its name is: by the adapter's
	// serial number, or by the socket it is plugged into. Port may then be left out.
	USBSerial string  `toml:"usb_serial"`
	USBPath   string  `toml:"usb_path"`
	Position  string  `toml:"position"`
	Mode      string  `toml:"mode"` // Active, Passive or "", which is Active
	Duty      string  `toml:"duty"` // as in "60s/5m": on for 60 s of every 5 min; "": always on
	Factor    *Factor `toml:"factor"`
	// HumidityKappa is how strongly the dust takes up water, 0 to 2, where that was
	// measured for this dust; nil for no correction. It changes no finding.
	HumidityKappa *float64 `toml:"humidity_kappa"`
}

// DutyCycle reads Duty: how long the sensor is on, and how long from one start to the
// next; zeros if it is always on.
func (s Sensor) DutyCycle() (on, every time.Duration, err error) {
	if s.Duty == "" {
		return 0, 0, nil
	}
	first, second, _ := strings.Cut(s.Duty, "/")
	on, err1 := time.ParseDuration(strings.TrimSpace(first))
	every, err2 := time.ParseDuration(strings.TrimSpace(second))
	if err1 != nil || err2 != nil || on < 10*time.Second || every < on+10*time.Second || every > time.Hour {
		return 0, 0, fmt.Errorf("duty %q: give the time on and the time from start to start, as in \"60s/5m\": at least 10s on and 10s off, at most 1h", s.Duty)
	}
	return on, every, nil
}

// The modes of a sensor that can do both: it talks by itself, or only when asked.
const (
	Active  = "active"
	Passive = "passive"
)

// place is what names the sensor's port.
func (s Sensor) place() string {
	for _, p := range []struct{ key, value string }{{"port", s.Port}, {"usb_path", s.USBPath}, {"usb_serial", s.USBSerial}} {
		if p.value != "" {
			return p.key + " " + p.value
		}
	}
	return ""
}

// Factor is a gravimetric calibration of one sensor against filter samples.
type Factor struct {
	Factor             float64 `toml:"factor"`
	Fraction           string  `toml:"fraction"`
	Metric             string  `toml:"metric"` // channel it holds for; "" for any
	SpreadPercent      float64 `toml:"spread_percent"`
	UncertaintyPercent float64 `toml:"uncertainty_percent"` // of one new shift, 95 %
	Pairs              int     `toml:"pairs"`
	Material           string  `toml:"material"`
	Task               string  `toml:"task"`
	Date               string  `toml:"date"`
	ValidFrom          string  `toml:"valid_from"` // first day, as in "2026-02-01"
	Expires            string  `toml:"expires"`    // last day
	Source             string  `toml:"source"`
}

// Check says what is wrong with the factor; nil if nothing is.
func (f *Factor) Check() error {
	switch {
	case f.Factor <= 0 || f.Fraction == "" || f.Source == "" || f.Date == "":
		return errors.New("a factor needs factor > 0, fraction, date and source")
	case f.SpreadPercent < 0 || f.UncertaintyPercent < 0 || f.Pairs < 0:
		return errors.New("a factor's spread_percent, uncertainty_percent and pairs must not be below zero")
	}
	for _, day := range []struct{ key, text string }{{"valid_from", f.ValidFrom}, {"expires", f.Expires}} {
		if _, err := time.Parse(time.DateOnly, day.text); day.text != "" && err != nil {
			return fmt.Errorf("%s %q is no day: write it as in \"2026-02-01\"", day.key, day.text)
		}
	}
	return nil
}

// file mirrors the TOML file.
type file struct {
	Store *string `toml:"store"`
	Shop  struct {
		Name           *string  `toml:"name"`
		Language       *string  `toml:"language"`
		Zone           *string  `toml:"zone"`
		Shift          *string  `toml:"shift"`
		Limit          *string  `toml:"limit"`
		AlsoLimits     *string  `toml:"also_limits"`
		LongShifts     *string  `toml:"long_shifts"`
		MassScale      *string  `toml:"mass_scale"`
		SmallestChange *float64 `toml:"smallest_change_percent"`
	} `toml:"shop"`
	Collect struct {
		CommitEvery *string `toml:"commit_every"`
		Metrics     *string `toml:"metrics"`
	} `toml:"collect"`
	Forward struct {
		To        *string `toml:"to"`
		Every     *string `toml:"every"`
		TokenFile *string `toml:"token_file"`
		Org       *string `toml:"org"`
	} `toml:"forward"`
	Serve      serveFile            `toml:"serve"`
	Respirator respiratorFile       `toml:"respirator"`
	MQTT       mqttFile             `toml:"mqtt"`
	Sensor     []Sensor             `toml:"sensor"`
	Limit      []Limit              `toml:"limit"`
	Materials  map[string]string    `toml:"materials"`
	Collector  map[string]Collector `toml:"collector"`
}

// ErrFile marks an error in the configuration file itself, ErrSetting a setting
// with an impossible value that came from elsewhere.
var (
	ErrFile    = errors.New("configuration file")
	ErrSetting = errors.New("setting")
)

// read parses a file strictly: an unknown key is an error with its place.
func read(path string) (f file, text []byte, err error) {
	text, err = os.ReadFile(path)
	if err != nil {
		if errors.Is(err, fs.ErrNotExist) {
			return f, nil, fmt.Errorf("%w %s does not exist", ErrFile, path)
		}
		return f, nil, fmt.Errorf("%w: %w", ErrFile, err)
	}
	err = toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields().Decode(&f)
	var strict *toml.StrictMissingError
	var wrong *toml.DecodeError
	switch {
	case errors.As(err, &strict):
		first := strict.Errors[0]
		line, column := first.Position()
		return f, nil, fmt.Errorf("%w %s:%d:%d: unknown key %q", ErrFile, path, line, column, strings.Join(first.Key(), "."))
	case errors.As(err, &wrong):
		line, column := wrong.Position()
		return f, nil, fmt.Errorf("%w %s:%d:%d: %s", ErrFile, path, line, column, strings.TrimPrefix(wrong.Error(), "toml: "))
	case err != nil:
		return f, nil, fmt.Errorf("%w %s: %w", ErrFile, path, err)
	}
	return f, text, nil
}
