package web

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"dustlog/internal/compare"
	"dustlog/internal/compare/plan"
	"dustlog/internal/dust"
	"dustlog/internal/plots"
	"dustlog/internal/report"
	"dustlog/internal/study"
)

// pair is the setups before and after a change.
type pair struct{ before, after string }

// setupsView is the states of the dust collection, and the comparison of two.
type setupsView struct {
	Periods       []periodView
	Names         []string
	Before, After string
	Asked         bool
	Why           string // there is no comparison
	Result        *compare.Result
	Answers       []report.Answer
	More          string // how many more sessions would settle it
	Pictures      []pictureView
}

type periodView struct {
	Setup, From, To string
}

// showSetups lists the setups and compares two, if the address names them.
func (s *Server) showSetups(w http.ResponseWriter, r *http.Request) {
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(reportWithin))
	v, err := s.setupsView(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	s.show(w, r, http.StatusOK, "setups", "Setups", v)
}

func (s *Server) setupsView(r *http.Request) (setupsView, error) {
	var v setupsView
	periods, err := s.o.Records.SetupPeriods(r.Context())
	if err != nil {
		return v, err
	}
	const layout = "2006-01-02 15:04"
	for _, p := range slices.Backward(periods) {
		row := periodView{p.Setup, p.From.In(s.zone()).Format(layout), "in use"}
		if !p.To.IsZero() {
			row.To = p.To.In(s.zone()).Format(layout)
		}
		v.Periods = append(v.Periods, row)
	}
	for _, p := range periods {
		if !slices.Contains(v.Names, p.Setup) {
			v.Names = append(v.Names, p.Setup)
		}
	}
	q, err := readPair(r.URL.Query(), v.Names)
	if err != nil {
		return v, err
	}
	v.Before, v.After, v.Asked = q.before, q.after, q.before != ""
	if !v.Asked {
		if n := len(v.Names); n >= 2 {
			v.Before, v.After = v.Names[n-2], v.Names[n-1] // as a proposal
		}
		return v, nil
	}
	return v, s.addComparison(r.Context(), &v, q)
}

// readPair reads the two setups of an address; none is an answer too.
func readPair(f url.Values, names []string) (pair, error) {
	q := pair{f.Get("before"), f.Get("after")}
	if q == (pair{}) {
		return q, nil
	}
	for _, name := range []string{q.before, q.after} {
		if !slices.Contains(names, name) {
			return q, fmt.Errorf("%w %q", dust.ErrUnknownSetup, name)
		}
	}
	if q.before == q.after {
		return q, fmt.Errorf("%w: a setup cannot be compared with itself", errNotUnderstood)
	}
	return q, nil
}

func (s *Server) addComparison(ctx context.Context, v *setupsView, q pair) error {
	result, err := s.compared(ctx, q)
	if told(err) {
		v.Why = strings.ReplaceAll(err.Error(), "`", "\"")
		return nil
	}
	if err != nil {
		return err
	}
	past, err := s.pastResult(ctx)
	if err != nil {
		return err
	}
	v.Result, v.More = &result, plan.Settle(result).Answer
	answers := report.Answers(report.Input{Exposure: past, Compare: &result})
	v.Answers = []report.Answer{answers[2], answers[0]} // helped, captured
	address := url.Values{"before": {q.before}, "after": {q.after}}.Encode()
	if len(result.Sessions) > 0 {
		v.Pictures = append(v.Pictures, pictureView{
			Title:   "Before and after, " + result.UnitOfReplication + " by " + result.UnitOfReplication,
			Address: "/setups/sessions.svg?" + address, Alt: plots.AltTextBeforeAfter(result, plots.Options{}),
		})
	}
	if len(result.Bins) > 0 {
		v.Pictures = append(v.Pictures, pictureView{Title: "By size", Address: "/setups/sizes.svg?" + address, Alt: plots.AltTextSizeRatio(result, plots.Options{})})
	}
	return nil
}

// told reports whether an error is an answer for the person who asked.
func told(err error) bool {
	for _, known := range []error{dust.ErrNoReadings, dust.ErrUnknownSetup, dust.ErrUnknownSensor} {
		if errors.Is(err, known) {
			return true
		}
	}
	return false
}

// compared compares two setups over all that was recorded.
func (s *Server) compared(ctx context.Context, q pair) (compare.Result, error) {
	held := keep{fresh: 2 * time.Minute, old: 24 * time.Hour}
	return s.compares.of(q).get(ctx, s.o.Now(), held, s.background, func(ctx context.Context) (compare.Result, error) {
		st, err := s.study(ctx)
		if err != nil {
			return compare.Result{}, err
		}
		return st.Compare(ctx, study.Question{Before: q.before, After: q.after, Metric: dust.PM25})
	})
}

func (s *Server) drawSessions(w http.ResponseWriter, r *http.Request) {
	s.drawComparison(w, r, "sessions", plots.BeforeAfter)
}

func (s *Server) drawSizes(w http.ResponseWriter, r *http.Request) {
	s.drawComparison(w, r, "sizes", plots.SizeRatio)
}

func (s *Server) drawComparison(w http.ResponseWriter, r *http.Request, what string, paint func(io.Writer, compare.Result, plots.Options) error) {
	q := pair{r.URL.Query().Get("before"), r.URL.Query().Get("after")}
	s.servePicture(w, r, what+"\x00"+q.before+"\x00"+q.after, func(ctx context.Context, out io.Writer, o plots.Options) error {
		result, err := s.compared(ctx, q)
		if err != nil {
			return err
		}
		return paint(out, result, o)
	})
}
