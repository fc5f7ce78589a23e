package web

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"time"

	"dustlog/internal/report"
)

// reportView is the form that asks for a report.
type reportView struct {
	Names     []string // setups
	From, To  string   // proposals
	Available bool
}

func (s *Server) showReport(w http.ResponseWriter, r *http.Request) {
	names, err := s.setupNames(r)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	today := s.dayOf(s.o.Now())
	s.show(w, r, http.StatusOK, "report", "Report", reportView{
		Names: names, Available: s.o.Report != nil,
		From: today.AddDate(0, 0, -daysOnPage).Format(time.DateOnly), To: today.Format(time.DateOnly),
	})
}

func (s *Server) setupNames(r *http.Request) (names []string, err error) {
	periods, err := s.o.Records.SetupPeriods(r.Context())
	for _, p := range periods {
		if !slices.Contains(names, p.Setup) {
			names = append(names, p.Setup)
		}
	}
	return names, err
}

// reportPolicy lets a report show its own style and pictures, and do nothing else.
const reportPolicy = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; form-action 'none'; frame-ancestors 'none'; base-uri 'none'; sandbox"

const reportWithin = 5 * time.Minute

// sendReport makes a report, to be read here or taken along.
func (s *Server) sendReport(w http.ResponseWriter, r *http.Request) {
	// A season on a small board takes longer than a page may.
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(reportWithin))
	q, err := s.readReportQuery(r)
	if err == nil && s.o.Report == nil {
		err = fmt.Errorf("%w: reports are not made here", errNotUnderstood)
	}
	var in report.Input
	if err == nil {
		in, err = s.o.Report(r.Context(), q)
	}
	form := r.URL.Query().Get("as")
	write, kind := report.WriteHTML, "text/html; charset=utf-8"
	if form == "pdf" {
		write, kind = report.WritePDF, "application/pdf"
	}
	var page bytes.Buffer
	if err == nil {
		err = write(&page, in)
	}
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", kind)
	w.Header().Set("Content-Security-Policy", reportPolicy)
	if form == "pdf" || form == "file" {
		ending := map[string]string{"pdf": "pdf", "file": "html"}[form]
		w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", "dust-report-"+s.o.Now().In(s.zone()).Format(time.DateOnly)+"."+ending))
	}
	_, _ = io.Copy(w, &page)
}

// readReportQuery reads days and setups. A day named last is in the report.
func (s *Server) readReportQuery(r *http.Request) (q ReportQuery, err error) {
	f := r.URL.Query()
	if text := f.Get("from"); text != "" {
		if q.Window.From, err = s.parseDay(text); err != nil {
			return q, err
		}
	}
	if text := f.Get("to"); text != "" {
		day, err := s.parseDay(text)
		if err != nil {
			return q, err
		}
		q.Window.To = day.AddDate(0, 0, 1).UTC()
	}
	if !q.Window.To.IsZero() && !q.Window.To.After(q.Window.From) {
		return q, fmt.Errorf("%w: the last day comes before the first", errNotUnderstood)
	}
	names, err := s.setupNames(r)
	if err != nil {
		return q, err
	}
	two, err := readPair(url.Values{"before": f["before"], "after": f["after"]}, names)
	q.Before, q.After = two.before, two.after
	return q, err
}
