package config

import "strings"

// Limit is one of the user's own exposure limits, [[limit]] in the file.
type Limit struct {
	ID           string `toml:"id"`
	Value        string `toml:"value"` // with its unit, as in "0.5 mg/m3"
	Fraction     string `toml:"fraction"`
	Averaging    string `toml:"averaging"` // "8 h", "10 h" or "15 min"
	Source       string `toml:"source"`    // who set it and where it can be read; required
	Jurisdiction string `toml:"jurisdiction"`
	Wood         string `toml:"wood"` // the woods it is for, as in "hardwood"; "" means any
	Notes        string `toml:"notes"`
}

// splitList reads a list like "uk-soft, us-niosh-rel".
func splitList(s string) (items []string) {
	for item := range strings.SplitSeq(s, ",") {
		if item = strings.TrimSpace(item); item != "" {
			items = append(items, item)
		}
	}
	return items
}
