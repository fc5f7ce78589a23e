package web

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"slices"
	"strings"
	"time"
)

// guard stands before every page.
type guard struct {
	access   Access
	sessions *sessions
	requests *throttle // of all kinds
	guesses  *throttle // of passwords
	guessing chan struct{}
	cross    *http.CrossOriginProtection
}

// The rates. A page with its parts is about five requests; a viewer asks for a new
// trace twice a minute. After five wrong passwords one more may be tried every
// half minute.
const (
	requestsAtOnce = 120
	requestEvery   = 100 * time.Millisecond
	guessesAtOnce  = 5
	guessEvery     = 30 * time.Second
)

func newGuard(o Options) (*guard, error) {
	a := o.Access
	if a.Look != nil && a.Write == nil {
		return nil, errors.New("a password for looking needs one for writing beside it")
	}
	return &guard{
		access: a, sessions: newSessions(o.Now, a.TLS),
		requests: newThrottle(requestsAtOnce, requestEvery, o.Now), guesses: newThrottle(guessesAtOnce, guessEvery, o.Now),
		guessing: make(chan struct{}, 1), cross: http.NewCrossOriginProtection(),
	}, nil
}

// demands reports whether one must log in.
func (g *guard) demands() bool { return g.access.Write != nil }

// headers go with every answer. Nothing may be loaded but what this program
// serves, and no other page may show or read it.
var headers = map[string]string{
	"Content-Security-Policy": "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; manifest-src 'self'; " +
		"form-action 'self'; frame-src 'self'; frame-ancestors 'none'; base-uri 'none'",
	"X-Content-Type-Options":       "nosniff",
	"X-Frame-Options":              "DENY",
	"Referrer-Policy":              "no-referrer",
	"Cross-Origin-Opener-Policy":   "same-origin",
	"Cross-Origin-Resource-Policy": "same-origin",
	"Permissions-Policy":           "camera=(), microphone=(), geolocation=(), payment=(), usb=()",
	"Cache-Control":                "no-store",
}

// wrap puts the guard before a handler.
func (g *guard) wrap(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		for name, value := range headers {
			w.Header().Set(name, value)
		}
		if !g.knownHost(r.Host) {
			http.Error(w, "this page is not served under that name", http.StatusMisdirectedRequest)
			return
		}
		if ok, wait := g.requests.allow(r); !ok {
			tooMany(w, wait)
			return
		}
		if err := g.cross.Check(r); err != nil {
			http.Error(w, "a request from another site is not taken", http.StatusForbidden)
			return
		}
		who := writer
		if g.demands() {
			who = g.sessions.who(r)
		}
		r = withRole(r, who)
		if who == nobody && !open(r.URL.Path) {
			g.challenge(w, r)
			return
		}
		next.ServeHTTP(w, r)
	})
}

// open are the pages for those who have not logged in.
func open(path string) bool { return path == "/login" || strings.HasPrefix(path, "/static/") }

// challenge sends a browser to the login, and tells a script.
func (g *guard) challenge(w http.ResponseWriter, r *http.Request) {
	if r.Method == http.MethodGet && strings.Contains(r.Header.Get("Accept"), "text/html") && r.Header.Get("Sec-Fetch-Mode") != "cors" {
		http.Redirect(w, r, "/login", http.StatusSeeOther)
		return
	}
	http.Error(w, "log in first", http.StatusUnauthorized)
}

// knownHost reports whether a request names one of our names.
func (g *guard) knownHost(host string) bool {
	if g.access.Hosts == nil {
		return true
	}
	if name, _, err := net.SplitHostPort(host); err == nil {
		host = name
	}
	host = strings.ToLower(strings.Trim(host, "[]"))
	return slices.Contains(g.access.Hosts, host)
}

func tooMany(w http.ResponseWriter, wait time.Duration) {
	w.Header().Set("Retry-After", fmt.Sprint(max(1, int(wait.Seconds()))))
	http.Error(w, fmt.Sprintf("too many requests; try again in %s", ago(max(time.Second, wait))), http.StatusTooManyRequests)
}

// refuse says on a page why something is not done.
func (s *Server) refuse(w http.ResponseWriter, r *http.Request, code int, text string) {
	if strings.Contains(r.Header.Get("Accept"), "application/json") {
		writeJSON(w, code, map[string]any{"error": text})
		return
	}
	s.show(w, r, code, "problem", "That did not work", text)
}
