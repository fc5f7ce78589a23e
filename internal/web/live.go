package web

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"sync"
	"time"
)

const (
	tick       = time.Second
	heartbeat  = 10 * time.Second // an event comes at least so often
	mostViewer = 200
	sendWithin = 10 * time.Second
)

// state is one event: the words by the ids they stand at, and attributes by id
// and name.
type state struct {
	Text  map[string]string            `json:"text"`
	Attr  map[string]map[string]string `json:"attr"`
	Diary string                       `json:"diary"` // changes when the diary has changed
}

// newState is the same as the page, for the script.
func newState(v nowView) state {
	s := state{Text: map[string]string{"clock": v.Clock}, Attr: map[string]map[string]string{}, Diary: v.Dock.Version}
	s.Text["mask"], s.Text["mask-why"] = v.Mask.Short, v.Mask.Why
	s.Attr["mask-now"] = map[string]string{"data-state": v.Mask.State}
	for i, task := range v.Dock.Running {
		s.Text[fmt.Sprintf("since-%d", i)] = task.Since
	}
	for _, one := range v.Sensors {
		s.Attr[one.Key] = map[string]string{"data-state": one.State}
		for name, text := range map[string]string{
			"level": one.Level, "note": one.LevelNote, "m15": one.Mean15, "m15-note": one.Mean15Note,
			"today": one.Today, "today-note": one.TodayNote, "health": one.Health,
		} {
			s.Text[one.Key+"-"+name] = text
		}
	}
	for _, marks := range [][]stickMark{v.Stick.Levels, v.Stick.Means} {
		for _, m := range marks {
			id := "stick-" + m.Key
			s.Text[id+"-text"] = m.Text
			s.Attr[id] = map[string]string{"visibility": m.Shown}
			s.Attr[id+"-mark"] = map[string]string{"transform": m.Mark}
			s.Attr[id+"-label"] = map[string]string{"transform": m.Label}
			s.Attr[id+"-lead"] = map[string]string{"d": m.Lead}
		}
	}
	return s
}

// viewers are those who have the page open.
type viewers struct {
	mu     sync.Mutex
	all    map[*viewer]bool
	last   []byte
	sent   time.Time
	closed bool
}

// viewer waits for the newest event; one that was not fetched is replaced.
type viewer struct{ next chan []byte }

func newViewers() *viewers { return &viewers{all: map[*viewer]bool{}} }

// add lets a viewer in; nil if there are too many.
func (v *viewers) add() *viewer {
	v.mu.Lock()
	defer v.mu.Unlock()
	if v.closed || len(v.all) >= mostViewer {
		return nil
	}
	one := &viewer{next: make(chan []byte, 1)}
	v.all[one] = true
	return one
}

func (v *viewers) remove(one *viewer) {
	v.mu.Lock()
	defer v.mu.Unlock()
	delete(v.all, one)
}

func (v *viewers) count() int {
	v.mu.Lock()
	defer v.mu.Unlock()
	return len(v.all)
}

// tell gives an event to everyone, unless nothing is new.
func (v *viewers) tell(event []byte, at time.Time) {
	v.mu.Lock()
	defer v.mu.Unlock()
	if bytes.Equal(event, v.last) && at.Sub(v.sent) < heartbeat {
		return
	}
	v.last, v.sent = event, at
	for one := range v.all {
		select {
		case <-one.next: // too slow: this one is out of date
		default:
		}
		one.next <- event
	}
}

func (v *viewers) closeAll() {
	v.mu.Lock()
	defer v.mu.Unlock()
	v.closed = true
	for one := range v.all {
		close(one.next)
		delete(v.all, one)
	}
}

// tell puts the state into an event, if there is anybody to see it.
func (s *Server) tell(ctx context.Context) {
	if s.viewers.count() == 0 {
		return
	}
	event, err := s.event(ctx)
	if err != nil {
		if ctx.Err() == nil {
			s.o.Log.Warn("the viewers cannot be told", "error", err)
		}
		return
	}
	s.viewers.tell(event, s.o.Now())
}

func (s *Server) event(ctx context.Context) ([]byte, error) {
	v, err := s.now(ctx)
	if err != nil {
		return nil, err
	}
	text, err := json.Marshal(newState(v))
	if err != nil {
		return nil, err
	}
	return append(append([]byte("data: "), text...), "\n\n"...), nil
}

// live streams the events to one viewer.
func (s *Server) live(w http.ResponseWriter, r *http.Request) {
	one := s.viewers.add()
	if one == nil {
		http.Error(w, "too many viewers", http.StatusServiceUnavailable)
		return
	}
	defer s.viewers.remove(one)
	event, err := s.event(r.Context())
	if err != nil {
		s.fail(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	w.Header().Set("X-Accel-Buffering", "no")
	out := http.NewResponseController(w)
	_ = out.SetReadDeadline(time.Time{}) // the request is read; the stream has no end
	for open := true; open; {
		// A telephone that went away is found out by what it does not take.
		_ = out.SetWriteDeadline(time.Now().Add(sendWithin))
		if _, err := w.Write(event); err != nil {
			return
		}
		if err := out.Flush(); err != nil {
			return
		}
		select {
		case event, open = <-one.next:
		case <-r.Context().Done():
			return
		}
	}
}
