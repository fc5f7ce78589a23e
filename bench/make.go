package main

import (
	"context"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"sync"
	"time"

	"dustlog/bench/shop"
	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

// makeStore imports and seals one day after the other and prints the rates.
func makeStore(ctx context.Context, path string, s shop.Shop, days int) error {
	store, err := sqlite.Open(ctx, path, sqlite.Options{Create: true})
	if err != nil {
		return err
	}
	defer store.Close()
	for k := range s.Sensors {
		if err := store.PutSensor(ctx, s.Sensor(k)); err != nil {
			return err
		}
	}
	var importing, sealing time.Duration
	readings := 0
	for day := range days {
		batch := wholeDay(s, day)
		began := time.Now()
		if err := importDay(ctx, store, batch); err != nil {
			return err
		}
		importing += time.Since(began)
		began = time.Now()
		if _, err := store.Seal(ctx, s.Begin.AddDate(0, 0, day+1)); err != nil {
			return err
		}
		sealing += time.Since(began)
		readings += len(batch)
	}
	bytes, err := sealedBytes(path)
	if err != nil {
		return err
	}
	fmt.Printf("readings              %d, %d sensors, %d days\n", readings, s.Sensors, days)
	fmt.Printf("import into SQLite    %.0f readings/s\n", float64(readings)/importing.Seconds())
	fmt.Printf("sealing               %.0f readings/s\n", float64(readings)/sealing.Seconds())
	fmt.Printf("sealed                %.2f bytes a reading\n", float64(bytes)/float64(readings))
	return store.Close()
}

// wholeDay is a day of all sensors in time order, as a collector writes it.
func wholeDay(s shop.Shop, day int) []dust.Reading {
	parts := make([][]dust.Reading, s.Sensors)
	var group sync.WaitGroup
	for k := range parts {
		group.Go(func() { parts[k] = s.Day(k, day) })
	}
	group.Wait()
	all := slices.Concat(parts...)
	slices.SortFunc(all, func(a, b dust.Reading) int { return a.Time.Compare(b.Time) })
	return all
}

// importDay is what `dustlog import` does with the readings of a file.
func importDay(ctx context.Context, store *sqlite.Store, readings []dust.Reading) error {
	return store.Import(ctx, func(tx sqlite.Appender) error {
		for batch := range slices.Chunk(readings, 5000) {
			if _, err := tx.Append(ctx, batch); err != nil {
				return err
			}
		}
		return nil
	})
}

func sealedBytes(path string) (bytes int64, err error) {
	err = filepath.WalkDir(path+".days", func(name string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		info, err := e.Info()
		bytes += info.Size()
		return err
	})
	return bytes, err
}
