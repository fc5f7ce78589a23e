package web

import (
	"crypto/rand"
	"crypto/sha256"
	"net/http"
	"sync"
	"time"
)

const (
	sessionLasts = 30 * 24 * time.Hour // since it was last used
	mostSessions = 1000
)

// sessions are those who have logged in. They are kept in memory: when the program
// starts anew, everyone logs in again.
type sessions struct {
	now func() time.Time
	tls bool
	mu  sync.Mutex
	all map[[32]byte]session // by the hash of the cookie, which itself is kept nowhere
}

type session struct {
	who  role
	used time.Time
}

func newSessions(now func() time.Time, tls bool) *sessions {
	return &sessions{now: now, tls: tls, all: map[[32]byte]session{}}
}

// name of the cookie. The prefix binds it to encrypted requests to this very host.
func (s *sessions) name() string {
	if s.tls {
		return "__Host-dustlog"
	}
	return "dustlog"
}

// begin gives the browser a session.
func (s *sessions) begin(w http.ResponseWriter, who role) {
	token := rand.Text() // 128 bits
	s.mu.Lock()
	defer s.mu.Unlock()
	s.tidy()
	s.all[sha256.Sum256([]byte(token))] = session{who, s.now()}
	http.SetCookie(w, s.cookie(token, int(sessionLasts/time.Second)))
}

func (s *sessions) cookie(token string, seconds int) *http.Cookie {
	return &http.Cookie{
		Name: s.name(), Value: token, Path: "/", MaxAge: seconds,
		HttpOnly: true, Secure: s.tls, SameSite: http.SameSiteStrictMode,
	}
}

// tidy forgets what has expired, and the one unused for longest if there are too many.
func (s *sessions) tidy() {
	var oldest [32]byte
	for key, one := range s.all {
		if s.now().Sub(one.used) > sessionLasts {
			delete(s.all, key)
			continue
		}
		if known, ok := s.all[oldest]; !ok || one.used.Before(known.used) {
			oldest = key
		}
	}
	if len(s.all) >= mostSessions {
		delete(s.all, oldest)
	}
}

// who is behind a request.
func (s *sessions) who(r *http.Request) role {
	cookie, err := r.Cookie(s.name())
	if err != nil {
		return nobody
	}
	key := sha256.Sum256([]byte(cookie.Value))
	s.mu.Lock()
	defer s.mu.Unlock()
	one, ok := s.all[key]
	if !ok || s.now().Sub(one.used) > sessionLasts {
		return nobody
	}
	one.used = s.now()
	s.all[key] = one
	return one.who
}

// end forgets the session of a request.
func (s *sessions) end(w http.ResponseWriter, r *http.Request) {
	if cookie, err := r.Cookie(s.name()); err == nil {
		s.mu.Lock()
		delete(s.all, sha256.Sum256([]byte(cookie.Value)))
		s.mu.Unlock()
	}
	http.SetCookie(w, s.cookie("", -1))
}
