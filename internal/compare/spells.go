package compare

import (
	"slices"
	"time"

	"dustlog/internal/dust"
)

// spell is a stretch under one setup. Spells of the same setup with no other
// setup between them share a group: a pause does not make a new session.
type spell struct {
	setup    string
	from, to time.Time // half-open; to is zero while it lasts
	group    int
}

// contains reports whether [from, to) lies within the spell.
func (s spell) contains(from, to time.Time) bool {
	return !from.Before(s.from) && (s.to.IsZero() || !to.After(s.to))
}

// overlaps reports whether [from, to) shares time with the spell.
func (s spell) overlaps(from, to time.Time) bool {
	return to.After(s.from) && (s.to.IsZero() || from.Before(s.to))
}

func sortedPeriods(periods []dust.SetupPeriod) []dust.SetupPeriod {
	sorted := slices.Clone(periods)
	slices.SortStableFunc(sorted, func(a, b dust.SetupPeriod) int { return a.From.Compare(b.From) })
	return sorted
}

// spells cuts time at every start and end of a period and asks dust.SetupAt what
// was in use between the cuts; it joins what continues the same setup and numbers
// the groups.
func spells(periods []dust.SetupPeriod) []spell {
	sorted := sortedPeriods(periods)
	var cuts []time.Time
	for _, p := range sorted {
		cuts = append(cuts, p.From)
		if !p.To.IsZero() {
			cuts = append(cuts, p.To)
		}
	}
	slices.SortFunc(cuts, time.Time.Compare)
	cuts = slices.CompactFunc(cuts, time.Time.Equal)
	var out []spell
	for i, from := range cuts {
		var to time.Time // after the last cut nothing changes any more
		if i+1 < len(cuts) {
			to = cuts[i+1]
		}
		if setup := dust.SetupAt(sorted, from); setup != "" {
			out = appendSpell(out, spell{setup: setup, from: from, to: to})
		}
	}
	return out
}

func appendSpell(list []spell, s spell) []spell {
	if len(list) == 0 {
		return append(list, s)
	}
	last := &list[len(list)-1]
	s.group = last.group
	if last.setup != s.setup {
		s.group++
	} else if last.to.Equal(s.from) {
		last.to = s.to
		return list
	}
	return append(list, s)
}
