package exposure

import (
	"regexp"
	"slices"
	"strings"

	"dustlog/internal/words"
)

// Groups of wood that limits are made for, as Limit.Species.
const (
	speciesAny       = "any"
	speciesRedCedar  = "western_red_cedar"
	speciesNotCedar  = "any_except_western_red_cedar"
	speciesAllergen  = "allergenic"
	speciesNoAllerg  = "non_allergenic"
	speciesHardMixed = "hardwood_or_mixed"
	speciesHard      = "hardwood"
	speciesSoft      = "softwood"
	speciesNotWood   = "not_wood"
	speciesGeneral   = "not_wood_specific" // a general dust limit that holds beside others
)

var speciesGroups = []string{speciesAny, speciesHard, speciesHardMixed, speciesSoft, speciesRedCedar, speciesNotCedar,
	speciesAllergen, speciesNoAllerg, speciesGeneral}

// Wood is what rules on wood dust ask about a material. A board or a mix can be
// hard and soft at once. The zero Wood is a material nobody knows.
type Wood struct {
	Hard, Soft, Allergenic, RedCedar bool
}

// Known reports whether anything is known about the material.
func (w Wood) Known() bool { return w != Wood{} }

// Genera by their common names. Hardwood and softwood as botany and IARC
// Monographs volume 62 (1995) divide them (list from memory; the EU directive on
// carcinogens refers to it for its examples of hardwoods). Allergenic: cedar,
// mahogany and teak, the examples of WAC 296-841-20025 (from memory). The longest
// name that fits counts, so "kauri pine" is no pine.
var (
	hardwoods = []string{"alder", "aspen", "ash", "basswood", "balsa", "beech", "birch", "boxwood", "cherry", "chestnut", "ebony", "elm",
		"hickory", "hornbeam", "iroko", "kauri pine", "lime", "linden", "mahogany", "maple", "meranti", "oak", "obeche", "padauk", "pear",
		"plum", "poplar", "robinia", "rosewood", "sycamore", "teak", "walnut", "wenge", "willow", "hardwood"}
	softwoods = []string{"cedar", "cypress", "douglas fir", "fir", "hemlock", "larch", "pine", "redwood", "sequoia", "spruce", "thuja", "yew", "softwood"}
	// Boards may hold anything, so they count as a mix of hard and soft.
	boards     = []string{"chipboard", "fibreboard", "fiberboard", "hardboard", "laminate", "mdf", "hdf", "osb", "particle board", "particleboard", "plywood", "ply", "mixed"}
	allergens  = []string{"cedar", "thuja", "mahogany", "teak"}
	redCedars  = []string{"western red cedar", "red cedar", "thuja plicata", "thuja"}
	notCedars  = []string{"spanish cedar", "cedar of lebanon", "white cedar", "yellow cedar", "incense cedar"} // other genera
	woodsNamed = slices.Concat(hardwoods, softwoods, boards, redCedars, notCedars)
)

var between = regexp.MustCompile(`\s*(?:,|;|\+|/|&|\band\b|\bwith\b)\s*`)

// WoodOf reads a material of the diary, as in "oak" or "oak and pine". own are a
// user's names for materials, each with one of the groups hardwood, softwood,
// hardwood_or_mixed, allergenic or western_red_cedar. ok is false if some part of
// the text is not known: then nothing may be concluded from what it lacks.
func WoodOf(material string, own map[string]string) (w Wood, ok bool) {
	ok = true
	for part := range strings.SplitSeq(between.ReplaceAllString(strings.ToLower(material), ","), ",") {
		part = strings.TrimSpace(part)
		if part == "" {
			continue
		}
		one := woodNamed(part, own)
		ok = ok && one.Known()
		w = Wood{w.Hard || one.Hard, w.Soft || one.Soft, w.Allergenic || one.Allergenic, w.RedCedar || one.RedCedar}
	}
	return w, ok && w.Known()
}

func woodNamed(name string, own map[string]string) Wood {
	for material, group := range own {
		if strings.EqualFold(strings.TrimSpace(material), name) {
			return woodOfGroup(group)
		}
	}
	longest := ""
	for _, wood := range woodsNamed {
		if len(wood) > len(longest) && wholeWord(name, wood) {
			longest = wood
		}
	}
	is := func(list []string) bool { return slices.Contains(list, longest) }
	w := Wood{Hard: is(hardwoods), Soft: is(softwoods) || is(redCedars) || is(notCedars)}
	if longest == "spanish cedar" { // Cedrela, a broad-leaved tree
		w = Wood{Hard: true}
	}
	if is(boards) {
		w = Wood{Hard: true, Soft: true}
	}
	w.Allergenic = is(allergens) || is(redCedars)
	// Plain "cedar" may be any: the strictest is taken.
	w.RedCedar = is(redCedars) || longest == "cedar"
	return w
}

// wholeWord reports whether text holds word, perhaps in the plural, not inside
// another word: "ash" is not in "washed".
func wholeWord(text, word string) bool {
	words := strings.FieldsFunc(text, func(r rune) bool { return !(r >= 'a' && r <= 'z') })
	want := strings.Fields(word)
	for i := 0; i+len(want) <= len(words); i++ {
		if slices.EqualFunc(words[i:i+len(want)], want, func(a, b string) bool { return a == b || a == b+"s" }) {
			return true
		}
	}
	return false
}

func woodOfGroup(group string) Wood {
	switch group {
	case speciesHard:
		return Wood{Hard: true}
	case speciesSoft:
		return Wood{Soft: true}
	case speciesHardMixed:
		return Wood{Hard: true, Soft: true}
	case speciesAllergen:
		return Wood{Hard: true, Allergenic: true}
	case speciesRedCedar:
		return Wood{Soft: true, Allergenic: true, RedCedar: true}
	}
	return Wood{}
}

// MaterialGroups are the groups that a user may give a material.
func MaterialGroups() []string {
	return []string{speciesHard, speciesSoft, speciesHardMixed, speciesAllergen, speciesRedCedar}
}

// Bearing says whether a limit is the one for the wood that was worked.
type Bearing string

// The bearings.
const (
	Applies      Bearing = "applies"
	DoesNotApply Bearing = "does not apply"
	NotKnown     Bearing = "not known"
)

// bearing decides it. w is all that was worked, known whether every material
// could be read and something was written down at all. Where hardwood is in the
// mix, its limit holds for the whole dust (EU, UK and German rules).
func (l Limit) bearing(w Wood, known bool, worked []string) (Bearing, words.Text) {
	if l.Species == speciesAny || l.Species == speciesGeneral {
		return Applies, words.Text{}
	}
	if l.Species == speciesNotWood {
		return DoesNotApply, words.Of("it is not for wood dust")
	}
	yes, no := w.has(l.Species)
	names := strings.Join(worked, ", ")
	switch {
	case yes && (known || !l.fallsWithMore()):
		return Applies, words.Text{}
	case !no.IsZero() && (known || l.fallsWithMore()):
		return DoesNotApply, words.Of("%s, and %s was worked", no, names)
	case len(worked) == 0:
		return NotKnown, words.Of("the diary names no material")
	}
	return NotKnown, words.Of("what kind of wood %q is, is not known: add it under [materials] in the configuration", names)
}

// fallsWithMore reports whether one more wood in the mix can end the limit's
// bearing: the higher limits of pairs.
func (l Limit) fallsWithMore() bool {
	return l.Species == speciesSoft || l.Species == speciesNotCedar || l.Species == speciesNoAllerg
}

// has reports whether the wood falls under a group, or else why not.
func (w Wood) has(group string) (yes bool, no words.Text) {
	switch group {
	case speciesHard, speciesHardMixed:
		yes, no = w.Hard, words.Of("it is for hardwood")
	case speciesSoft:
		yes, no = w.Soft && !w.Hard, words.Of("it is for softwood alone")
	case speciesRedCedar:
		yes, no = w.RedCedar, words.Of("it is for western red cedar")
	case speciesNotCedar:
		yes, no = w.Known() && !w.RedCedar, words.Of("it does not hold for western red cedar, which has a lower one")
	case speciesAllergen:
		yes, no = w.Allergenic, words.Of("it is for allergenic woods")
	case speciesNoAllerg:
		yes, no = w.Known() && !w.Allergenic, words.Of("it does not hold for allergenic woods, which have a lower one")
	}
	if yes || !w.Known() {
		no = words.Text{}
	}
	return yes, no
}
