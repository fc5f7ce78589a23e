package forward

import (
	"context"
	"errors"
	"fmt"
	"iter"
	"log/slog"
	"math/rand/v2"
	"time"

	"dustlog/internal/dust"
)

// Range is a stretch of one sensor's time that the target lacks: From ≤ t < To
// in Unix milliseconds. An alias, as the others here, so that stores need not
// import this package.
type Range = struct {
	ID       int64
	Sensor   string
	From, To int64
}

// Done says that a range was copied up to, but without, To.
type Done = struct {
	Range   Range
	To      int64
	LastMS  int64 // time of the newest reading copied; 0 for none
	Refused int64
}

// Diary is what belongs to readings so that they can be understood elsewhere.
type Diary = struct {
	Sensors      []dust.Sensor
	Tasks        []dust.Task
	Setups       []dust.Setup
	Periods      []dust.SetupPeriod
	Calibrations []dust.Calibration
	Generation   int64
}

// Outbox is the local store: it has the readings and knows, durably, what the
// target lacks of them.
type Outbox interface {
	AddForwardTarget(ctx context.Context, target string) error
	// TakeForward returns what the target lacks. A stretch is returned again
	// until ForwardShipped has said that it is done.
	TakeForward(ctx context.Context, target string) ([]Range, error)
	ForwardShipped(ctx context.Context, target string, done []Done) error
	// ForwardDiary returns nil if the target has the newest.
	ForwardDiary(ctx context.Context, target string) (*Diary, error)
	ForwardDiaryShipped(ctx context.Context, target string, d Diary) error
	Readings(ctx context.Context, q dust.Query) iter.Seq2[dust.Reading, error]
	AddEvent(ctx context.Context, e dust.Event) error
}

// Target is where copies go. Sending the same twice must be the same as once.
// Its errors may say more through Refusal and Waiter.
type Target interface {
	Name() string
	Write(ctx context.Context, readings []dust.Reading) error
	WriteDiary(ctx context.Context, d Diary) error
}

// Refusal is an error that tells whether the target itself found fault with what
// was sent, so that sending it again does not help.
type Refusal interface {
	Refused() bool
	Dropped() int // points left out while the others were kept; 0 if unknown
}

// Waiter is an error that tells how long the target wants to be left alone.
type Waiter interface{ RetryAfter() time.Duration }

// Options are the forwarder's settings. The zero Options are the defaults.
type Options struct {
	Once  bool          // end when the target has everything, or cannot be reached
	Every time.Duration // how often to look for new readings; 0: a minute
	Batch int           // readings in one request; 0: 5000
	// FirstWait is how long to wait after a first failure; 0: a second.
	FirstWait time.Duration
	Log       *slog.Logger // nil: silent
	// OnBatch, if set, is told how many readings have been sent so far.
	OnBatch func(sent int64)
	// Now stamps events; nil: time.Now.
	Now func() time.Time
}

// Waits after a failed request: doubled from the first to lastWait, half of each
// left to chance so that many shops do not knock at once. What the target asks
// for comes first, up to longestAsked.
const (
	batchSize    = 5000 // readings in a request
	lastWait     = 5 * time.Minute
	longestAsked = time.Hour
)

// Summary is what a run did.
type Summary struct {
	Sent     int64 `json:"sent"`     // readings, repetitions included
	Refused  int64 `json:"refused"`  // readings that the target would not take
	Requests int64 `json:"requests"` // that carried readings and were confirmed
	Retries  int64 `json:"retries"`
}

// Run copies what the target lacks until ctx ends, which is not an error, and
// never gives up: a target that is away, or a store that is busy, is tried again
// and again. With Options.Once it ends when the target has everything; then a
// store that fails, or a target that fails several times, is an error.
//
// It holds a few batches in memory and no lock of the store while it waits for the
// target, so a collector that writes to the same store is not slowed.
func Run(ctx context.Context, box Outbox, target Target, o Options) (Summary, error) {
	f := newForwarder(box, target, o)
	failures := 0
	for {
		err := f.catchUp(ctx)
		switch {
		case o.Once:
			return f.sum, err
		case ctx.Err() != nil:
			return f.sum, nil
		}
		wait := f.o.Every
		if err != nil {
			wait = f.pause(failures, err)
			failures++
			f.o.Log.Warn("not copied yet, will try again", "target", f.name, "wait", wait.Round(time.Millisecond), "error", err)
		} else {
			failures = 0
		}
		if sleep(ctx, wait) != nil {
			return f.sum, nil
		}
	}
}

func newForwarder(box Outbox, target Target, o Options) *forwarder {
	if o.Every <= 0 {
		o.Every = time.Minute
	}
	if o.Batch <= 0 {
		o.Batch = batchSize
	}
	if o.FirstWait <= 0 {
		o.FirstWait = time.Second
	}
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	return &forwarder{box: box, target: target, name: target.Name(), o: o, knocking: make(chan struct{}, 1)}
}

type forwarder struct {
	box    Outbox
	target Target
	name   string
	o      Options
	sum    Summary
	// knocking is full while a request is tried again: only one of several knocks
	// at a target that is away. Who filled it may count retries.
	knocking chan struct{}
}

// catchUp sends the diary and then readings until nothing is lacking.
func (f *forwarder) catchUp(ctx context.Context) error {
	if err := f.box.AddForwardTarget(ctx, f.name); err != nil {
		return err
	}
	if err := f.sendDiary(ctx); err != nil {
		return err
	}
	for {
		ranges, err := f.box.TakeForward(ctx, f.name)
		if err != nil || len(ranges) == 0 {
			return err
		}
		if err := f.sendAll(ctx, ranges); err != nil {
			return err
		}
	}
}

func (f *forwarder) sendDiary(ctx context.Context) error {
	d, err := f.box.ForwardDiary(ctx, f.name)
	if err != nil || d == nil {
		return err
	}
	err = f.insist(ctx, func() error { return f.target.WriteDiary(ctx, *d) })
	if refused(err) {
		// Sent again only when it changes: it must not hold up the readings.
		err = f.event(ctx, "", fmt.Sprintf("%s refused sensors, tasks and setups: %v", f.name, err))
	}
	if err != nil {
		return err
	}
	return f.box.ForwardDiaryShipped(ctx, f.name, *d)
}

// query selects a range. Its ends may be those of all numbers, meaning open.
func query(r Range) dust.Query {
	q := dust.Query{Sensors: []string{r.Sensor}}
	const farAway = 300_000_000_000_000 // ms, some 9500 years
	if r.From > -farAway {
		q.From = time.UnixMilli(r.From).UTC()
	}
	if r.To < farAway {
		q.To = time.UnixMilli(r.To).UTC()
	}
	return q
}

// insist calls send until it succeeds or is refused, with waits in between.
func (f *forwarder) insist(ctx context.Context, send func() error) error {
	err := send()
	if err == nil || refused(err) {
		return err
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case f.knocking <- struct{}{}:
		defer func() { <-f.knocking }()
	}
	const triesOnce = 5
	for try := 1; ; try++ {
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case f.o.Once && try >= triesOnce:
			return fmt.Errorf("given up after %d tries; what was not sent is still noted: %w", try, err)
		}
		f.sum.Retries++
		wait := f.pause(try-1, err)
		f.o.Log.Warn("not copied yet, will try again", "target", f.name, "wait", wait.Round(time.Millisecond), "error", err)
		if err := sleep(ctx, wait); err != nil {
			return err
		}
		if err = send(); err == nil || refused(err) {
			f.o.Log.Info("the server answers again", "target", f.name)
			return err
		}
	}
}

func refused(err error) bool {
	var r Refusal
	return errors.As(err, &r) && r.Refused()
}

// pause is how long to wait after the given number of failures before err.
func (f *forwarder) pause(failures int, err error) time.Duration {
	wait := lastWait
	if failures < 16 {
		wait = min(f.o.FirstWait<<failures, lastWait)
	}
	wait = wait/2 + rand.N(wait/2+1)
	var w Waiter
	if errors.As(err, &w) {
		wait = max(wait, min(w.RetryAfter(), longestAsked))
	}
	return wait
}

func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-timer.C:
		return nil
	}
}
