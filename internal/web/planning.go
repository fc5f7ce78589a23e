package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/compare/plan"
	"dustlog/internal/dust"
	"dustlog/internal/study"
)

// planView is a study before it is made.
type planView struct {
	Names                 []string
	Before, After         string
	Reduction, First      string // as they were written
	Paired                bool
	Plan                  *plan.Plan
	Detectable, InOneWeek string
	Setups                string // as for `dustlog compare`
}

// mostSetupName is as long as a setup's name may be in the diary.
const mostSetupName = 120

// showPlan lays out a study. An order that was drawn is in the address from then
// on, so that it stays.
func (s *Server) showPlan(w http.ResponseWriter, r *http.Request) {
	names, err := s.setupNames(r)
	f := r.URL.Query()
	v := planView{Names: names, Before: f.Get("before"), After: f.Get("after"), Reduction: f.Get("reduction"), First: f.Get("first"), Paired: f.Get("paired") != ""}
	if v.Reduction == "" {
		v.Reduction = "50"
	}
	if err == nil && v.Before != "" && f.Get("seed") == "" {
		f.Set("seed", strconv.FormatInt(1+s.o.Now().UnixMicro()%9999, 10))
		http.Redirect(w, r, (&url.URL{Path: "/plan", RawQuery: f.Encode()}).String(), http.StatusSeeOther)
		return
	}
	if err == nil && v.Before != "" {
		err = s.addPlan(r.Context(), &v, f.Get("seed"))
	} else if n := len(names); n > 0 {
		v.Before = names[n-1] // as a proposal
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "plan", "Plan", v)
}

func (s *Server) addPlan(ctx context.Context, v *planView, seed string) error {
	q := plan.Question{Setups: []string{strings.TrimSpace(v.Before), strings.TrimSpace(v.After)}, Paired: v.Paired}
	if len(v.Before) > mostSetupName || len(v.After) > mostSetupName {
		return fmt.Errorf("%w: a setup's name holds at most %d bytes", errNotUnderstood, mostSetupName)
	}
	var err error
	if q.Seed, err = strconv.ParseUint(seed, 10, 64); err != nil {
		return fmt.Errorf("%w: seed=%q is no number", errNotUnderstood, seed)
	}
	if q.ReductionPercent, err = strconv.ParseFloat(v.Reduction, 64); err != nil {
		return fmt.Errorf("%w: the reduction %q is no number of percent", errNotUnderstood, v.Reduction)
	}
	if v.First != "" {
		if q.First, err = time.Parse(time.DateOnly, v.First); err != nil {
			return fmt.Errorf("%w: %q is no day; write it as in 2026-03-02", errNotUnderstood, v.First)
		}
	}
	if q.Measured, err = s.spread(ctx, q.Setups[0]); err != nil {
		return err
	}
	p, err := plan.Before(q)
	if errors.Is(err, plan.ErrQuestion) {
		return fmt.Errorf("%w: %w", errNotUnderstood, err)
	}
	v.Plan, v.Setups = &p, strings.Join(p.Setups, ",")
	v.Detectable, v.InOneWeek = wholePercent(p.DetectablePercent), wholePercent(p.WeekPercent)
	return err
}

func wholePercent(x float64) string { return strconv.FormatFloat(x, 'f', 0, 64) + " %" }

// spread is how much the sessions recorded under a setup differ; nil if there are
// too few to tell.
func (s *Server) spread(ctx context.Context, setup string) (*compare.Spread, error) {
	held := keep{fresh: 10 * time.Minute, old: 24 * time.Hour}
	return s.spreads.of(setup).get(ctx, s.o.Now(), held, s.background, func(ctx context.Context) (*compare.Spread, error) {
		st, err := s.study(ctx)
		var found compare.Spread
		if err == nil {
			found, err = st.Spread(ctx, study.Question{Before: setup, Metric: dust.PM25})
		}
		if errors.Is(err, compare.ErrTooFew) || told(err) {
			return nil, nil
		}
		return &found, err
	})
}
