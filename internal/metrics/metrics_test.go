package metrics

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	dto "github.com/prometheus/client_model/go"
	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// store takes what it is given, unless it is full.
type store struct{ err error }

func (s *store) Append(_ context.Context, batch []dust.Reading) (int, error) {
	return len(batch), s.err
}
func (s *store) AddLineQuality(context.Context, ...dust.LineQuality) error { return s.err }
func (s *store) AddEvent(context.Context, dust.Event) error                { return s.err }

type bench struct {
	*Watch
	now  time.Time
	free uint64
}

func newBench() *bench {
	b := &bench{now: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC), free: 1 << 40}
	b.Watch = New(Options{
		Version: "1.2.3", CommitEvery: 10 * time.Second, Now: func() time.Time { return b.now },
		FreeBytes: func() (uint64, error) { return b.free, nil },
		Sensors:   []Sensor{{Sensor: dust.Sensor{Name: "bench", Position: dust.BreathingZone}}, {Sensor: dust.Sensor{Name: "outlet", Position: dust.Exhaust}, Silence: 5 * time.Minute}},
	})
	return b
}

func (b *bench) get(t *testing.T, path, accept string) *httptest.ResponseRecorder {
	t.Helper()
	r := httptest.NewRequest(http.MethodGet, path, nil)
	r.Header.Set("Accept", accept)
	w := httptest.NewRecorder()
	b.Handler().ServeHTTP(w, r)
	return w
}

// families are what another program reads, by the parser of the format's own library.
func (b *bench) families(t *testing.T) map[string]*dto.MetricFamily {
	t.Helper()
	parser := expfmt.NewTextParser(model.UTF8Validation)
	all, err := parser.TextToMetricFamilies(b.get(t, "/metrics", "text/plain").Body)
	require.NoError(t, err)
	return all
}

// value is that of the only metric of a family with the labels given.
func value(t *testing.T, all map[string]*dto.MetricFamily, name string, labels ...string) float64 {
	t.Helper()
	require.Contains(t, all, name)
	var found []float64
	for _, m := range all[name].GetMetric() {
		has := map[string]string{}
		for _, l := range m.GetLabel() {
			has[l.GetName()] = l.GetValue()
		}
		fits := true
		for i := 0; i < len(labels); i += 2 {
			fits = fits && has[labels[i]] == labels[i+1]
		}
		if fits {
			found = append(found, m.GetCounter().GetValue()+m.GetGauge().GetValue())
		}
	}
	require.Len(t, found, 1, "%s %v", name, labels)
	return found[0]
}

func reading(sensor string, at time.Time, pm25 float64, flags dust.Flags) dust.Reading {
	r := dust.Reading{Time: at, Sensor: sensor, Flags: flags}
	r.Values.Set(dust.PM25, pm25)
	return r
}

func TestCounts(t *testing.T) {
	b := newBench()
	s := &store{}
	sink := b.Sink(s)
	batch := []dust.Reading{reading("bench", b.now, 250, 0), reading("bench", b.now.Add(time.Second), 300, dust.Humid)}
	for _, r := range batch {
		b.Reading(r)
	}
	_, err := sink.Append(t.Context(), batch)
	require.NoError(t, err)
	require.NoError(t, sink.AddLineQuality(t.Context(), dust.LineQuality{Sensor: "bench", Frames: 2, ChecksumErrors: 1, OtherErrors: 3, BytesSkipped: 40}))
	require.NoError(t, sink.AddEvent(t.Context(), dust.Event{Sensor: "bench", Kind: "lost"}))

	all := b.families(t)
	require.EqualValues(t, 2, value(t, all, "dustlog_readings_total", "sensor", "bench", "position", "breathing_zone"))
	require.Zero(t, value(t, all, "dustlog_readings_total", "sensor", "outlet"), "one that never spoke shows")
	require.EqualValues(t, 1, value(t, all, "dustlog_flagged_readings_total", "sensor", "bench", "flag", "humid"))
	require.InDelta(t, 0.3, value(t, all, "dustlog_dust_milligrams_per_cubic_meter", "sensor", "bench", "metric", "pm2_5"), 1e-12)
	require.EqualValues(t, b.now.Unix()+1, value(t, all, "dustlog_last_reading_timestamp_seconds", "sensor", "bench"))
	require.EqualValues(t, 2, value(t, all, "dustlog_stored_readings_total"))
	require.EqualValues(t, 1, value(t, all, "dustlog_commits_total"))
	require.EqualValues(t, 2, value(t, all, "dustlog_line_frames_total", "sensor", "bench"))
	require.EqualValues(t, 1, value(t, all, "dustlog_line_checksum_errors_total", "sensor", "bench"))
	require.EqualValues(t, 3, value(t, all, "dustlog_line_other_errors_total", "sensor", "bench"))
	require.EqualValues(t, 40, value(t, all, "dustlog_line_skipped_bytes_total", "sensor", "bench"))
	require.EqualValues(t, 1, value(t, all, "dustlog_events_total", "sensor", "bench", "kind", "lost"))
	require.EqualValues(t, 1, value(t, all, "dustlog_build_info", "version", "1.2.3"))
	require.EqualValues(t, 1<<40, value(t, all, "dustlog_store_disk_free_bytes"))
	require.Contains(t, all, "go_goroutines")

	// An unusable reading is no level; what failed is not stored.
	b.Reading(reading("bench", b.now.Add(2*time.Second), 5000, dust.Stuck))
	s.err = errors.New("the disk is full")
	_, err = sink.Append(t.Context(), batch)
	require.ErrorIs(t, err, s.err)
	require.ErrorIs(t, sink.AddEvent(t.Context(), dust.Event{Sensor: "bench", Kind: "lost"}), s.err)
	all = b.families(t)
	require.NotContains(t, all, "dustlog_dust_milligrams_per_cubic_meter")
	require.EqualValues(t, 1, value(t, all, "dustlog_commit_failures_total"))
	require.EqualValues(t, 2, value(t, all, "dustlog_stored_readings_total"))
	require.EqualValues(t, 1, value(t, all, "dustlog_events_total", "kind", "lost"))
}

// OpenMetrics 1.0.0: the content type, the end mark, and counters named with _total.
func TestOpenMetricsIsOffered(t *testing.T) {
	b := newBench()
	w := b.get(t, "/metrics", "application/openmetrics-text; version=1.0.0; charset=utf-8")
	require.Contains(t, w.Header().Get("Content-Type"), "application/openmetrics-text; version=1.0.0")
	text := w.Body.String()
	require.Contains(t, text, "# EOF\n")
	require.Contains(t, text, "# TYPE dustlog_readings counter\n")
	require.Contains(t, text, `dustlog_readings_total{position="breathing_zone",sensor="bench"} 0.0`)
}

func TestHealth(t *testing.T) {
	b := newBench()
	s := &store{}
	sink := b.Sink(s)
	health := func() (code int, bad []string) {
		w := b.get(t, "/health/ready", "")
		var h Health
		require.NoError(t, json.Unmarshal(w.Body.Bytes(), &h))
		require.Equal(t, h.Ready, w.Code == http.StatusOK)
		for _, c := range h.Checks {
			if !c.OK {
				bad = append(bad, c.What+": "+c.Detail)
			}
		}
		return w.Code, bad
	}
	require.Equal(t, http.StatusOK, b.get(t, "/health/live", "").Code)
	code, _ := health()
	require.Equal(t, http.StatusOK, code, "it has only begun")

	b.now = b.now.Add(40 * time.Second)
	_, bad := health()
	require.Equal(t, []string{"sensor bench: no reading in the 40s since collecting began"}, bad, "the outlet may be silent for longer")

	b.Reading(reading("bench", b.now, 1, 0))
	b.Reading(reading("outlet", b.now, 1, 0))
	_, err := sink.Append(t.Context(), nil)
	require.NoError(t, err)
	code, bad = health()
	require.Equal(t, http.StatusOK, code, bad)

	s.err = errors.New("the disk is full")
	b.now = b.now.Add(20 * time.Second)
	_, err = sink.Append(t.Context(), nil)
	require.Error(t, err)
	code, _ = health()
	require.Equal(t, http.StatusOK, code, "one commit that failed is tried again")
	b.now = b.now.Add(20 * time.Second)
	b.Reading(reading("bench", b.now, 1, 0))
	code, bad = health()
	require.Equal(t, http.StatusServiceUnavailable, code)
	require.Equal(t, []string{"store: the last commit failed: the disk is full"}, bad)

	s.err, b.free = nil, 1<<20
	_, err = sink.Append(t.Context(), nil)
	require.NoError(t, err)
	_, bad = health()
	require.Equal(t, []string{"disk: 1 MB free, at least 100 wanted"}, bad)
}
