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
	from, to time.Time // to is zero while it lasts
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

// spells cuts the periods so that they never overlap (the one declared later
// wins), joins those that continue the same setup and numbers the groups.
func spells(periods []dust.SetupPeriod) []spell {
	sorted := sortedPeriods(periods)
	var out []spell
	for i, p := range sorted {
		to := p.To
		if i+1 < len(sorted) && (to.IsZero() || sorted[i+1].From.Before(to)) {
			to = sorted[i+1].From
		}
		if !to.IsZero() && !to.After(p.From) {
			continue
		}
		out = appendSpell(out, spell{setup: p.Setup, from: p.From, to: to})
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
