package simulate

import (
	"dustlog/internal/compare"
	"dustlog/internal/dust"
)

// Looks is what comes of asking for a verdict again and again.
type Looks struct {
	Studies int
	Any     int // claimed a change, either way, at one look at least
	Once    int // claimed one at the last look
	// Interim: claimed one at a single look in the middle by p < 0.005, or at the last.
	Interim int
}

// AskDaily asks studies of d after every day from the first on, until the last.
func AskDaily(m Model, d Design, first, studies int, seed uint64) (Looks, error) {
	var l Looks
	for i := range studies {
		in := m.Study(generator(seed, i), d, 1)
		any, last, middle := false, false, false
		for day := first; day <= d.days(); day++ {
			res, err := compare.Compare(until(in, day))
			if err != nil {
				return l, err
			}
			last = claims(res)
			any = any || last
			if day == (first+d.days())/2 {
				middle = res.PValue != nil && *res.PValue < 0.005
			}
		}
		l.Studies++
		l.Any += one(any)
		l.Once += one(last)
		l.Interim += one(middle || last)
	}
	return l, nil
}

// until is the study as its diary stood after so many days.
func until(in compare.Input, days int) compare.Input {
	end := start.AddDate(0, 0, days)
	var tasks []dust.Task
	for _, t := range in.Tasks {
		if t.Start.Before(end) {
			tasks = append(tasks, t)
		}
	}
	var setups []dust.SetupPeriod
	for _, s := range in.Setups {
		if s.From.Before(end) {
			setups = append(setups, s)
		}
	}
	in.Tasks, in.Setups = tasks, setups
	return in
}

// claims reports whether the interval alone excludes no change.
func claims(r compare.Result) bool {
	return r.CILow != nil && (*r.CILow > 1 || *r.CIHigh < 1)
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}
