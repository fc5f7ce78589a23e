package web

import (
	"context"
	"time"

	"dustlog/internal/dust"
)

// lateCommit is how far back the store is looked at again: a collector commits
// each sensor's readings in turn, so those of one may become visible after later
// ones of another.
const lateCommit = 30 * time.Second

// remember reads the last minutes, so that the page does not begin empty.
func (s *Server) remember(ctx context.Context) error {
	return s.read(ctx, s.o.Now().Add(-remembered))
}

// follow reads what another program has added to the store.
func (s *Server) follow(ctx context.Context) error {
	from := s.o.Now().Add(-remembered)
	if seen := s.recent.end().Add(-lateCommit); seen.After(from) {
		from = seen
	}
	return s.read(ctx, from)
}

func (s *Server) read(ctx context.Context, from time.Time) error {
	q := dust.Query{From: from, Channels: s.recent.channels}
	for r, err := range s.o.Records.Readings(ctx, q) {
		if err != nil {
			return err
		}
		s.recent.take(r)
	}
	return nil
}
