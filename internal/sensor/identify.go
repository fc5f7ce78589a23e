package sensor

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Line are the settings of a serial line with 8 data bits and 1 stop bit.
type Line struct {
	Baud   int
	Parity Parity
}

// String is the usual short form, as in "9600 8N1".
func (l Line) String() string { return fmt.Sprintf("%d 8%s1", l.Baud, l.Parity) }

// Settings returns the line a model speaks on.
func (s Spec) Settings() Line { return Line{s.Baud, s.Parity} }

// Certainty says how well a guess is founded.
type Certainty uint8

// The certainties.
const (
	Possible Certainty = iota // the frames do not speak against it
	Likely                    // the values in the frames speak for it
	Certain                   // no other model here sends such frames
)

// String is the certainty for people and in JSON.
func (c Certainty) String() string {
	return [...]string{"possible", "likely", "certain"}[min(c, Certain)]
}

// Guess is a model that may be on a line.
type Guess struct {
	Model     Model
	Certainty Certainty
	Frames    int    // valid frames it rests on
	Why       string // for people
}

// enoughFrames is how many valid frames of one kind a guess needs. A 16-bit sum lets
// noise through once in 65,536 heads; twice in a row is no accident.
const enoughFrames = 2

// Identify says which models may have sent the bytes captured on a line, the best
// guess first. No guess means that no two valid frames of one kind were found. Several
// models share the 32-byte frame 42 4D 00 1C; they are told apart by what stands in it,
// as far as it goes, and what cannot be told apart is returned side by side.
func Identify(captured []byte, at Line) []Guess {
	guesses := identifyShared(captured, at)
	for i := range catalogue {
		spec := &catalogue[i].spec
		if spec.Settings() != at {
			continue
		}
		kind, n := ownFrames(&catalogue[i], captured)
		if n < enoughFrames {
			continue
		}
		g := Guess{Model: spec.Model, Certainty: Certain, Frames: n, Why: "no other model sends frames of this form"}
		switch {
		case kind != KindData && spec.Model == SDS011:
			g.Certainty, g.Why = Likely, "it answers as the SDS family does; it reports nothing by itself"
		case kind != KindData && spec.Model == SDS198:
			g.Certainty, g.Why = Possible, "it answers as the SDS family does; an SDS011 is more common"
		}
		guesses = append(guesses, g)
	}
	slices.SortStableFunc(guesses, func(a, b Guess) int { return cmp.Compare(b.Certainty, a.Certainty) })
	return guesses
}

// ownFrames counts the valid frames that only this model or its close kin send, and
// names their most frequent kind. Acknowledgements are too short to prove anything.
func ownFrames(info *modelInfo, captured []byte) (kind string, n int) {
	seen := map[string]int{}
	dec, err := newStream(info.spec.Model)
	if err != nil {
		return "", 0
	}
	count := func(f *Frame) {
		if f.Kind != KindAck && f.Kind != "nak" && !isShared(f.Raw()) {
			seen[f.Kind]++
		}
	}
	dec.Feed(captured, count)
	dec.Flush(count)
	for k, times := range seen {
		if times > n || times == n && k < kind {
			kind, n = k, times
		}
	}
	return kind, n
}

// isShared reports whether a frame is of the form that several makers use.
func isShared(raw []byte) bool { return len(raw) == autoLength && raw[0] == pmsStart1 }

// sharedFrame holds the words of a 42 4D 00 1C frame, from 1 as in the table below.
type sharedFrame [14]uint16

// identifyShared tells the models with the 42 4D 00 1C frame apart.
func identifyShared(captured []byte, at Line) []Guess {
	if at != (Line{Baud: 9600}) {
		return nil
	}
	var frames []sharedFrame
	dec, _ := newStream(PMS5003) // its frame has the form that all share
	take := func(f *Frame) {
		if raw := f.Raw(); isShared(raw) {
			var words sharedFrame
			for i := 1; i < len(words); i++ {
				words[i] = be16(raw, 2+2*i)
			}
			frames = append(frames, words)
		}
	}
	dec.Feed(captured, take)
	dec.Flush(take)
	if len(frames) < enoughFrames {
		return nil
	}
	var guesses []Guess
	for _, s := range sharers {
		if certainty, why := s.judge(frames); why != "" {
			for _, m := range s.models {
				guesses = append(guesses, Guess{m, certainty, len(frames), why})
			}
		}
	}
	if guesses != nil {
		return guesses
	}
	for _, s := range sharers {
		for _, m := range s.models {
			guesses = append(guesses, Guess{m, Possible, len(frames),
				"several models send frames of this form, and the values do not tell which: let it measure some dust, or read the label"})
		}
	}
	return guesses
}

// sharers are the models with the shared frame and what speaks for each. The marks
// follow from the layouts in this package's files and are a guess: a value that
// happens to be zero can mislead, so the user confirms.
var sharers = []struct {
	models []Model
	judge  func([]sharedFrame) (Certainty, string)
}{
	{[]Model{PMS5003, PMS7003, PMSA003, PMS1003}, func(f []sharedFrame) (Certainty, string) {
		switch {
		case !all(f, func(w sharedFrame) bool { return w[7] > 0 && falling(w[7:13]) }):
			return 0, ""
		case drifts(f):
			return Possible, "six counts fall with size, but the last word changes as formaldehyde would"
		}
		return Likely, "six counts that fall with size; these four models send the same and may be named by the label"
	}},
	{[]Model{PMS5003T}, func(f []sharedFrame) (Certainty, string) {
		switch {
		case !all(f, func(w sharedFrame) bool {
			return w[7] > 0 && falling(w[7:11]) && within(w[11], 100, 400) && within(w[12], 100, 1000)
		}):
			return 0, ""
		case all(f, func(w sharedFrame) bool { return falling(w[7:13]) }):
			return Possible, "the last two of six falling counts could also be temperature and humidity"
		}
		return Likely, "four counts that fall with size, then what looks like temperature and humidity"
	}},
	{[]Model{PMS5003S}, func(f []sharedFrame) (Certainty, string) {
		switch {
		case !all(f, func(w sharedFrame) bool { return w[7] > 0 && falling(w[7:13]) }):
			return 0, ""
		case drifts(f):
			return Likely, "six counts that fall with size, then a word that changes as formaldehyde would"
		}
		return Possible, "six counts that fall with size; the word for formaldehyde stands still"
	}},
	{[]Model{HPMA115S0}, func(f []sharedFrame) (Certainty, string) {
		if !all(f, func(w sharedFrame) bool { return w[1] == 0 && zero(w[4:13]) }) || !some(f, func(w sharedFrame) bool { return w[2]+w[3] > 0 }) {
			return 0, ""
		}
		return Likely, "only the words for PM2.5 and PM10 are in use"
	}},
	{[]Model{HPMA115C0}, func(f []sharedFrame) (Certainty, string) {
		if !all(f, func(w sharedFrame) bool { return zero(w[5:13]) }) || !some(f, func(w sharedFrame) bool { return w[1] > 0 && w[4] > 0 }) {
			return 0, ""
		}
		return Likely, "four masses and no counts"
	}},
	{[]Model{ZH06}, func(f []sharedFrame) (Certainty, string) {
		repeated := func(w sharedFrame) bool {
			return zero(w[7:13]) && (zero(w[1:4]) || slices.Equal(w[1:4], w[4:7]))
		}
		if !all(f, repeated) || !some(f, func(w sharedFrame) bool { return !zero(w[5:7]) }) {
			return 0, ""
		}
		return Likely, "three masses in the second place and no counts"
	}},
}

func all(frames []sharedFrame, is func(sharedFrame) bool) bool {
	return !slices.ContainsFunc(frames, func(w sharedFrame) bool { return !is(w) })
}

func some(frames []sharedFrame, is func(sharedFrame) bool) bool {
	return slices.ContainsFunc(frames, is)
}

func falling(words []uint16) bool {
	return slices.IsSortedFunc(words, func(a, b uint16) int { return cmp.Compare(b, a) })
}

func zero(words []uint16) bool {
	return !slices.ContainsFunc(words, func(w uint16) bool { return w != 0 })
}

func within(x, low, high uint16) bool { return low <= x && x <= high }

// drifts reports whether the last word changes, which a version number does not.
func drifts(frames []sharedFrame) bool {
	return some(frames, func(w sharedFrame) bool { return w[13] != frames[0][13] })
}

// Told puts guesses into a sentence, with the doubt that is in them.
func Told(guesses []Guess) string {
	if len(guesses) == 0 {
		return "no sensor known here"
	}
	best := guesses[0]
	var equals []string
	for _, g := range guesses {
		if g.Certainty == best.Certainty {
			equals = append(equals, string(g.Model))
		}
	}
	if len(equals) == 1 {
		return fmt.Sprintf("%s %s: %s", best.Certainty, best.Model, best.Why)
	}
	return fmt.Sprintf("%s, one of %s: %s", best.Certainty, strings.Join(equals, ", "), best.Why)
}
