package respirator

import (
	_ "embed"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"time"

	"dustlog/internal/words"
)

// Class is one row of a table of assigned protection factors.
type Class struct {
	Type      string  `json:"type"`
	Facepiece string  `json:"facepiece,omitempty"`
	Standard  string  `json:"standard,omitempty"`
	Filter    string  `json:"filter,omitempty"`
	Note      string  `json:"note,omitempty"`
	APF       float64 `json:"apf"`
	// WithEvidence is the factor that the maker's own evidence may give it.
	WithEvidence float64 `json:"apf_with_evidence,omitempty"`
	Tight        bool    `json:"tight"` // seals against the face
	Provenance   string  `json:"provenance"`
}

// Label names the class, as in "half mask, air-purifying" or "FFP2 (filtering half
// mask, EN 149)".
func (c Class) Label() string {
	if c.Filter != "" {
		return fmt.Sprintf("%s (%s, %s)", c.Filter, c.Type, c.Standard)
	}
	return fmt.Sprintf("%s, %s", c.Facepiece, c.Type)
}

// Table is one country's assigned protection factors.
type Table struct {
	ID           string   `json:"id"`
	Title        string   `json:"title"`
	Jurisdiction string   `json:"jurisdiction"`
	LegalStatus  string   `json:"legal_status"`
	Source       string   `json:"source"`
	Notes        []string `json:"notes"`
	Classes      []Class  `json:"classes"`
}

// Stricter is a recommendation that asks for more than limit and factor do.
type Stricter struct {
	ID         string  `json:"id"`
	Body       string  `json:"body"`
	APF        float64 `json:"apf"`
	Text       string  `json:"text"`
	Source     string  `json:"source"`
	Provenance string  `json:"provenance"`
}

// Caution is one thing to know where it matters.
type Caution struct {
	ID         string     `json:"id"`
	When       string     `json:"when"` // always, classes or loose dust
	Text       words.Text `json:"text"`
	Source     string     `json:"source"`
	Provenance string     `json:"provenance"`
}

// Factors is everything published that the package knows, as of a month.
type Factors struct {
	AsOf      string     `json:"as_of"`
	Tables    []Table    `json:"tables"`
	Elsewhere words.Text `json:"elsewhere"` // why there are no more tables
	Stricter  []Stricter `json:"stricter"`
	Cautions  []Caution  `json:"cautions"`
}

//go:embed factors.json
var factorsJSON []byte

var factors = sync.OnceValues(func() (Factors, error) { return parseFactors(factorsJSON) })

// Published returns the tables, recommendations and cautions. The error means a
// program that was built wrong.
func Published() (Factors, error) { return factors() }

func parseFactors(data []byte) (Factors, error) {
	var f Factors
	if err := json.Unmarshal(data, &f); err != nil {
		return Factors{}, fmt.Errorf("read the table of protection factors: %w", err)
	}
	if _, err := time.Parse("2006-01", f.AsOf); err != nil {
		return Factors{}, fmt.Errorf("read the table of protection factors: it is not dated: %w", err)
	}
	for _, t := range f.Tables {
		for _, c := range t.Classes {
			if !(c.APF > 1) || (c.WithEvidence != 0 && c.WithEvidence <= c.APF) {
				return Factors{}, fmt.Errorf("read the table of protection factors: %s, %s: factor %g is none", t.ID, c.Label(), c.APF)
			}
		}
	}
	for i := range f.Cautions {
		c := &f.Cautions[i]
		if c.Text = cautionText(c.ID); c.Text.IsZero() {
			return Factors{}, fmt.Errorf("read the table of protection factors: caution %q says nothing", c.ID)
		}
	}
	f.Elsewhere = elsewhere()
	return f, nil
}

// WithClasses is the When of cautions that belong beside classes of respirators.
const WithClasses = "classes"

// Matter lists the cautions that matter beside an answer: classes says that classes of
// respirators are named in it, loose that a task whirls up settled dust.
func (f Factors) Matter(classes, loose bool) []Caution {
	on := map[string]bool{"always": true, WithClasses: classes, "loose dust": loose}
	return slices.DeleteFunc(slices.Clone(f.Cautions), func(c Caution) bool { return !on[c.When] })
}
