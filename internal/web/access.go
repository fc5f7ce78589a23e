package web

import (
	"context"
	"net/http"
)

// Access says who may look and who may write the diary. The zero Access lets
// everyone do both: for a page that only this computer can reach.
type Access struct {
	// Write is the password of those who write the diary, Look of those who only
	// look. With Write set, nobody sees anything before giving one of the two.
	Write, Look *Password
	// Hosts are the names under which the page may be asked for, ports left out.
	// nil: any. A page for this computer alone must name them: another site's
	// name may be made to point here.
	Hosts []string
	// TLS is true where the page is served encrypted; cookies then go no other way.
	TLS bool
}

// role is what somebody may do.
type role int

const (
	nobody role = iota
	looker
	writer
)

func (r role) String() string { return [...]string{"nobody", "look", "write"}[r] }

type roleKey struct{}

func withRole(r *http.Request, who role) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), roleKey{}, who))
}

func roleOf(r *http.Request) role {
	who, _ := r.Context().Value(roleKey{}).(role)
	return who
}

// mayWrite reports whether whoever asks may write the diary.
func (s *Server) mayWrite(r *http.Request) bool { return s.o.Diary != nil && roleOf(r) == writer }

// forWriters guards what writes.
func (s *Server) forWriters(do http.HandlerFunc) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if !s.mayWrite(r) {
			s.refuse(w, r, http.StatusForbidden, "You may look, but not write: log in with the password for the diary.")
			return
		}
		do(w, r)
	}
}
