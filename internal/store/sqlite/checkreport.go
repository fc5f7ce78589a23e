package sqlite

import (
	"slices"
	"time"

	"dustlog/internal/dust"
)

// CheckReport says in what state a store is. Its JSON keys are an interface.
type CheckReport struct {
	Schema int    `json:"schema"` // 1
	Store  string `json:"store"`
	Layout int    `json:"layout"`
	// Clean is false if a reading cannot be read or may not be what was written.
	Clean    bool           `json:"clean"`
	Problems []CheckFinding `json:"problems"`
	// Remarks cost no reading: files that are not listed, rows that a sealed day
	// has too.
	Remarks []CheckFinding `json:"remarks"`
	Doubles int64          `json:"doubles"` // rows that a sealed day has too
	// Superseded are the rows that a sealing has still to delete.
	Superseded int64         `json:"superseded"`
	Sensors    []CheckSensor `json:"sensors"`
	Days       []CheckDay    `json:"days"`
}

// CheckFinding is one thing that was found.
type CheckFinding struct {
	Kind   string `json:"kind"` // database, foreign_key, rows, sealed, count, unlisted, unfinished, superseded, doubles
	Sensor string `json:"sensor,omitempty"`
	Day    string `json:"day,omitempty"`
	File   string `json:"file,omitempty"`
	Text   string `json:"text"`
}

// CheckSensor sums up one sensor.
type CheckSensor struct {
	Sensor         string    `json:"sensor"`
	Readings       int64     `json:"readings"` // that can be read, each counted once
	Rows           int64     `json:"rows"`     // of them not sealed
	SealedDays     int       `json:"sealed_days"`
	SealedReadings int64     `json:"sealed_readings"` // as listed
	SealedBytes    int64     `json:"sealed_bytes"`
	Unreadable     int64     `json:"unreadable"` // listed in files that are damaged or missing
	Doubles        int64     `json:"doubles"`    // rows that a sealed day has too
	First          time.Time `json:"first"`
	Last           time.Time `json:"last"`
	Gaps           int       `json:"gaps"`
	GapSeconds     float64   `json:"gap_s"`
}

// CheckDay is one sensor's UTC day. A gap is a time between two readings of the
// day that is longer than the hold time.
type CheckDay struct {
	Sensor     string  `json:"sensor"`
	Day        string  `json:"day"`
	Readings   int     `json:"readings"`
	Sealed     bool    `json:"sealed"`
	Readable   bool    `json:"readable"`
	Gaps       int     `json:"gaps"`
	GapSeconds float64 `json:"gap_s"`
	LongestGap float64 `json:"longest_gap_s"`
}

// gaps counts the times between readings that are longer than one and a half
// times the usual one, and than dust.DefaultHold.
func (e *CheckDay) gaps(ms []int64) {
	spacing := make([]int64, 0, len(ms))
	for i := 1; i < len(ms); i++ {
		spacing = append(spacing, ms[i]-ms[i-1])
	}
	if len(spacing) == 0 {
		return
	}
	sorted := slices.Sorted(slices.Values(spacing))
	hold := max(sorted[len(sorted)/2]*3/2, dust.DefaultHold.Milliseconds())
	for _, gap := range spacing {
		if gap > hold {
			e.Gaps++
			e.GapSeconds += float64(gap) / 1000
			e.LongestGap = max(e.LongestGap, float64(gap)/1000)
		}
	}
}
