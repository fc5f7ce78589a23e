package dust

import (
	"fmt"
	"strings"
	"time"
)

// Reading is what one sensor said at one moment.
type Reading struct {
	Time   time.Time // UTC, whole milliseconds
	Sensor string    // the user's name for the sensor
	Values Values
	Flags  Flags
}

// Sensor describes a sensor that readings come from.
type Sensor struct {
	Name     string   `json:"sensor"`
	Model    string   `json:"model"`
	Position Position `json:"position"`
}

// Position says where a sensor sits. It decides what its readings may speak for.
type Position string

// The positions.
const (
	BreathingZone Position = "breathing_zone" // within 30 cm of nose and mouth: speaks for the person
	Room          Position = "room"           // a fixed place in the shop
	Exhaust       Position = "exhaust"        // collector outlet or returned air: speaks for the filter
	Background    Position = "background"     // outdoors or a closed next room
	Upstream      Position = "upstream"       // before a separator or filter
	Downstream    Position = "downstream"     // behind it
)

// Positions lists every position.
func Positions() []Position {
	return []Position{BreathingZone, Room, Exhaust, Background, Upstream, Downstream}
}

// ParsePosition reads a position's name; spaces and hyphens may stand for "_".
func ParsePosition(s string) (Position, error) {
	p := Position(strings.NewReplacer(" ", "_", "-", "_").Replace(strings.ToLower(strings.TrimSpace(s))))
	var known []string
	for _, q := range Positions() {
		if p == q {
			return q, nil
		}
		known = append(known, string(q))
	}
	return "", fmt.Errorf("unknown position %q: use one of %s", s, strings.Join(known, ", "))
}

// Label is the position's name for people.
func (p Position) Label() string { return strings.ReplaceAll(string(p), "_", " ") }

// Query selects readings. Zero fields select everything.
type Query struct {
	Sensors  []string
	From, To time.Time // half-open: From ≤ t < To
	Channels []Channel // only these are filled in; flags always are
}

// LineQuality counts what came over one sensor's line in a stretch of time.
type LineQuality struct {
	Sensor         string    `json:"sensor"`
	From           time.Time `json:"from"`
	To             time.Time `json:"to"`
	Frames         int64     `json:"frames"`
	ChecksumErrors int64     `json:"checksum_errors"`
	OtherErrors    int64     `json:"other_errors"`
	BytesSkipped   int64     `json:"bytes_skipped"`
}

// Event is something that happened to a sensor or the store, worth keeping.
type Event struct {
	Time   time.Time `json:"time"`
	Sensor string    `json:"sensor"`
	Kind   string    `json:"kind"`
	Text   string    `json:"text"`
}
