package collect

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"sync"
	"time"

	"dustlog/internal/dust"
)

// Source is one open sensor.
type Source interface {
	// Read waits for the next reading's values. io.EOF ends the sensor for good.
	Read(ctx context.Context) (dust.Values, dust.Flags, error)
	// Quality counts what came over the line since it was opened.
	Quality() dust.LineQuality
	Close() error
}

// Noter is a Source that notices things worth an event, besides being lost or silent.
// Notes returns those since it was last asked; only Kind and Text are filled in.
type Noter interface{ Notes() []dust.Event }

// The kinds of events that a run records.
const (
	EventLost        = "lost"         // the line went away
	EventSilent      = "silent"       // the line is there, but no reading came
	EventBack        = "back"         // readings come again
	EventClockStep   = "clock_step"   // the computer's clock was changed
	EventWrongSensor = "wrong_sensor" // another model seems to speak on the line
	EventSwapped     = "swapped"      // the same model, but another specimen
	EventMoved       = "moved"        // found again under another name of its port
	EventDuty        = "duty"         // the sensor is switched off and on to a plan, or refuses to be
)

// Sink keeps what was collected.
type Sink interface {
	Append(ctx context.Context, batch []dust.Reading) (added int, err error)
	AddLineQuality(ctx context.Context, list ...dust.LineQuality) error
	AddEvent(ctx context.Context, e dust.Event) error
}

// Input is one sensor to be collected.
type Input struct {
	Sensor dust.Sensor
	WarmUp time.Duration // readings this soon after opening are flagged
	Open   func(ctx context.Context) (Source, error)
	Clock  Clock // nil: the system clock
}

// Options are the collector's settings. The zero Options are the defaults.
type Options struct {
	CommitEvery time.Duration // at most this much is lost if power fails; 0: 10 s
	CommitSize  int           // readings that trigger a commit before that; 0: 1000
	Log         *slog.Logger  // nil: silent
	// Patient keeps a run going even if no sensor ever gave a valid frame.
	Patient bool
	// OnReading, if set, sees every reading, from one goroutine.
	OnReading func(dust.Reading)
	// OnTurn, if set, is called with each turn of the loop that commits, at least
	// every CommitEvery while that loop is well: a sign of life.
	OnTurn func()
}

func (o Options) withDefaults() Options {
	if o.CommitEvery <= 0 {
		o.CommitEvery = 10 * time.Second
	}
	if o.CommitSize <= 0 {
		o.CommitSize = 1000
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	return o
}

// Summary is what a run did.
type Summary struct {
	Sensors []SensorSummary `json:"sensors"`
}

// Readings counts the readings of all sensors.
func (s Summary) Readings() (n int64) {
	for _, one := range s.Sensors {
		n += one.Readings
	}
	return n
}

// SensorSummary is what a run did for one sensor.
type SensorSummary struct {
	Sensor   string           `json:"sensor"`
	Readings int64            `json:"readings"`
	Flagged  int64            `json:"readings_flagged"`
	Lost     int              `json:"times_lost"`
	Silent   int              `json:"times_silent"`
	Line     dust.LineQuality `json:"line"`
	Last     error            `json:"-"` // why the sensor was not delivering at the end, or nil
}

// Run collects from all inputs until ctx ends or every source has reached its
// end. It opens every sensor first and returns an error, having stored nothing,
// if one cannot be opened. Ending ctx is not an error. The error wraps
// dust.ErrSilent if no sensor ever gave a valid frame.
func Run(ctx context.Context, inputs []Input, sink Sink, o Options) (Summary, error) {
	o = o.withDefaults()
	workers := make([]*worker, 0, len(inputs))
	for _, in := range inputs {
		w := newWorker(in, o)
		if err := w.open(ctx); err != nil {
			for _, opened := range workers {
				opened.source.Close()
			}
			return Summary{}, fmt.Errorf("sensor %q: %w", in.Sensor.Name, err)
		}
		workers = append(workers, w)
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	queue := make(chan item, 4096)
	var reading sync.WaitGroup
	silence := newSilence(len(workers), stop)
	for _, w := range workers {
		reading.Go(func() { w.run(ctx, queue, silence) })
	}
	go func() { reading.Wait(); close(queue) }()

	err := write(ctx, queue, sink, o)
	stop() // a sink that failed for good ends the readers too
	for range queue {
	}
	summary := Summary{}
	for _, w := range workers {
		summary.Sensors = append(summary.Sensors, w.summary)
	}
	return summary, errors.Join(err, silence.err())
}

// item is what a worker hands to the writer: one of the three.
type item struct {
	reading *dust.Reading
	event   *dust.Event
	quality *dust.LineQuality
}

// worker runs one sensor.
type worker struct {
	in          Input
	o           Options
	source      Source
	stamper     stamper
	flagger     flagger
	summary     SensorSummary
	counted     dust.LineQuality // what the open source had counted when last told
	toldAt      time.Time
	toldElapsed time.Duration // the same moment
	trouble     string        // kind of the event that said so; "": readings come
	troubleAt   time.Duration
	behind      time.Duration // how far the wall clock was said to be set back; 0: it is not
}

func newWorker(in Input, o Options) *worker {
	if in.Clock == nil {
		in.Clock = SystemClock()
	}
	w := &worker{in: in, o: o, stamper: stamper{clock: in.Clock}, flagger: flagger{warmUp: in.WarmUp}}
	w.summary.Sensor, w.summary.Line.Sensor = in.Sensor.Name, in.Sensor.Name
	return w
}

func (w *worker) open(ctx context.Context) error {
	source, err := w.in.Open(ctx)
	if err != nil {
		return err
	}
	w.source, w.counted = source, dust.LineQuality{}
	w.toldAt, w.toldElapsed = w.stamper.now(), w.in.Clock.Elapsed()
	w.flagger.restart(w.toldElapsed)
	return nil
}

// run reads until ctx ends or the source is at its end, reopening a lost line.
func (w *worker) run(ctx context.Context, queue chan<- item, silence *silence) {
	heard, told := false, false
	for {
		err := w.readAll(ctx, queue, func() {
			if !heard {
				heard = true
				silence.heard()
			}
		})
		w.tellQuality(queue)
		w.source.Close()
		if errors.Is(err, io.EOF) || ctx.Err() != nil {
			return
		}
		w.noteTrouble(queue, err)
		if !w.o.Patient && !heard && !told && errors.Is(err, dust.ErrSilent) {
			told = true
			if silence.silent(err) {
				return
			}
		}
		if !w.reopen(ctx) {
			return
		}
	}
}

func (w *worker) readAll(ctx context.Context, queue chan<- item, heard func()) error {
	for {
		values, flags, err := w.source.Read(ctx)
		w.tellNotes(queue)
		if err != nil {
			return err
		}
		heard()
		w.noteBack(queue)
		at, clockFlag, step := w.stamper.stamp()
		w.noteStep(queue, at, step)
		r := &dust.Reading{Time: at, Sensor: w.in.Sensor.Name, Values: values}
		r.Flags = flags | clockFlag | w.flagger.flags(w.in.Clock.Elapsed(), values)
		w.summary.Readings++
		if r.Flags != 0 {
			w.summary.Flagged++
		}
		queue <- item{reading: r}
		if w.in.Clock.Elapsed()-w.toldElapsed >= w.o.CommitEvery*6 {
			w.tellQuality(queue)
		}
	}
}

// noteTrouble records why no reading comes: once, until one comes or the reason is
// another.
func (w *worker) noteTrouble(queue chan<- item, err error) {
	w.summary.Last = err
	kind, count := EventLost, &w.summary.Lost
	if errors.Is(err, dust.ErrSilent) {
		kind, count = EventSilent, &w.summary.Silent
	}
	if w.trouble == kind {
		return
	}
	if w.trouble == "" {
		w.troubleAt = w.in.Clock.Elapsed()
	}
	w.trouble = kind
	*count++
	w.event(queue, kind, err.Error())
	w.o.Log.Warn("sensor not delivering", "sensor", w.in.Sensor.Name, "error", err)
}

// noteBack records that readings come again.
func (w *worker) noteBack(queue chan<- item) {
	w.summary.Last = nil
	if w.trouble == "" {
		return
	}
	w.trouble = ""
	gone := (w.in.Clock.Elapsed() - w.troubleAt).Round(time.Second)
	w.event(queue, EventBack, fmt.Sprintf("readings again, %s after it was noticed that there were none", gone))
	w.o.Log.Info("readings again", "sensor", w.in.Sensor.Name, "after", gone)
}

// noteStep records each change of the wall clock once, with its size, and the end of a
// time in which it was behind.
func (w *worker) noteStep(queue chan<- item, at time.Time, step time.Duration) {
	size := (step - w.behind).Round(time.Second)
	text := fmt.Sprintf("the computer's clock was changed by %s", size)
	switch {
	case step < 0 && size.Abs() <= clockStep:
		return // still as far back as was said
	case step < 0:
		w.behind = step
		text += fmt.Sprintf(": it is %s behind the readings before; times go on from those, flagged, until it is set right or dustlog is started anew", (-step).Round(time.Second))
	case w.behind < 0:
		w.behind = 0
		text += ": it is no longer behind the readings before"
	case step > 0:
		text += ": if it is right now, the times of the readings before are too early by as much"
	default:
		return
	}
	queue <- item{event: &dust.Event{Time: at, Sensor: w.in.Sensor.Name, Kind: EventClockStep, Text: text}}
	w.o.Log.Warn("the computer's clock was changed", "sensor", w.in.Sensor.Name, "step", size)
}

func (w *worker) event(queue chan<- item, kind, text string) {
	queue <- item{event: &dust.Event{Time: w.stamper.now(), Sensor: w.in.Sensor.Name, Kind: kind, Text: text}}
}

// tellNotes records what the source noticed.
func (w *worker) tellNotes(queue chan<- item) {
	source, ok := w.source.(Noter)
	if !ok {
		return
	}
	for _, note := range source.Notes() {
		w.event(queue, note.Kind, note.Text)
		w.o.Log.Warn(note.Text, "sensor", w.in.Sensor.Name, "event", note.Kind)
	}
}

// tellQuality sends what was counted on the line since it was last told.
func (w *worker) tellQuality(queue chan<- item) {
	total, now := w.source.Quality(), w.stamper.now()
	q := dust.LineQuality{
		Sensor: w.in.Sensor.Name, From: w.toldAt, To: now,
		Frames:         total.Frames - w.counted.Frames,
		ChecksumErrors: total.ChecksumErrors - w.counted.ChecksumErrors,
		OtherErrors:    total.OtherErrors - w.counted.OtherErrors,
		BytesSkipped:   total.BytesSkipped - w.counted.BytesSkipped,
	}
	w.counted, w.toldAt, w.toldElapsed = total, now, w.in.Clock.Elapsed()
	line := &w.summary.Line
	line.Frames += q.Frames
	line.ChecksumErrors += q.ChecksumErrors
	line.OtherErrors += q.OtherErrors
	line.BytesSkipped += q.BytesSkipped
	if q.Frames+q.ChecksumErrors+q.OtherErrors+q.BytesSkipped > 0 {
		queue <- item{quality: &q}
	}
}

// backOff are the waits before a lost line is opened again; the last repeats.
var backOff = []time.Duration{time.Second, 2 * time.Second, 5 * time.Second, 10 * time.Second}

// reopen tries until the line is open. It returns false when ctx ended, or the
// sensor is at its end.
func (w *worker) reopen(ctx context.Context) bool {
	for try := 0; ; try++ {
		select {
		case <-ctx.Done():
			return false
		case <-w.in.Clock.After(backOff[min(try, len(backOff)-1)]):
		}
		err := w.open(ctx)
		if err == nil {
			return true
		}
		if errors.Is(err, io.EOF) {
			return false
		}
		w.summary.Last = err
	}
}

// silence ends the run when no sensor ever gave a valid frame: then the fault is
// in the set-up, and someone is still there to read about it.
type silence struct {
	mu     sync.Mutex
	left   int
	errs   []error
	anyone bool
	stop   func()
}

func newSilence(n int, stop func()) *silence { return &silence{left: n, stop: stop} }

func (s *silence) heard() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.anyone = true
}

// silent notes that a sensor gave nothing and reports whether the run is over.
func (s *silence) silent(err error) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.errs = append(s.errs, err)
	if s.anyone || len(s.errs) < s.left {
		return false
	}
	s.stop()
	return true
}

func (s *silence) err() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.anyone || s.left == 0 || len(s.errs) < s.left {
		return nil
	}
	return errors.Join(s.errs...)
}
