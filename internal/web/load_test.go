package web

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/collect"
	"dustlog/internal/dust"
)

const (
	loadViewers = 50
	loadSensors = 4
)

// hasty is a sensor that sends as fast as it is read, a second of its own clock
// apart, until it has sent all.
type hasty struct {
	collect.Clock
	began     time.Time
	sent, all int
}

func (h *hasty) Read(ctx context.Context) (dust.Values, dust.Flags, error) {
	var v dust.Values
	if h.sent == h.all {
		return v, 0, io.EOF
	}
	h.sent++
	v.Set(dust.PM25, float64(20+h.sent%7))
	return v, 0, ctx.Err()
}

func (h *hasty) Wall() time.Time           { return h.began.Add(h.Elapsed()) }
func (h *hasty) Elapsed() time.Duration    { return time.Duration(h.sent) * time.Second }
func (h *hasty) Quality() dust.LineQuality { return dust.LineQuality{} }
func (h *hasty) Close() error              { return nil }

// crowd is viewers that read events until stop is called; two of three are slow
// and read nothing at all.
func crowd(t testing.TB, address string) (stop func(), events *atomic.Int64) {
	ctx, cancel := context.WithCancel(context.Background())
	events = &atomic.Int64{}
	var all sync.WaitGroup
	client := &http.Client{Transport: &http.Transport{}}
	for i := range loadViewers {
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, address+"/live", nil)
		require.NoError(t, err)
		answer, err := client.Do(r)
		require.NoError(t, err)
		require.Equal(t, 200, answer.StatusCode)
		all.Go(func() {
			defer answer.Body.Close()
			if i%3 != 0 {
				<-ctx.Done()
				return
			}
			for lines := bufio.NewScanner(answer.Body); lines.Scan(); {
				if len(lines.Bytes()) > 0 {
					events.Add(1)
				}
			}
		})
	}
	return func() { cancel(); all.Wait(); client.CloseIdleConnections() }, events
}

// Fifty viewers, most of them asleep, must not cost the collector a reading or the
// program memory.
func TestViewersCostTheCollectorNothing(t *testing.T) {
	s := newShop(t, nil)
	server := httptest.NewServer(s.Handler())
	defer server.Close()
	s.guard.requests.holds = 1e9
	stop, events := crowd(t, server.URL)
	running, end := context.WithCancel(t.Context())
	var page sync.WaitGroup
	page.Go(func() { s.Run(running) })
	defer func() { end(); page.Wait(); stop() }()

	const rounds, each = 4, 2500
	var heap []uint64
	for round := range rounds {
		var inputs []collect.Input
		for i := range loadSensors {
			h := &hasty{began: noon.Add(time.Duration(round) * each * time.Second), all: each}
			inputs = append(inputs, collect.Input{
				Sensor: dust.Sensor{Name: fmt.Sprintf("s%d", i), Position: dust.BreathingZone}, Clock: h,
				Open: func(context.Context) (collect.Source, error) { return h, nil },
			})
		}
		summary, err := collect.Run(t.Context(), inputs, s.store, collect.Options{OnReading: s.Offer})
		require.NoError(t, err)
		require.EqualValues(t, loadSensors*each, summary.Readings())
		s.clock.add(each * time.Second)
		s.tell(t.Context())
		heap = append(heap, held())
	}
	spans, err := s.store.Span(t.Context())
	require.NoError(t, err)
	require.Len(t, spans, loadSensors)
	for _, span := range spans {
		require.EqualValues(t, rounds*each, span.Count, "%s: every reading is in the store", span.Sensor)
	}
	require.Positive(t, events.Load())
	// An answer that is just being worked out takes memory too, but gives it back.
	require.Eventually(t, func() bool { return held() < heap[0]+4<<20 }, time.Minute, 50*time.Millisecond, "four times the readings take no more memory: %v", heap)
}

// held is what the heap holds, in bytes.
func held() uint64 {
	runtime.GC()
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return m.HeapAlloc
}

// BenchmarkPages asks for pages as a crowd does, fifty viewers' streams open, and
// reports the slowest of a hundred.
func BenchmarkPages(b *testing.B) {
	s := newShop(b, nil)
	for i := range loadSensors {
		s.sensor(fmt.Sprintf("s%d", i), dust.BreathingZone, 4*3600, 40, 0)
	}
	server := httptest.NewServer(s.Handler())
	defer server.Close()
	s.guard.requests.holds = 1e9
	stop, _ := crowd(b, server.URL)
	defer stop()
	for _, path := range []string{"/", "/diary", "/days", "/tasks", "/dock", "/trace.svg"} {
		b.Run(path, func(b *testing.B) {
			took := make([]time.Duration, 0, b.N)
			for b.Loop() {
				began := time.Now()
				answer, err := server.Client().Get(server.URL + path)
				require.NoError(b, err)
				_, err = io.Copy(io.Discard, answer.Body)
				require.NoError(b, err)
				answer.Body.Close()
				took = append(took, time.Since(began))
			}
			slices.Sort(took)
			b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
		})
	}
}
