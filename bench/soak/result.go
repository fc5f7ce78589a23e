package main

import (
	"errors"
	"fmt"
	"maps"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"
)

// result is what a soak came to.
type result struct {
	o             options
	small, copied bool
	began         time.Time
	lasted        time.Duration

	mu     sync.Mutex
	faults map[string]int
	last   string
	life   []vitals // since the program was last started

	ready503                       int // times that it said it was not ready while the disk was full
	sent, unsent, stored           int
	unknown, twice                 int
	lost                           map[string]int // by sensor, without an excuse
	forgiven                       map[string]int // by excuse
	onServer                       int
	pages, pagesEmpty, pagesFailed int64
}

func (r *result) fault(what string) {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.faults == nil {
		r.faults = map[string]int{}
	}
	r.faults[what]++
	r.last = what
}

func (r *result) lastFault() string { r.mu.Lock(); defer r.mu.Unlock(); return r.last }
func (r *result) take(v vitals)     { r.mu.Lock(); defer r.mu.Unlock(); r.life = append(r.life, v) }
func (r *result) newLife()          { r.mu.Lock(); defer r.mu.Unlock(); r.life = nil }

// thirds are the median vitals of the second and of the last third of the last life:
// in the first, caches fill.
func (r *result) thirds() (early, late vitals) {
	n := len(r.life)
	if n < 3 {
		return early, late
	}
	middle := func(list []vitals, of func(vitals) float64) float64 {
		var x []float64
		for _, v := range list {
			x = append(x, of(v))
		}
		slices.Sort(x)
		return x[len(x)/2]
	}
	both := func(list []vitals) vitals {
		return vitals{residentMiB: middle(list, func(v vitals) float64 { return v.residentMiB }),
			goroutines: middle(list, func(v vitals) float64 { return v.goroutines }), fd: middle(list, func(v vitals) float64 { return v.fd })}
	}
	return both(r.life[n/3 : 2*n/3]), both(r.life[2*n/3:])
}

// warmedUp is how long a life must last to tell growth from caches that fill.
const warmedUp = 2 * time.Minute

// judge says what must not have happened.
func (r *result) judge() error {
	var faults []error
	wrong := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	for _, sensor := range slices.Sorted(maps.Keys(r.lost)) {
		wrong("%d readings of %s lost while nothing was wrong with it", r.lost[sensor], sensor)
	}
	if r.twice > 0 {
		wrong("%d readings stored twice", r.twice)
	}
	if r.stored == 0 {
		wrong("nothing stored")
	}
	if r.copied && r.onServer != r.stored {
		wrong("%d readings on the server, %d in the store", r.onServer, r.stored)
	}
	if r.pagesFailed > 0 {
		wrong("%d of %d pages failed", r.pagesFailed, r.pages)
	}
	if full := r.faults["the disk full"]; r.ready503 < full {
		wrong("ready was denied %d of %d times that the disk was full", r.ready503, full)
	}
	if n := len(r.life); n == 0 || r.life[n-1].at.Sub(r.life[0].at) < warmedUp {
		return errors.Join(faults...)
	}
	early, late := r.thirds()
	if late.residentMiB > early.residentMiB*1.15+4 {
		wrong("memory grew from %.0f to %.0f MiB", early.residentMiB, late.residentMiB)
	}
	if late.goroutines > early.goroutines*1.1+10 || late.fd > early.fd*1.1+10 {
		wrong("goroutines went from %.0f to %.0f, open files from %.0f to %.0f", early.goroutines, late.goroutines, early.fd, late.fd)
	}
	return errors.Join(faults...)
}

// write prints the figures, and writes the page if one is wanted.
func (r *result) write(page string) error {
	var b strings.Builder
	row := func(what, figure string) { fmt.Fprintf(&b, "| %s | %s |\n", what, figure) }
	count := func(n int) string {
		text := fmt.Sprint(n)
		for i := len(text) - 3; i > 0; i -= 3 {
			text = text[:i] + "," + text[i:]
		}
		return text
	}
	early, late := r.thirds()
	b.WriteString("| what | figure |\n|---|---|\n")
	row("when, machine", fmt.Sprintf("%s, %s/%s, %d cores, %s", r.began.UTC().Format("2 January 2006"), runtime.GOOS, runtime.GOARCH, runtime.NumCPU(), runtime.Version()))
	row("lasted", fmt.Sprintf("%v, %d sensors at %d readings a second", r.lasted.Round(time.Second), len(models), r.o.rate))
	for _, what := range slices.Sorted(maps.Keys(r.faults)) {
		row("times: "+what, fmt.Sprint(r.faults[what]))
	}
	row("readings sent", count(r.sent))
	row("readings stored", count(r.stored))
	row("stored twice", count(r.twice))
	lost := 0
	for _, n := range r.lost {
		lost += n
	}
	row("lost while nothing was wrong with sensor and program", count(lost))
	for _, why := range slices.Sorted(maps.Keys(r.forgiven)) {
		row("lost, "+why, count(r.forgiven[why]))
	}
	row("not sent: unplugged, or the line full", count(r.unsent))
	if r.copied {
		row("on InfluxDB at the end", count(r.onServer))
	}
	row("pages looked at by "+fmt.Sprint(r.o.viewers)+" viewers", fmt.Sprintf("%s, %d failed, %d had nothing to draw while sensors warmed up", count(int(r.pages)), r.pagesFailed, r.pagesEmpty))
	row("“not ready” while the disk was full", fmt.Sprintf("%d of %d times", r.ready503, r.faults["the disk full"]))
	row("memory, second and last third of the last life", fmt.Sprintf("%.0f and %.0f MiB", early.residentMiB, late.residentMiB))
	row("goroutines, the same", fmt.Sprintf("%.0f and %.0f", early.goroutines, late.goroutines))
	row("open files, the same", fmt.Sprintf("%.0f and %.0f", early.fd, late.fd))
	fmt.Printf("\n%s", b.String())
	if page == "" {
		return nil
	}
	return replaceTable(page, b.String())
}

// The table stands between these two lines of the page.
const tableBegins, tableEnds = "<!-- written by bench/soak -->\n", "<!-- end -->\n"

func replaceTable(page, text string) error {
	content, err := os.ReadFile(page)
	if err != nil {
		return err
	}
	before, rest, ok := strings.Cut(string(content), tableBegins)
	_, after, ok2 := strings.Cut(rest, tableEnds)
	if !ok || !ok2 {
		return fmt.Errorf("%s lacks the lines between which the figures stand", page)
	}
	return os.WriteFile(page, []byte(before+tableBegins+text+tableEnds+after), 0o644)
}
