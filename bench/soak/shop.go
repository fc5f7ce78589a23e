package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"time"

	"dustlog/internal/store/influx/influxtest"
)

type options struct {
	lasts         time.Duration
	rate, viewers int
	seed          uint64
	program, page string
	log           io.Writer
}

// shop is all that takes part.
type shop struct {
	o         options
	disk      string
	talkers   []*talker
	collector *collector
	server    *influxtest.Server // nil: there is none
	log       *os.File
	excused   []excuse
}

const commitEvery = 2 * time.Second

func openShop(dir, disk string, o options) (s *shop, err error) {
	s = &shop{o: o, disk: disk}
	defer func() {
		if err != nil {
			s.close()
		}
	}()
	if s.server, err = influxtest.Start(); err != nil {
		return s, err
	}
	text := fmt.Sprintf("store = %q\n[shop]\nname = \"An invented shop\"\nzone = \"UTC\"\n[collect]\ncommit_every = %q\n", filepath.Join(disk, "shop.db"), commitEvery)
	if s.server == nil {
		fmt.Fprintln(o.log, "no InfluxDB here, so nothing is copied:", influxtest.Missing)
	} else {
		if err = s.server.Database("soak"); err != nil {
			return s, err
		}
		text += fmt.Sprintf("[forward]\nto = \"influx://%s/soak\"\nevery = \"5s\"\n", s.server.Address)
	}
	for _, m := range models {
		t, err := newTalker(dir, m)
		if err != nil {
			return s, err
		}
		s.talkers = append(s.talkers, t)
		text += fmt.Sprintf("[[sensor]]\nname = %q\nmodel = %q\nport = %q\nposition = \"room\"\n", t.name, t.m, t.link)
	}
	config := filepath.Join(dir, "dustlog.toml")
	if err = os.WriteFile(config, []byte(text), 0o600); err != nil {
		return s, err
	}
	if s.log, err = os.Create(filepath.Join(dir, "collector.log")); err != nil {
		return s, err
	}
	s.collector = &collector{path: o.program, config: config, log: s.log}
	if s.collector.page, err = freePort(); err != nil {
		return s, err
	}
	s.collector.metrics, err = freePort()
	return s, err
}

func (s *shop) close() {
	for _, t := range s.talkers {
		t.unplug()
	}
	if s.server != nil {
		s.server.Stop()
	}
	if s.log != nil {
		_ = s.log.Close()
	}
}

// live is the whole day.
func (s *shop) live(ctx context.Context, r *result) error {
	if err := s.collector.start(); err != nil {
		return err
	}
	time.Sleep(2 * time.Second) // ports are being opened
	r.began = time.Now()
	day, end := context.WithTimeout(ctx, s.o.lasts)
	defer end()
	var all sync.WaitGroup
	talking, hush := context.WithCancel(ctx)
	defer hush()
	for _, t := range s.talkers {
		all.Go(func() { t.talk(talking, time.Second/time.Duration(s.o.rate)) })
	}
	v := &viewers{page: s.collector.page}
	v.look(day, s.o.viewers)
	faults := make(chan error, 1)
	go func() { faults <- s.faults(day, r) }()
	s.watch(day, r)
	err := <-faults
	hush()
	all.Wait()
	end()
	v.all.Wait()
	r.pages, r.pagesEmpty, r.pagesFailed = v.pages.Load(), v.empty.Load(), v.failed.Load()
	v.why.Range(func(what, body any) bool { fmt.Fprintf(s.o.log, "\n%s\n%s\n", what, body); return true })
	if err == nil {
		err = ctx.Err()
	}
	if err != nil {
		s.collector.kill()
		return errors.Join(err, s.tail())
	}
	time.Sleep(time.Second) // the last frames are read
	if err := s.collector.stop(); err != nil {
		return errors.Join(fmt.Errorf("the collector's end: %w", err), s.tail())
	}
	r.lasted = time.Since(r.began)
	return s.account(ctx, r)
}

// watch looks at the program now and then, and shows progress.
func (s *shop) watch(ctx context.Context, r *result) {
	ticker := time.NewTicker(min(5*time.Second, s.o.lasts/20))
	defer ticker.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-ticker.C:
			if v, err := s.collector.vitals(); err == nil {
				r.take(v)
				fmt.Fprintf(s.o.log, "\r\x1b[K%v of %v · %.0f MiB, %.0f goroutines, %.0f files · %s", time.Since(r.began).Round(time.Second), s.o.lasts, v.residentMiB, v.goroutines, v.fd, r.lastFault())
			}
		}
	}
}

// tail is the end of what the program said.
func (s *shop) tail() error {
	text, err := os.ReadFile(s.log.Name())
	if err != nil {
		return err
	}
	const most = 3000
	if len(text) > most {
		text = text[len(text)-most:]
	}
	return fmt.Errorf("the collector said:\n%s", text)
}

// excuse is a stretch of time in which readings of a sensor may be lost, and why.
type excuse struct {
	sensor   string // "": all
	from, to time.Time
	why      string
}

// faults lets one thing go wrong after the other. In the last two fifths the program
// is not killed, so that its memory can be followed.
func (s *shop) faults(ctx context.Context, r *result) error {
	random := rand.New(rand.NewPCG(s.o.seed, 0))
	pause := func(d time.Duration) bool {
		select {
		case <-ctx.Done():
			return false
		case <-time.After(d):
			return true
		}
	}
	scale := min(1, s.o.lasts.Seconds()/300) // a short run has short faults
	while := func(sec float64) time.Duration { return time.Duration(sec * scale * float64(time.Second)) }
	kinds := []fault{s.unplugged, s.garbage, s.full, s.serverGone, s.killed}
	for i := 0; ; i++ {
		if !pause(while(3 + 5*random.Float64())) {
			return nil
		}
		kind := kinds[i%len(kinds)]
		if i%len(kinds) == len(kinds)-1 && time.Since(r.began) > s.o.lasts*3/5 {
			continue // no more killing
		}
		if time.Since(r.began)+while(30) > s.o.lasts {
			return nil // no fault is cut short by the end
		}
		if err := kind(random, r, while); err != nil {
			return err
		}
	}
}

// fault is something that goes wrong, and is put right again.
type fault func(random *rand.Rand, r *result, while func(sec float64) time.Duration) error

const reopens = 19 * time.Second // a port is tried again after 1, 2, 5, 10 s

func (s *shop) unplugged(random *rand.Rand, r *result, while func(float64) time.Duration) error {
	t := s.talkers[random.IntN(len(s.talkers))]
	r.fault("a sensor unplugged")
	from := time.Now()
	t.unplug()
	time.Sleep(while(4 + 6*random.Float64()))
	if err := t.plug(); err != nil {
		return err
	}
	s.excused = append(s.excused, excuse{t.name, from.Add(-time.Second), time.Now().Add(reopens), "sensor unplugged, or its port not open again yet"})
	return nil
}

func (s *shop) garbage(random *rand.Rand, r *result, while func(float64) time.Duration) error {
	t := s.talkers[random.IntN(len(s.talkers))]
	r.fault("garbage on a line")
	from := time.Now()
	for end := from.Add(while(3)); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		t.garbage(random, 1+random.IntN(60))
	}
	s.excused = append(s.excused, excuse{t.name, from.Add(-time.Second), time.Now().Add(time.Second), "garbage between the frames"})
	return nil
}

// full costs nothing: readings wait in memory.
func (s *shop) full(_ *rand.Rand, r *result, while func(float64) time.Duration) error {
	if !r.small {
		return nil
	}
	r.fault("the disk full")
	empty, err := fill(s.disk)
	if err != nil {
		return err
	}
	time.Sleep(while(5))
	if code, _ := s.collector.get("/health/ready"); code == 503 {
		r.ready503++
	}
	empty()
	time.Sleep(2 * commitEvery) // what waited is written before the next fault
	return nil
}

// serverGone costs nothing: the store remembers what the server lacks.
func (s *shop) serverGone(random *rand.Rand, r *result, while func(float64) time.Duration) error {
	if s.server == nil {
		return nil
	}
	r.fault("InfluxDB killed")
	s.server.Kill()
	time.Sleep(while(5 + 10*random.Float64()))
	return s.server.Run()
}

// killed costs what was not committed yet, and what was sent until the ports are open
// again.
func (s *shop) killed(_ *rand.Rand, r *result, while func(float64) time.Duration) error {
	r.fault("kill -9")
	from := time.Now()
	s.collector.kill()
	time.Sleep(while(2))
	if err := s.collector.start(); err != nil {
		return err
	}
	r.newLife()
	s.excused = append(s.excused, excuse{"", from.Add(-commitEvery - time.Second), time.Now().Add(3 * time.Second), "killed: not committed yet, or nobody was reading"})
	return nil
}
