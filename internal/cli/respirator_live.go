package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"sync"
	"time"

	"dustlog/internal/collect"
	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
	"dustlog/internal/web"
	"dustlog/internal/words"
)

// How often the live answer looks at things.
const (
	watchEvery  = time.Second
	diaryEvery  = 3 * time.Second
	learnEvery  = 6 * time.Hour
	learnAgain  = 10 * time.Minute // after it failed
	diaryBefore = 24 * time.Hour   // how far back tasks are fetched
	learnFrom   = 60 * 24 * time.Hour
	// A change of the reason alone is told no sooner than this after the last.
	reasonEvery = 10 * time.Second
	// An end of the countdown that has moved is told again no sooner than this after
	// the last time.
	endEvery = 5 * time.Minute
	endMoved = time.Minute
	notAsked = 10 * time.Second // an answer that is older counts for nothing
)

// liveDiary is what is being done, from the store that other programs write to.
type liveDiary interface {
	Tasks(ctx context.Context, from, to time.Time) ([]dust.Task, error)
	SetupPeriods(ctx context.Context) ([]dust.SetupPeriod, error)
}

// liveRespirator asks a machine every second and tells what changes.
type liveRespirator struct {
	clock collect.Clock
	diary liveDiary
	learn func(context.Context) (respirator.Facts, error)
	tell  func(respirator.Status) // from one goroutine
	hook  *hook                   // nil: none

	mu      sync.Mutex
	machine *respirator.Machine
	latest  respirator.Status
	asked   time.Duration // when that was, elapsed
	told    respirator.Status
	toldAt  time.Duration

	stopped func()
	group   sync.WaitGroup
}

// begin starts watching; stop ends it. The first answer is told before it returns.
func (l *liveRespirator) begin(ctx context.Context, rules respirator.Rules, sensors []respirator.Watched) {
	ctx, l.stopped = context.WithCancel(ctx)
	l.machine = respirator.NewMachine(rules, sensors, l.now())
	l.step()
	l.group.Go(func() { l.every(ctx, watchEvery, func() time.Duration { l.step(); return watchEvery }) })
	l.group.Go(func() { l.every(ctx, 0, func() time.Duration { l.readDiary(ctx); return diaryEvery }) })
	l.group.Go(func() { l.every(ctx, 0, func() time.Duration { return l.study(ctx) }) })
}

// stop ends watching, and says that nobody watches any more.
func (l *liveRespirator) stop() {
	l.stopped()
	l.group.Wait()
	last := respirator.Stopped(l.clock.Wall())
	l.tell(last)
	if l.hook != nil {
		l.hook.end(last)
	}
}

// summarise says how the user's program fared.
func (l *liveRespirator) summarise(a *app) {
	if h := l.hook; h != nil {
		a.remark("%s: run %d time(s), failed %d", h.argv[0], h.calls, h.failed)
	}
}

// every does something after a first wait, and again after the one it returns.
func (l *liveRespirator) every(ctx context.Context, first time.Duration, do func() time.Duration) {
	for wait := first; ; wait = do() {
		select {
		case <-ctx.Done():
			return
		case <-l.clock.After(wait):
		}
	}
}

func (l *liveRespirator) now() respirator.Instant {
	return respirator.Instant{Wall: l.clock.Wall(), Elapsed: l.clock.Elapsed()}
}

func (l *liveRespirator) reading(r dust.Reading) {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.machine.Reading(l.now(), r)
}

// news reports whether an answer is worth telling after the one told last, so long
// ago. A stricter or laxer state is told at once, another reason or a countdown that
// begins for the same state not more often than reasonEvery.
func news(s, told respirator.Status, ago time.Duration) bool {
	switch {
	case s.State != told.State:
		return true
	case s.Cause != told.Cause, s.Task != told.Task, (s.KeepOnUntil == nil) != (told.KeepOnUntil == nil):
		return ago >= reasonEvery
	case s.KeepOnUntil != nil:
		return ago >= endEvery && s.KeepOnUntil.Sub(*told.KeepOnUntil).Abs() >= endMoved
	}
	return false
}

// current is the answer of this second.
func (l *liveRespirator) current() respirator.Status {
	l.mu.Lock()
	defer l.mu.Unlock()
	now := l.now()
	if now.Elapsed-l.asked > notAsked {
		return respirator.Status{Time: now.Wall, State: exposure.KeepOn, Cause: respirator.NoData, Why: words.Of("the machine has not looked lately")}
	}
	return l.latest
}

// forPage is the answer of this second for the shop's page.
func (l *liveRespirator) forPage() web.Mask {
	s := l.current()
	m := web.Mask{State: s.State, Why: s.Why.String()}
	if s.KeepOnUntil != nil {
		m.Until = *s.KeepOnUntil
	}
	return m
}

// step asks the machine.
func (l *liveRespirator) step() {
	l.mu.Lock()
	now := l.now()
	s := l.machine.Step(now)
	l.latest, l.asked = s, now.Elapsed
	tell := news(s, l.told, now.Elapsed-l.toldAt)
	if tell {
		l.told, l.toldAt = s, now.Elapsed
	}
	l.mu.Unlock()
	if !tell {
		return
	}
	l.tell(s)
	if l.hook != nil {
		l.hook.tell(s)
	}
}

func (l *liveRespirator) readDiary(ctx context.Context) {
	now := l.clock.Wall()
	tasks, err := l.diary.Tasks(ctx, now.Add(-diaryBefore), time.Time{})
	var setups []dust.SetupPeriod
	if err == nil {
		setups, err = l.diary.SetupPeriods(ctx)
	}
	if ctx.Err() != nil {
		return
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.machine.Diary(l.now(), tasks, dust.SetupAt(setups, now), err)
}

// study learns from past days, and returns when to do so again.
func (l *liveRespirator) study(ctx context.Context) time.Duration {
	facts, err := l.learn(ctx)
	if ctx.Err() != nil {
		return 0
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	l.machine.Learn(facts, err)
	if err != nil {
		return learnAgain
	}
	return learnEvery
}

// startRespirator watches beside a collector.
func (a *app) startRespirator(ctx context.Context, cfg config.Config, inputs []collect.Input, records *sqlite.Store, show *liveLine) (*liveRespirator, error) {
	settings, err := studySettings(cfg)
	if err != nil {
		return nil, err
	}
	l := &liveRespirator{
		clock: collect.SystemClock(), diary: records, hook: startHook(cfg.Respirator, a.log()),
		tell: func(s respirator.Status) { show.respirator(s, cfg.Shop.Zone) },
		learn: func(ctx context.Context) (respirator.Facts, error) {
			s, err := study.Open(ctx, dailyRecords{records}, settings)
			if err != nil {
				return respirator.Facts{}, fmt.Errorf("past days cannot be read: %w", err)
			}
			return s.Facts(ctx, study.Window{From: a.Now().Add(-learnFrom)})
		},
	}
	var sensors []dust.Sensor
	for _, in := range inputs {
		sensors = append(sensors, in.Sensor)
	}
	if cfg.Origin("shop.limit") == "default" {
		a.remark("%s", noLimitChosen(cfg))
	}
	watched := respirator.Watch(sensors, settings.Atmospheric)
	for i, w := range watched {
		watched[i].Sleeps = sleeps(cfg)[w.Sensor.Name]
	}
	show.mask = l.current
	l.begin(ctx, respirator.Rules{Stale: cfg.Respirator.StaleAfter, Settle: cfg.Respirator.Settle}, watched)
	return l, nil
}

// sleeps is how long sensors are silent by plan.
func sleeps(cfg config.Config) map[string]time.Duration {
	plan := map[string]time.Duration{}
	for _, s := range cfg.Sensors {
		if _, every, err := s.DutyCycle(); err == nil {
			plan[s.Name] = every
		}
	}
	return plan
}

// respiratorObject is an answer as one JSON line among the readings.
func respiratorObject(s respirator.Status) map[string]any {
	return map[string]any{"time": s.Time.Format(time.RFC3339Nano), "respirator": s}
}

// inShort is the answer in a few words, for the line that is redrawn.
func inShort(s respirator.Status) string {
	text := "keep it on"
	if n, ok := s.Minutes(); ok {
		text += fmt.Sprintf(" %d min more", n)
	}
	if !s.KeptOn() {
		text = string(s.State)
	}
	return "respirator: " + text
}

// respirator shows a change: one line, or one JSON line with --json.
func (l *liveLine) respirator(s respirator.Status, zone *time.Location) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.a.json {
		_ = json.NewEncoder(l.a.Stdout).Encode(respiratorObject(s))
		return
	}
	if l.tty {
		fmt.Fprint(l.a.Stderr, "\r\x1b[K")
	}
	l.a.remark("%s respirator: %s", s.Time.In(zone).Format("15:04:05"), s.Line(zone))
}
