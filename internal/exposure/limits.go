package exposure

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"
	"sync"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// Averaging is the time over which a limit's mean is taken.
type Averaging string

// The averaging times.
const (
	EightHours     Averaging = "8 h"
	TenHours       Averaging = "10 h" // a workday of up to 10 h, see TWAHours
	FifteenMinutes Averaging = "15 min"
	FullDay        Averaging = "24 h"
	FullYear       Averaging = "annual"
)

// Limit is one published limit or guideline, as of a date. What was printed is
// kept beside what the program works with.
type Limit struct {
	ID           string `json:"id"`
	Jurisdiction string `json:"jurisdiction"`
	Body         string `json:"body"`
	Agent        string `json:"agent"`
	Species      string `json:"species_group"`
	// MgM3 is 0 where the source prints a rule instead of a number; such a limit
	// is not Assessable.
	MgM3             float64   `json:"limit_mg_m3,omitempty"`
	ValuePrinted     string    `json:"value_as_printed"`
	Fraction         Fraction  `json:"fraction"`
	FractionPrinted  string    `json:"fraction_as_printed"`
	Averaging        Averaging `json:"averaging"`
	AveragingPrinted string    `json:"averaging_as_printed"`
	Kind             string    `json:"kind"`
	LegalStatus      string    `json:"legal_status"`
	Source           Source    `json:"source"`
	AsOf             string    `json:"as_of"`
	Doubtful         bool      `json:"doubtful"`    // check with the issuing body first
	FromMemory       bool      `json:"from_memory"` // not looked up again for this table
	Ambient          bool      `json:"ambient"`     // made for outdoor air: a comparison line only
	Own              bool      `json:"own"`         // given by the user, not from the built-in table
	Notes            string    `json:"notes"`
}

// Source is where a limit is published.
type Source struct {
	Document string `json:"document"`
	Clause   string `json:"clause"`
	Year     string `json:"year"`
}

// dust names what the limit is for.
func (l Limit) dust() words.Text {
	if l.Fraction == NotStatedFraction {
		return words.Of("dust of a fraction that is not stated")
	}
	return words.Of("%s dust", FractionText(l.FractionPrinted))
}

// Label names the limit for people: value, fraction, averaging time and body.
func (l Limit) Label() string {
	return fmt.Sprintf("%s %s %s, %s (%s)", l.Body, l.ValuePrinted, l.FractionPrinted, l.AveragingPrinted, l.ID)
}

// Assessable says why a shift cannot be judged against the limit: nil means
// it can. Only limits for work, over 8 h, 10 h or 15 min and with a number, can.
func (l Limit) Assessable() error {
	switch {
	case l.Ambient || l.Averaging == FullDay || l.Averaging == FullYear:
		return fmt.Errorf("limit %q (%s, %s) is listed for comparison only: it was set for outdoor air over a day or a year, not for a work shift; choose one with an averaging time of 8 h, 10 h or 15 min from `dustlog limits`",
			l.ID, l.Body, l.AveragingPrinted)
	case l.Averaging != EightHours && l.Averaging != TenHours && l.Averaging != FifteenMinutes:
		return fmt.Errorf("limit %q has no averaging time a shift can be compared with (%q)", l.ID, l.Averaging)
	case !(l.MgM3 > 0) || !finite(l.MgM3):
		return fmt.Errorf("limit %q is a rule (%s), not a number: work the number out and choose the 8-h limit it is taken from in `dustlog limits`",
			l.ID, l.Kind)
	}
	return nil
}

//go:embed limits/limits.json
var limitsJSON []byte

type limitRecord struct {
	ID           string   `json:"id"`
	Jurisdiction string   `json:"jurisdiction"`
	Body         string   `json:"body"`
	Agent        string   `json:"agent"`
	Species      string   `json:"species_group"`
	Value        *float64 `json:"value"`
	Unit         string   `json:"unit"`
	Fraction     string   `json:"fraction"`
	Averaging    string   `json:"averaging"`
	Kind         string   `json:"kind"`
	LegalStatus  string   `json:"legal_status"`
	Source       Source   `json:"source"`
	Provenance   string   `json:"provenance"`
	Doubtful     bool     `json:"doubtful"`
	Notes        string   `json:"notes"`
}

var limitTable = sync.OnceValues(func() ([]Limit, error) { return parseLimits(limitsJSON) })

func parseLimits(data []byte) ([]Limit, error) {
	var file struct {
		AsOf   string        `json:"as_of"`
		Limits []limitRecord `json:"limits"`
	}
	if err := json.Unmarshal(data, &file); err != nil {
		return nil, fmt.Errorf("read the table of limits: %w", err)
	}
	if _, err := time.Parse("2006-01", file.AsOf); err != nil {
		return nil, fmt.Errorf("read the table of limits: it is not dated: %w", err)
	}
	table := make([]Limit, 0, len(file.Limits))
	for _, record := range file.Limits {
		l, err := record.limit(file.AsOf)
		if err != nil {
			return nil, fmt.Errorf("read the table of limits: limit %q: %w", record.ID, err)
		}
		table = append(table, l)
	}
	return table, nil
}

func (r limitRecord) limit(asOf string) (Limit, error) {
	fraction, err := ParseFraction(r.Fraction)
	if err != nil {
		return Limit{}, err
	}
	averaging, err := parseAveraging(r.Averaging)
	if err != nil {
		return Limit{}, err
	}
	l := Limit{
		ID: r.ID, Jurisdiction: r.Jurisdiction, Body: r.Body, Agent: r.Agent, Species: r.Species,
		ValuePrinted: r.Unit, Fraction: fraction, FractionPrinted: r.Fraction,
		Averaging: averaging, AveragingPrinted: r.Averaging,
		Kind: r.Kind, LegalStatus: r.LegalStatus, Source: r.Source, AsOf: asOf,
		Doubtful: r.Doubtful, FromMemory: r.Provenance != "read",
		Ambient: averaging == FullDay || averaging == FullYear,
		Notes:   r.Notes,
	}
	if r.Value == nil {
		return l, nil
	}
	number := strconv.FormatFloat(*r.Value, 'g', -1, 64) + " " + r.Unit
	c, err := dust.ParseConcentration(number)
	if err != nil {
		return Limit{}, err
	}
	l.MgM3 = c.MilligramsPerM3()
	l.ValuePrinted = printed.Replace(number)
	return l, nil
}

// printed writes units with their signs.
var printed = strings.NewReplacer("ug/m3", "µg/m³", "mg/m3", "mg/m³")

// parseAveraging reads the printed averaging time by its first figure.
func parseAveraging(s string) (Averaging, error) {
	for _, known := range []struct {
		start string
		is    Averaging
	}{
		{"8 h", EightHours}, {"up to 10 h", TenHours}, {"10 h", TenHours},
		{"15 min", FifteenMinutes}, {"24 h", FullDay}, {"annual", FullYear},
	} {
		if strings.HasPrefix(s, known.start) {
			return known.is, nil
		}
	}
	return "", fmt.Errorf("unknown averaging time %q", s)
}
