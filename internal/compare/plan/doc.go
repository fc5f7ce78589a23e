// Package plan says before a before/after study how many sessions it takes, in
// which order to hold them, and why not to look at the verdict in between; and
// after it, how many more would settle the question.
//
// It computes nothing that package compare does not: power of the t test on ln
// session values (see compare.SessionsNeeded).
package plan

import "fmt"

// Power to plan with: four studies out of five show a change that is there.
const Power = 0.80

// LooksPercent is how often studies without any change claim one if the verdict
// is looked at after every day from the third to the tenth and the study ends
// when it pleases; OneLookPercent is what a number of sessions fixed beforehand
// gives. Found by simulation of package compare: see compare/simulate.
const (
	LooksPercent   = 17
	OneLookPercent = 5
)

// looksWarning is shown with every plan.
var looksWarning = fmt.Sprintf("Fix the number of sessions before you begin and ask for the verdict once, at the end. "+
	"Looking after every day from the third to the tenth and stopping when it pleases makes %d %% of studies in which nothing changed claim a change, not %d %%.",
	LooksPercent, OneLookPercent)
