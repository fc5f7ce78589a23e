package web

import (
	"crypto/rand"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"dustlog/internal/dust"
)

const (
	mostForm = 16 << 10 // bytes
	// oldestTap is how long a tap may have waited in a telephone.
	oldestTap = 7 * 24 * time.Hour
)

// enter takes a tap: from the script, which wants JSON, or from a plain form,
// which wants the page again.
func (s *Server) enter(w http.ResponseWriter, r *http.Request) {
	asJSON := strings.Contains(r.Header.Get("Accept"), "application/json")
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	e, err := s.readEntry(r)
	var kept dust.Entered
	if err == nil {
		kept, err = s.o.Diary.Enter(r.Context(), e)
	}
	s.diary.stale()
	s.past.stale()
	switch {
	case err == nil && asJSON:
		words := s.entryWords(kept)
		writeJSON(w, http.StatusOK, map[string]any{"id": kept.ID, "words": words.When + " " + words.Words})
	case err == nil:
		http.Redirect(w, r, back(r), http.StatusSeeOther)
	case asJSON:
		code, text := s.explain(r, err)
		writeJSON(w, code, map[string]any{"error": text})
	default:
		s.fail(w, r, err)
	}
}

// readEntry makes an entry of a form. The telephone's clock may be wrong: what
// counts is how long ago, by its own clock, the tap was made.
func (s *Server) readEntry(r *http.Request) (dust.Entry, error) {
	if err := r.ParseForm(); err != nil {
		return dust.Entry{}, fmt.Errorf("%w: the form cannot be read: %w", dust.ErrEntry, err)
	}
	f := r.PostForm
	e := dust.Entry{
		ID: f.Get("id"), Kind: dust.EntryKind(f.Get("kind")), Name: f.Get("name"), Material: f.Get("material"),
		Person: f.Get("person"), Text: f.Get("text"), Undoes: f.Get("undoes"),
	}
	if e.ID == "" {
		e.ID = rand.Text() // a plain form, sent once
	}
	var err error
	e.At, err = tappedAt(f, s.o.Now())
	if err == nil && e.Kind == dust.GaugeEntry {
		return readGauge(f, e.ID, e.At)
	}
	return e, err
}

// tappedAt is when a tap was made, by this computer's clock.
func tappedAt(f url.Values, now time.Time) (time.Time, error) {
	if text := f.Get("at_ms"); text != "" { // a moment that this computer suggested
		ms, err := strconv.ParseInt(text, 10, 64)
		at := time.UnixMilli(ms).UTC()
		if err != nil || at.After(now) || now.Sub(at) > oldestTap {
			return time.Time{}, fmt.Errorf("%w: its time %q is not one of the last 7 days", dust.ErrEntry, text)
		}
		return at, nil
	}
	age, err := tapAge(f)
	if err != nil || age < 0 || age > oldestTap {
		return time.Time{}, fmt.Errorf("%w: it says it was made %s ago; a tap may wait 7 days, and none comes from the future", dust.ErrEntry, age.Round(time.Second))
	}
	return now.Add(-age).UTC(), nil
}

func tapAge(f url.Values) (time.Duration, error) {
	var ages [3]int64
	for i, name := range []string{"made_ms", "sent_ms", "minutes_ago"} {
		text := f.Get(name)
		if text == "" {
			continue
		}
		n, err := strconv.ParseInt(text, 10, 64)
		if err != nil {
			return 0, err
		}
		ages[i] = n
	}
	waited := time.Duration(ages[1]-ages[0]) * time.Millisecond
	return waited + time.Duration(ages[2])*time.Minute, nil
}

// back is the page a plain form came from.
func back(r *http.Request) string {
	if r.PostForm.Get("back") == "diary" {
		return "/diary"
	}
	return "/#dock"
}

// explain turns an error into an answer: a person's mistake is told to them, ours
// is logged.
func (s *Server) explain(r *http.Request, err error) (code int, text string) {
	for _, theirs := range []error{
		dust.ErrEntry, dust.ErrCannotUndo, dust.ErrTimeBackwards, dust.ErrTaskOverlap, dust.ErrTaskOpen, dust.ErrNoTaskOpen,
		dust.ErrUnknownSetup, dust.ErrUnknownSensor, dust.ErrNoReadings, errNotUnderstood,
	} {
		if errors.Is(err, theirs) {
			return http.StatusUnprocessableEntity, strings.ReplaceAll(err.Error(), "`", "\"") // as words, not as for a terminal
		}
	}
	if errors.Is(err, dust.ErrStoreBusy) {
		return http.StatusServiceUnavailable, "the store is busy; try again in a moment"
	}
	if r.Context().Err() == nil {
		s.o.Log.Error("a page could not be served", "path", r.URL.Path, "error", err)
	}
	return http.StatusInternalServerError, "this did not work; the program's log says why"
}

var errNotUnderstood = errors.New("the address cannot be understood")

func writeJSON(w http.ResponseWriter, code int, v any) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	_ = json.NewEncoder(w).Encode(v)
}
