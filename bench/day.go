package main

import (
	"context"
	"fmt"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"dustlog/bench/shop"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

// commitEvery and qualityEvery are how often collect commits readings, and one
// row of line quality a sensor.
const (
	commitEvery  = 10 * time.Second
	qualityEvery = 60 * time.Second
)

// writeDay puts a day into a store as collect would, only faster, seals it, and
// prints what was written to the disk. The day before it is there and sealed, so
// that its pages are used again, as they are from the third day of a shop on.
func writeDay(ctx context.Context, path string, s shop.Shop) error {
	if _, err := os.Stat(path); err == nil {
		return fmt.Errorf("%s is there already: give another path", path)
	}
	before := maker{shop: s, store: path}
	if err := before.importDays(ctx, 1); err != nil {
		return err
	}
	store, err := sqlite.Open(ctx, path, sqlite.Options{})
	if err != nil {
		return err
	}
	defer store.Close()
	batches := before.batches(1)
	meter := newMeter()
	if err := meter.err; err != nil {
		return err
	}
	readings, commits := 0, 0
	var longest time.Duration
	for i, batch := range batches {
		began := time.Now()
		if _, err := store.Append(ctx, batch); err != nil {
			return err
		}
		longest = max(longest, time.Since(began))
		readings, commits = readings+len(batch), commits+1
		if (i+1)%int(qualityEvery/commitEvery) != 0 {
			continue
		}
		var lines []dust.LineQuality
		for k := range s.Sensors {
			lines = append(lines, dust.LineQuality{Sensor: s.Sensor(k).Name, From: batch[0].Time.Add(-qualityEvery), To: batch[0].Time, Frames: 60})
		}
		if err := store.AddLineQuality(ctx, lines...); err != nil {
			return err
		}
		commits++
	}
	appended := meter.read()
	report, err := store.Seal(ctx, s.Begin.AddDate(0, 0, 2))
	if err != nil {
		return err
	}
	if err := store.Close(); err != nil { // with the last checkpoint
		return err
	}
	sealed := meter.read()
	fmt.Printf("readings              %d of %d sensors, %d commits, %d sealed\n", readings, s.Sensors, commits, report.Readings)
	fmt.Printf("written by appending  %.1f MB (WAL and checkpoints)\n", float64(appended)/1e6)
	fmt.Printf("written by sealing    %.1f MB, %.1f MB of it the sealed files\n", float64(sealed)/1e6, float64(report.Bytes)/1e6)
	fmt.Printf("written in all        %.1f MB a day\n", float64(appended+sealed)/1e6)
	fmt.Printf("longest append        %v\n", longest.Round(time.Millisecond))
	return meter.err
}

// batches is a day of all sensors, cut as collect commits it.
func (m *maker) batches(day int) [][]dust.Reading {
	all := slices.Concat(m.day(day)...)
	slices.SortFunc(all, func(a, b dust.Reading) int { return a.Time.Compare(b.Time) })
	var batches [][]dust.Reading
	for len(all) > 0 {
		end := all[0].Time.Truncate(commitEvery).Add(commitEvery)
		n := slices.IndexFunc(all, func(r dust.Reading) bool { return !r.Time.Before(end) })
		if n < 0 {
			n = len(all)
		}
		batches, all = append(batches, all[:n]), all[n:]
	}
	return batches
}

// meter reads what this process has caused to be written to disks: Linux's count
// of pages of 4 KiB made dirty, each time one is. The file system's own journal
// is not in it.
type meter struct {
	last int64
	err  error
}

func newMeter() *meter {
	m := &meter{}
	m.read()
	return m
}

// read returns the bytes written since it was last called.
func (m *meter) read() int64 {
	text, err := os.ReadFile("/proc/self/io")
	if err != nil {
		m.err = fmt.Errorf("only Linux counts what is written: %w", err)
		return 0
	}
	_, rest, _ := strings.Cut(string(text), "\nwrite_bytes: ")
	number, _, _ := strings.Cut(rest, "\n")
	n, err := strconv.ParseInt(number, 10, 64)
	if err != nil {
		m.err = fmt.Errorf("/proc/self/io: %w", err)
	}
	since := n - m.last
	m.last = n
	return since
}
