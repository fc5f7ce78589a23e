package metrics

import (
	"context"
	"sync"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"

	"dustlog/internal/dust"
)

// Sink keeps what was collected, as package collect has it.
type Sink interface {
	Append(ctx context.Context, batch []dust.Reading) (added int, err error)
	AddLineQuality(ctx context.Context, list ...dust.LineQuality) error
	AddEvent(ctx context.Context, e dust.Event) error
}

// Options say what is watched.
type Options struct {
	Version string
	Sensors []Sensor
	// CommitEvery is how often a collector commits; commits that fail for longer than
	// three times that are a trouble.
	CommitEvery time.Duration
	// FreeBytes tells the room on the store's disk; nil: not told.
	FreeBytes func() (uint64, error)
	Now       func() time.Time // nil: time.Now
}

// Sensor is one that ought to speak.
type Sensor struct {
	dust.Sensor
	Silence time.Duration // how long it may be silent; 0: 30 s
}

// defaultSilence is how long a sensor at a reading a second may be silent.
const defaultSilence = 30 * time.Second

// Watch counts what a collector does. Its methods may be called from several
// goroutines at once.
type Watch struct {
	o        Options
	registry *prometheus.Registry
	began    time.Time

	readings, flagged, events               *prometheus.CounterVec
	last, level                             *prometheus.GaugeVec
	frames, checksums, otherErrors, skipped *prometheus.CounterVec
	stored, commits, failures               prometheus.Counter
	took                                    prometheus.Histogram
	lastCommit                              prometheus.Gauge

	mu        sync.Mutex
	spoke     map[string]time.Time
	committed time.Time
	failing   error
}

// masses are the channels told as levels: fine dust by mass.
var masses = []dust.Channel{dust.PM1, dust.PM25, dust.PM10}

// New begins to watch.
func New(o Options) *Watch {
	if o.Now == nil {
		o.Now = time.Now
	}
	bySensor := []string{"sensor", "position"}
	counter := func(name, help string, labels ...string) *prometheus.CounterVec {
		return prometheus.NewCounterVec(prometheus.CounterOpts{Namespace: "dustlog", Name: name, Help: help}, labels)
	}
	gauge := func(name, help string, labels ...string) *prometheus.GaugeVec {
		return prometheus.NewGaugeVec(prometheus.GaugeOpts{Namespace: "dustlog", Name: name, Help: help}, labels)
	}
	w := &Watch{
		o: o, registry: prometheus.NewRegistry(), began: o.Now(), spoke: map[string]time.Time{},
		readings:    counter("readings_total", "Readings taken from a sensor, flagged ones included.", bySensor...),
		flagged:     counter("flagged_readings_total", "Readings that carry a flag, by flag.", "sensor", "flag"),
		events:      counter("events_total", "Events worth keeping, as a lost port or a step of the clock.", "sensor", "kind"),
		last:        gauge("last_reading_timestamp_seconds", "Time of the newest reading.", bySensor...),
		level:       gauge("dust_milligrams_per_cubic_meter", "Newest reading of fine dust, as the optical sensor gives it; absent while it is unusable.", "sensor", "position", "metric"),
		frames:      counter("line_frames_total", "Frames from the line whose checksum was right.", "sensor"),
		checksums:   counter("line_checksum_errors_total", "Frames whose checksum was wrong.", "sensor"),
		otherErrors: counter("line_other_errors_total", "Frames that were wrong otherwise.", "sensor"),
		skipped:     counter("line_skipped_bytes_total", "Bytes that belonged to no frame.", "sensor"),
		stored:      prometheus.NewCounter(prometheus.CounterOpts{Namespace: "dustlog", Name: "stored_readings_total", Help: "Readings that the store had not yet and has acknowledged."}),
		commits:     prometheus.NewCounter(prometheus.CounterOpts{Namespace: "dustlog", Name: "commits_total", Help: "Commits of readings that succeeded."}),
		failures:    prometheus.NewCounter(prometheus.CounterOpts{Namespace: "dustlog", Name: "commit_failures_total", Help: "Commits of readings that failed; what they held is tried again."}),
		took: prometheus.NewHistogram(prometheus.HistogramOpts{Namespace: "dustlog", Name: "commit_duration_seconds", Help: "How long a commit of readings took.",
			Buckets: []float64{0.001, 0.003, 0.01, 0.03, 0.1, 0.3, 1, 3, 10}}),
		lastCommit: prometheus.NewGauge(prometheus.GaugeOpts{Namespace: "dustlog", Name: "last_commit_timestamp_seconds", Help: "Time of the last commit that succeeded; 0 before the first."}),
	}
	build := gauge("build_info", "The version of dustlog; always 1.", "version")
	build.WithLabelValues(o.Version).Set(1)
	w.registry.MustRegister(w.readings, w.flagged, w.events, w.last, w.level, w.frames, w.checksums, w.otherErrors, w.skipped,
		w.stored, w.commits, w.failures, w.took, w.lastCommit, build,
		collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	if o.FreeBytes != nil {
		w.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Namespace: "dustlog", Name: "store_disk_free_bytes", Help: "Room on the disk that the store lies on; -1 if it cannot be told."}, func() float64 {
			free, err := o.FreeBytes()
			if err != nil {
				return -1
			}
			return float64(free)
		}))
	}
	for _, s := range o.Sensors { // so that a sensor that never spoke shows as zero
		w.readings.WithLabelValues(s.Name, string(s.Position))
	}
	return w
}

// Reading counts a reading that was taken.
func (w *Watch) Reading(r dust.Reading) {
	position := w.position(r.Sensor)
	w.readings.WithLabelValues(r.Sensor, position).Inc()
	w.last.WithLabelValues(r.Sensor, position).Set(float64(r.Time.UnixMilli()) / 1000)
	for _, flag := range r.Flags.Names() {
		w.flagged.WithLabelValues(r.Sensor, flag).Inc()
	}
	for _, c := range masses {
		x, ok := r.Values.Get(c)
		if !ok || r.Flags.For(c).Unusable() {
			w.level.DeleteLabelValues(r.Sensor, position, c.Metric())
			continue
		}
		w.level.WithLabelValues(r.Sensor, position, c.Metric()).Set(x / 1000) // from µg/m³
	}
	w.mu.Lock()
	w.spoke[r.Sensor] = w.o.Now()
	w.mu.Unlock()
}

func (w *Watch) position(sensor string) string {
	for _, s := range w.o.Sensors {
		if s.Name == sensor {
			return string(s.Position)
		}
	}
	return ""
}

// Sink watches what goes into s.
func (w *Watch) Sink(s Sink) Sink { return watched{s, w} }

type watched struct {
	Sink
	w *Watch
}

// Append passes a batch on.
func (x watched) Append(ctx context.Context, batch []dust.Reading) (int, error) {
	began := time.Now()
	added, err := x.Sink.Append(ctx, batch)
	w := x.w
	w.mu.Lock()
	w.failing = err
	if err == nil {
		w.committed = w.o.Now()
	}
	w.mu.Unlock()
	if err != nil {
		w.failures.Inc()
		return added, err
	}
	w.took.Observe(time.Since(began).Seconds())
	w.commits.Inc()
	w.stored.Add(float64(added))
	w.lastCommit.Set(float64(w.o.Now().UnixMilli()) / 1000)
	return added, nil
}

// AddLineQuality passes counts on.
func (x watched) AddLineQuality(ctx context.Context, list ...dust.LineQuality) error {
	err := x.Sink.AddLineQuality(ctx, list...)
	if err == nil {
		for _, q := range list {
			x.w.frames.WithLabelValues(q.Sensor).Add(float64(q.Frames))
			x.w.checksums.WithLabelValues(q.Sensor).Add(float64(q.ChecksumErrors))
			x.w.otherErrors.WithLabelValues(q.Sensor).Add(float64(q.OtherErrors))
			x.w.skipped.WithLabelValues(q.Sensor).Add(float64(q.BytesSkipped))
		}
	}
	return err
}

// AddEvent passes an event on.
func (x watched) AddEvent(ctx context.Context, e dust.Event) error {
	err := x.Sink.AddEvent(ctx, e)
	if err == nil {
		x.w.events.WithLabelValues(e.Sensor, e.Kind).Inc()
	}
	return err
}
