package web

import (
	"fmt"
	"net/http"
	"time"
)

// showLogin serves the form.
func (s *Server) showLogin(w http.ResponseWriter, r *http.Request) {
	if roleOf(r) == writer {
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return
	}
	s.show(w, r, http.StatusOK, "login", "Log in", "")
}

// login checks a password. One is checked at a time: each takes memory and time.
func (s *Server) login(w http.ResponseWriter, r *http.Request) {
	if ok, wait := s.guard.guesses.allow(r); !ok {
		w.Header().Set("Retry-After", fmt.Sprint(max(1, int(wait.Seconds()))))
		s.show(w, r, http.StatusTooManyRequests, "login", "Log in", fmt.Sprintf("That was wrong too often: try again in %s.", ago(max(time.Second, wait))))
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	text := r.PostFormValue("password")
	select {
	case s.guard.guessing <- struct{}{}:
		defer func() { <-s.guard.guessing }()
	case <-r.Context().Done():
		return
	}
	who := nobody
	if s.guard.access.Write.Matches(text) {
		who = writer
	} else if s.guard.access.Look.Matches(text) {
		who = looker
	}
	if who == nobody {
		s.o.Log.Warn("a wrong password was given", "from", source(r).Addr().String())
		s.show(w, r, http.StatusUnauthorized, "login", "Log in", "That is not the password.")
		return
	}
	s.guard.guesses.clear(r)
	s.guard.sessions.end(w, r) // the old session, if there is one
	s.guard.sessions.begin(w, who)
	s.o.Log.Info("somebody logged in", "may", who.String(), "from", source(r).Addr().String())
	http.Redirect(w, r, "/", http.StatusSeeOther)
}

// logout ends the session.
func (s *Server) logout(w http.ResponseWriter, r *http.Request) {
	s.guard.sessions.end(w, r)
	http.Redirect(w, r, "/login", http.StatusSeeOther)
}
