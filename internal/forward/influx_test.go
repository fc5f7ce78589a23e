package forward_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/http/httputil"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"dustlog/internal/dust"
	"dustlog/internal/forward"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/influx/influxtest"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// server is a real InfluxDB 1.8 that all tests share, each with a database of its
// own, since it takes seconds to start; nil if the program is not there.
var server *influxtest.Server

func TestMain(m *testing.M) {
	var err error
	if server, err = influxtest.Start(); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	code := m.Run()
	if server != nil {
		server.Stop()
	}
	if leak := goleak.Find(); leak != nil && code == 0 {
		fmt.Fprintln(os.Stderr, leak)
		code = 1
	}
	os.Exit(code)
}

func newStore(t *testing.T) *sqlite.Store {
	t.Helper()
	s, err := sqlite.Open(t.Context(), filepath.Join(t.TempDir(), "dust.db"), sqlite.Options{Create: true})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, s.Close()) })
	return s
}

func newMirror(t *testing.T, dsn string) *influx.Mirror {
	t.Helper()
	m, err := influx.NewMirror(dsn, influx.Options{Shop: "north", Token: "my secret"})
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, m.Close()) })
	return m
}

// requireSame compares everything the server has with everything the store has.
func requireSame(t *testing.T, local *sqlite.Store, dsn string) {
	t.Helper()
	far, err := influx.Open(t.Context(), dsn, influx.Options{Shop: "north"})
	require.NoError(t, err)
	defer far.Close()
	want, err := local.Span(t.Context())
	require.NoError(t, err)
	got, err := far.Span(t.Context())
	require.NoError(t, err)
	require.Equal(t, want, got)
	storetest.Same(t, storetest.All(t, local, dust.Query{}), storetest.All(t, far, dust.Query{}))
}

func appendAll(t *testing.T, s *sqlite.Store, list []dust.Reading) {
	t.Helper()
	_, err := s.Append(t.Context(), list)
	require.NoError(t, err)
}

func once(t *testing.T, s *sqlite.Store, m *influx.Mirror) forward.Summary {
	t.Helper()
	sum, err := forward.Run(t.Context(), s, m, forward.Options{Once: true})
	require.NoError(t, err)
	return sum
}

func TestLateReadingsArriveToo(t *testing.T) {
	dsn := server.NewDatabase(t)
	local, m := newStore(t), newMirror(t, dsn)
	require.NoError(t, local.PutSensor(t.Context(), dust.Sensor{Name: "bench", Model: "sps30", Position: dust.Room}))
	appendAll(t, local, storetest.Readings("bench", start, 12_000))
	appendAll(t, local, storetest.Readings("room", start, 7))
	require.Equal(t, forward.Summary{Sent: 12_007, Requests: 3}, once(t, local, m))
	require.Equal(t, forward.Summary{}, once(t, local, m), "nothing is lacking")
	requireSame(t, local, dsn)

	appendAll(t, local, storetest.Readings("bench", start.AddDate(0, 0, -30), 100))                  // older than all
	appendAll(t, local, storetest.Readings("bench", start.Add(500*time.Millisecond), 100))           // in between
	appendAll(t, local, storetest.Readings("new sensor", start.AddDate(0, 0, -1), 3))                // never seen
	appendAll(t, local, storetest.Readings("bench", start.Add(12_000*time.Second), 100))             // new
	appendAll(t, local, storetest.Readings("room", time.Date(1969, 7, 20, 0, 0, 0, 0, time.UTC), 3)) // a dead clock
	sum := once(t, local, m)
	require.Less(t, sum.Sent, int64(1000), "not everything again")
	requireSame(t, local, dsn)
	require.Equal(t, forward.Summary{}, once(t, local, m))
}

// TestAPointTheServerCannotHold is refused by the real server, kept as an event,
// and costs no neighbour.
func TestAPointTheServerCannotHold(t *testing.T) {
	dsn := server.NewDatabase(t)
	local, m := newStore(t), newMirror(t, dsn)
	list := storetest.Readings("bench", start, 1000)
	odd := storetest.Readings("bench", time.Date(2300, 1, 1, 0, 0, 0, 0, time.UTC), 2)
	appendAll(t, local, append(list, odd...))
	sum := once(t, local, m)
	require.Equal(t, int64(2), sum.Refused)
	far, err := influx.Open(t.Context(), dsn, influx.Options{Shop: "north"})
	require.NoError(t, err)
	defer far.Close()
	storetest.Same(t, list, storetest.All(t, far, dust.Query{}))
	events, err := local.Events(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Len(t, events, 1)
	require.Contains(t, events[0].Text, "time outside range")
	require.Zero(t, once(t, local, m).Sent)
}

// mishaps stands between the forwarder and the server and lets hardly anything
// through as it should.
type mishaps struct {
	proxy  *httputil.ReverseProxy
	mu     sync.Mutex
	rng    *rand.Rand
	calls  int
	counts map[string]int
}

func (m *mishaps) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	m.mu.Lock()
	m.calls++
	what := []string{"through", "429", "500", "garbage", "lost answer", "cut", "login page", "proxy's 400"}[m.rng.IntN(8)]
	if m.calls > 200 {
		what = "through"
	}
	m.counts[what]++
	m.mu.Unlock()
	switch what {
	case "through":
		m.proxy.ServeHTTP(w, r)
	case "429":
		w.Header().Set("Retry-After", "0")
		w.WriteHeader(429)
	case "500":
		w.WriteHeader(500)
	case "garbage":
		hijacked(w, "\x00\xff not HTTP at all")
	case "lost answer": // the server has it, but the forwarder never hears of it
		m.proxy.ServeHTTP(httptest.NewRecorder(), r)
		hijacked(w, "")
	case "cut":
		_, _ = io.CopyN(io.Discard, r.Body, 100)
		hijacked(w, "HTTP/1.1 204 No Con")
	case "login page":
		_, _ = w.Write([]byte("<html>please log in</html>"))
	case "proxy's 400":
		http.Error(w, "bad request", 400)
	}
}

func hijacked(w http.ResponseWriter, text string) {
	conn, _, err := w.(http.Hijacker).Hijack()
	if err == nil {
		_, _ = conn.Write([]byte(text))
		_ = conn.Close()
	}
}

func TestMishapsLoseNothing(t *testing.T) {
	dsn := server.NewDatabase(t)
	local := newStore(t)
	proxy := httputil.NewSingleHostReverseProxy(&url.URL{Scheme: "http", Host: server.Address})
	proxy.ErrorLog = slog.NewLogLogger(slog.DiscardHandler, 0)
	between := &mishaps{proxy: proxy, rng: rand.New(rand.NewPCG(1, 2)), counts: map[string]int{}}
	front := httptest.NewServer(between)
	defer front.Close()
	m := newMirror(t, strings.Replace(dsn, server.Address, strings.TrimPrefix(front.URL, "http://"), 1))

	appendAll(t, local, storetest.Readings("bench", start, 20_000))
	appendAll(t, local, storetest.Readings("room", start, 5_000))
	var log bytes.Buffer
	// Once gives up after some tries; a new run goes on, as a new process would.
	for try := 0; ; try++ {
		require.Less(t, try, 100)
		_, err := forward.Run(t.Context(), local, m, forward.Options{Once: true, Batch: 500,
			FirstWait: time.Microsecond, Log: slog.New(slog.NewTextHandler(&log, nil))})
		if err == nil {
			break
		}
		require.NotContains(t, err.Error(), "secret")
	}
	requireSame(t, local, dsn)
	for what, n := range between.counts {
		require.Positive(t, n, what)
	}
	require.Len(t, between.counts, 8)
	require.NotContains(t, log.String(), "secret")
	states, err := local.ForwardStates(t.Context())
	require.NoError(t, err)
	require.NotContains(t, states[0].Target, "secret")
	require.Zero(t, states[0].Refused, "what a proxy says is no refusal")
}

// TestServerKilledWhileCollecting: the server is killed and comes back, the
// forwarder is ended and begun anew, readings come all the while, and some come
// late. The server takes seconds of a processor to come back, minutes on a busy
// one, so it is killed once.
func TestServerKilledWhileCollecting(t *testing.T) {
	dsn := server.NewDatabase(t)
	local, m := newStore(t), newMirror(t, dsn)
	// Neither so often that the looking takes the processor from the rest.
	options := forward.Options{Every: 20 * time.Millisecond, FirstWait: 20 * time.Millisecond, Batch: 300}
	var sent atomic.Int64
	options.OnBatch = func(n int64) { sent.Store(n) }
	for round := range 2 {
		ctx, cancel := context.WithCancel(t.Context())
		var wg sync.WaitGroup
		wg.Go(func() {
			_, err := forward.Run(ctx, local, m, options)
			require.NoError(t, err)
		})
		for i := range 60 {
			at := start.AddDate(0, 0, round).Add(time.Duration(i) * 100 * time.Second)
			appendAll(t, local, storetest.Readings("bench", at, 100))
			appendAll(t, local, storetest.Readings("late", at.Add(-time.Duration(i%5)*time.Hour), 50))
			switch {
			case round == 0 && i == 20:
				server.Kill()
			case round == 0 && i == 40:
				require.NoError(t, server.Run())
			}
		}
		cancel()
		wg.Wait()
	}
	once(t, local, m)
	requireSame(t, local, dsn)
	require.Positive(t, sent.Load())
}

// TestASilentServerDoesNotHoldTheCollector: while a request hangs, readings are
// written as if there were no forwarder.
func TestASilentServerDoesNotHoldTheCollector(t *testing.T) {
	hanging, released := make(chan struct{}), make(chan struct{})
	first, release := sync.OnceFunc(func() { close(hanging) }), sync.OnceFunc(func() { close(released) })
	front := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		_, _ = io.Copy(io.Discard, r.Body)
		first()
		<-released
	}))
	defer front.Close()
	defer release() // also after a failure: Close waits for the requests
	local := newStore(t)
	m := newMirror(t, strings.Replace(front.URL, "http://", "influx://", 1)+"/dust")
	appendAll(t, local, storetest.Readings("bench", start, 100))
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error)
	go func() {
		_, err := forward.Run(ctx, local, m, forward.Options{})
		ended <- err
	}()
	<-hanging
	// No other goroutine can let these through: the request hangs until they are
	// all written.
	for i := range 100 {
		appendAll(t, local, storetest.Readings("bench", start.Add(time.Duration(i+1)*100*time.Second), 100))
	}
	release()
	cancel()
	require.NoError(t, <-ended)
}
