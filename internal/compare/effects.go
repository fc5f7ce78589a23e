package compare

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// ErrUnlinked: two groups of sessions have no task in common, so the difference
// between them cannot be told from a difference between tasks.
var ErrUnlinked = errors.New("sessions share no task")

// TaskRun is one run of one task in one session.
type TaskRun struct {
	Session, Task string
	Mean          float64 // mean concentration above background, > 0
}

// SessionEffects gives each session one number that does not depend on the mix
// of tasks it held: least squares ln Mean = session + task, read off at the task
// mix of all runs together and returned as a concentration, exp(session effect).
// Ratios of them do not depend on that reference mix.
//
// Source: two-way analysis of unbalanced data by least squares (Searle 1971,
// ch. 7). Errors wrap ErrTooFew, ErrNotPositive or ErrUnlinked.
func SessionEffects(runs []TaskRun) (map[string]float64, error) {
	sessions, tasks := map[string]int{}, map[string]int{}
	var obs []observation
	for _, r := range runs {
		if !(r.Mean > 0) || math.IsInf(r.Mean, 1) {
			return nil, fmt.Errorf("session %q, task %q: mean %g: %w", r.Session, r.Task, r.Mean, ErrNotPositive)
		}
		obs = append(obs, observation{session: indexOf(sessions, r.Session), task: r.Task, y: math.Log(r.Mean)})
		indexOf(tasks, r.Task)
	}
	effects, err := fitSessions(obs)
	if err != nil {
		return nil, err
	}
	out := make(map[string]float64, len(sessions))
	for name, i := range sessions {
		out[name] = math.Exp(effects[i])
	}
	return out, nil
}

// indexOf returns the key's running number, giving it the next one if it is new.
func indexOf(index map[string]int, key string) int {
	if _, ok := index[key]; !ok {
		index[key] = len(index)
	}
	return index[key]
}

// observation is ln of one run's value.
type observation struct {
	session int
	task    string
	y       float64
}

// fitSessions returns the effect in ln units of every session that obs holds.
func fitSessions(obs []observation) (map[int]float64, error) {
	if len(obs) == 0 {
		return nil, fmt.Errorf("session effects of no runs: %w", ErrTooFew)
	}
	if len(linkedSessions(obs)) > 1 {
		return nil, ErrUnlinked
	}
	sessions, tasks := levels(obs)
	ns, nt := len(sessions), len(tasks)
	design := mat.NewDense(len(obs), ns+nt-1, nil)
	y := mat.NewVecDense(len(obs), nil)
	mix := make([]float64, nt)
	for i, o := range obs {
		s, _ := slices.BinarySearch(sessions, o.session)
		t, _ := slices.BinarySearch(tasks, o.task)
		design.Set(i, s, 1)
		if t > 0 { // the first task is the reference
			design.Set(i, ns+t-1, 1)
		}
		y.SetVec(i, o.y)
		mix[t] += 1 / float64(len(obs))
	}
	var qr mat.QR
	qr.Factorize(design)
	var b mat.VecDense
	if err := qr.SolveVecTo(&b, false, y); err != nil {
		return nil, fmt.Errorf("session effects: %w", err)
	}
	var reference float64
	for t := 1; t < nt; t++ {
		reference += mix[t] * b.AtVec(ns+t-1)
	}
	effects := make(map[int]float64, ns)
	for i, s := range sessions {
		effects[s] = b.AtVec(i) + reference
	}
	return effects, nil
}

// levels lists the sessions and tasks of obs in order.
func levels(obs []observation) (sessions []int, tasks []string) {
	s, t := map[int]bool{}, map[string]bool{}
	for _, o := range obs {
		s[o.session], t[o.task] = true, true
	}
	return slices.Sorted(maps.Keys(s)), slices.Sorted(maps.Keys(t))
}

// linkedSessions splits the sessions into groups linked by common tasks, each in
// order, the groups by their first session.
func linkedSessions(obs []observation) [][]int {
	sessions, _ := levels(obs)
	group := map[int]int{}
	for _, s := range sessions {
		group[s] = s
	}
	// Few sessions and tasks: relabelling until nothing changes is quick enough.
	for changed := true; changed; {
		changed = false
		lowest := map[string]int{}
		for _, o := range obs {
			if g, ok := lowest[o.task]; !ok || group[o.session] < g {
				lowest[o.task] = group[o.session]
			}
		}
		for _, o := range obs {
			if g := lowest[o.task]; g < group[o.session] {
				group[o.session], changed = g, true
			}
		}
	}
	var out [][]int
	place := map[int]int{}
	for _, s := range sessions {
		g := group[s]
		if _, ok := place[g]; !ok {
			place[g] = len(out)
			out = append(out, nil)
		}
		out[place[g]] = append(out[place[g]], s)
	}
	return out
}
