package metrics

import (
	"encoding/json"
	"fmt"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
)

// leastFree is the room on the disk below which a collector is not ready.
const leastFree = 100 << 20

// lateCommits is after how many missed commits a collector is not ready.
const lateCommits = 3

// Check is one condition of being ready.
type Check struct {
	What   string `json:"what"`
	OK     bool   `json:"ok"`
	Detail string `json:"detail"`
}

// Health is the answer to whether a collector is ready.
type Health struct {
	Schema int     `json:"schema"` // 1
	Ready  bool    `json:"ready"`
	Checks []Check `json:"checks"`
}

// Health tells whether every sensor speaks, commits succeed and the disk has room.
func (w *Watch) Health() Health {
	h := Health{Schema: 1, Ready: true, Checks: []Check{}}
	add := func(what string, ok bool, detail string) {
		h.Ready = h.Ready && ok
		h.Checks = append(h.Checks, Check{what, ok, detail})
	}
	now := w.o.Now()
	w.mu.Lock()
	defer w.mu.Unlock()
	for _, s := range w.o.Sensors {
		silence := s.Silence
		if silence <= 0 {
			silence = defaultSilence
		}
		spoke, ever := w.spoke[s.Name]
		if !ever {
			spoke = w.began
		}
		since := now.Sub(spoke).Round(time.Second)
		detail := fmt.Sprintf("last reading %v ago", since)
		if !ever {
			detail = fmt.Sprintf("no reading in the %v since collecting began", since)
		}
		add("sensor "+s.Name, since <= silence, detail)
	}
	committed := w.committed
	if committed.IsZero() {
		committed = w.began
	}
	switch late := now.Sub(committed); {
	case w.failing != nil:
		add("store", late <= lateCommits*w.o.CommitEvery, fmt.Sprintf("the last commit failed: %v", w.failing))
	case w.committed.IsZero():
		add("store", true, "nothing committed yet")
	default:
		add("store", true, fmt.Sprintf("last commit %v ago", late.Round(time.Second)))
	}
	if w.o.FreeBytes != nil {
		free, err := w.o.FreeBytes()
		if err != nil {
			add("disk", false, fmt.Sprintf("its room cannot be told: %v", err))
		} else {
			add("disk", free >= leastFree, fmt.Sprintf("%d MB free, at least %d wanted", free>>20, leastFree>>20))
		}
	}
	return h
}

// Handler serves /metrics, /health/live and /health/ready.
func (w *Watch) Handler() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(w.registry, promhttp.HandlerOpts{EnableOpenMetrics: true, MaxRequestsInFlight: 4}))
	mux.HandleFunc("GET /health/live", func(out http.ResponseWriter, _ *http.Request) {
		answer(out, http.StatusOK, map[string]any{"schema": 1, "live": true})
	})
	mux.HandleFunc("GET /health/ready", func(out http.ResponseWriter, _ *http.Request) {
		h, code := w.Health(), http.StatusOK
		if !h.Ready {
			code = http.StatusServiceUnavailable
		}
		answer(out, code, h)
	})
	return mux
}

func answer(out http.ResponseWriter, code int, v any) {
	out.Header().Set("Content-Type", "application/json")
	out.Header().Set("Cache-Control", "no-store")
	out.WriteHeader(code)
	_ = json.NewEncoder(out).Encode(v) // whoever asked has gone
}
