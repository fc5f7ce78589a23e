package compare

import (
	"errors"
	"math"

	"dustlog/internal/dust"
	"dustlog/internal/words"
)

// fineOrChips asks whether fine dust fell as much as coarse dust: per run
// ln(PM2.5) − ln(PM10 − PM2.5), compared like any other quantity. Pairing inside
// the run makes this sharper than two separate ratios. nil without both channels.
func (st *study) fineOrChips() *FineChips {
	if !st.has(dust.PM25) || !st.has(dust.PM10) {
		return nil
	}
	fine := st.channel(dust.PM25)
	coarse := st.between(dust.PM10, dust.PM25, words.Of("%s − %s", words.Number("PM10"), words.Number("PM2.5")))
	c := st.contrast(fine, coarse)
	f := &FineChips{}
	var found [2]Verdict
	f.Fine, found[0] = st.effect(fine)
	f.Coarse, found[1] = st.effect(coarse)
	f.Fine.Secondary, f.Coarse.Secondary = st.in.Metric != dust.PM25, true
	if c.hasPoint() {
		f.Contrast = ptr(c.point())
	}
	if c.ok {
		f.CILow, f.CIHigh = ptr(c.ratio.Low), ptr(c.ratio.High)
	}
	f.Answer, f.Why = c.text(f, found[0], found[1], 1-st.in.Confidence)
	f.Why = sentences(f.Why, words.Of("Chips themselves are too large for the sensor and are not measured."))
	return f
}

// contrast is the estimate of ln fine − ln coarse, with the runs that could not
// go in.
type contrast struct {
	estimate
	runs     int        // that could have gone in
	low      int        // of them, with fine or coarse dust not told from the background
	missing  int        // of them, with too few readings of either
	sessions [sides]int // that could have gone in
	kept     [sides]int // of them, with fine and coarse dust in a run
}

// contrast compares ln fine − ln coarse of the runs that have both.
func (st *study) contrast(fine, coarse quantity) contrast {
	fines, fineLOQ := st.netMeans(fine, rules{})
	coarses, coarseLOQ := st.netMeans(coarse, rules{})
	var c contrast
	var samples []sample
	seen, kept := map[int]bool{}, map[int]bool{}
	for i, run := range st.runs {
		if !st.takes(run, rules{}) {
			continue
		}
		c.runs++
		seen[run.session] = true
		switch f, x := fines[i].value, coarses[i].value; {
		case math.IsNaN(f) || math.IsNaN(x):
			c.missing++
		case f < fineLOQ || x < coarseLOQ:
			c.low++
		default:
			samples = append(samples, st.sample(run, math.Log(f)-math.Log(x)))
			kept[run.session] = true
		}
	}
	c.sessions, c.kept = st.perSide(seen), st.perSide(kept)
	c.estimate = estimateChange(samples, st.in.Confidence)
	if st.noDiary {
		c.ok, c.trouble = false, errNoDiary
	}
	return c
}

// perSide counts sessions by setup.
func (st *study) perSide(sessions map[int]bool) (n [sides]int) {
	for i := range sessions {
		n[st.sessions[i].side]++
	}
	return n
}

// fixedMultiple reports whether the split never changes: no spread at all, or an
// interval that prints as nothing but 1.00.
func (c contrast) fixedMultiple() bool {
	return errors.Is(c.trouble, ErrNoSpread) ||
		c.ok && figure(c.ratio.Low).String() == "1.00" && figure(c.ratio.High).String() == "1.00"
}

// text answers the question, beginning with fine dust, and says what with.
func (c contrast) text(f *FineChips, fine, coarse Verdict, alpha float64) (answer, why words.Text) {
	switch {
	case errors.Is(c.trouble, errNoDiary):
		return words.Of("cannot tell: there is no diary of tasks under these setups"), words.Of("Without tasks nobody knows which of the dust in the air came from work.")
	case c.fixedMultiple():
		return words.Of("cannot tell: the coarse channel is a fixed multiple of the fine one, so the sensor does not see coarse dust by itself"),
			words.Of("Fine dust (PM2.5) and coarse dust (PM10 − PM2.5) kept in step in every session, which real dust never does: the sensor works out one from the other.")
	case !c.ok:
		return c.missingText()
	}
	why = words.Of("Fine dust (PM2.5) was %s and coarse dust (PM10 − PM2.5) %s; their ratios after/before differ by a factor of %s, fine over coarse (interval %s to %s; 1 means alike). Coarse dust is %s.",
		changeOf(f.Fine.Ratio), changeOf(f.Coarse.Ratio), figure(c.point()), figure(c.ratio.Low), figure(c.ratio.High), coarseNote())
	if c.low > 0 {
		why = sentences(why, words.Plural(c.runs, "%[2]d of %[1]d run left out: fine or coarse dust cannot be told from the background.", "%[2]d of %[1]d runs left out: fine or coarse dust cannot be told from the background.", c.runs, c.low))
	}
	if c.missing > 0 {
		why = sentences(why, words.Plural(c.runs, "%[2]d of %[1]d run left out: too few readings of fine or coarse dust.", "%[2]d of %[1]d runs left out: too few readings of fine or coarse dust.", c.runs, c.missing))
	}
	return fallText(fine, coarse, fellMore(c.estimate, alpha)), why
}

// missingText says why there is no interval: what was measured, not the number
// of sessions, where there would have been enough of them.
func (c contrast) missingText() (answer, why words.Text) {
	left := words.Of("%s before and %d after have both in the same runs, and each setup needs %d.",
		sessionCount(c.kept[before]), c.kept[after], fewestSessions)
	enough := min(c.sessions[before], c.sessions[after]) >= fewestSessions
	switch {
	case enough && c.low > 0 && c.low >= c.missing:
		return words.Plural(c.runs, "cannot tell: in %[2]d of %[1]d run fine or coarse dust cannot be told from the background", "cannot tell: in %[2]d of %[1]d runs fine or coarse dust cannot be told from the background", c.runs, c.low), left
	case enough && c.missing > 0:
		return words.Plural(c.runs, "cannot tell: %[2]d of %[1]d run lack readings of fine or coarse dust", "cannot tell: %[2]d of %[1]d runs lack readings of fine or coarse dust", c.runs, c.missing), left
	case enough && !c.hasPoint():
		return words.Of("cannot tell: no task was done under both setups"), words.Of("So the setups cannot be told apart from the tasks.")
	}
	return words.Of("cannot tell: too little data"), left
}

// fellMore says which of the two did better: -1 fine, 1 coarse, 0 cannot be told.
func fellMore(e estimate, alpha float64) int {
	const anyChange = 0.5 // which reduction matters plays no part here
	word, _ := guarded(VerdictFor(e.ratio.Low, e.ratio.High, anyChange), e.perm, alpha)
	switch {
	case word == Increased:
		return 1
	case word.claimsChange():
		return -1
	}
	return 0
}

// fallText begins with what happened to fine dust. It names the one that fell
// more only where a fall of it is shown.
func fallText(fine, coarse Verdict, more int) words.Text {
	switch {
	case fine.fell() && coarse.fell():
		switch more {
		case -1:
			return words.Of("fine dust fell, and more than coarse dust, which fell too")
		case 1:
			return words.Of("fine dust fell too, and coarse dust more")
		}
		return words.Of("fine dust fell, and so did coarse dust; which of them fell more cannot be told")
	case fine.fell() && coarse != Increased && more < 0:
		return words.Of("fine dust fell, and more than coarse dust, of which no fall is shown")
	case coarse.fell() && fine != Increased && more > 0:
		return words.Of("no fall of fine dust is shown; coarse dust fell, and more than fine dust")
	case fine.claimsChange() || coarse.claimsChange():
		return words.Join("; ", fineText(fine), coarseText(coarse))
	}
	return words.Of("no fall of fine dust is shown, nor of coarse dust")
}

func fineText(word Verdict) words.Text {
	switch {
	case word.fell():
		return words.Of("fine dust fell")
	case word == Increased:
		return words.Of("fine dust rose")
	}
	return words.Of("no fall of fine dust is shown")
}

func coarseText(word Verdict) words.Text {
	switch {
	case word.fell():
		return words.Of("coarse dust fell")
	case word == Increased:
		return words.Of("coarse dust rose")
	}
	return words.Of("no fall of coarse dust is shown")
}

func changeOf(ratio *float64) words.Text {
	if ratio == nil {
		return words.Of("not comparable")
	}
	return change(*ratio)
}

// figure is a ratio with two decimals; nothing above zero prints as 0.00.
func figure(x float64) words.Text {
	switch {
	case x < 0.01:
		return words.Of("less than 0.01")
	case x > 1000:
		return words.Of("more than 1000")
	}
	return words.Fixed(x, 2).Text()
}
