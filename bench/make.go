package main

import (
	"context"
	"database/sql"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"time"

	"dustlog/bench/shop"
	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
	"dustlog/internal/store/sqlite"
)

// maker fills a store and counts what it took.
type maker struct {
	shop  shop.Shop
	store string

	imported, written           int // readings
	importing, sealing, writing time.Duration
}

// makeStore imports the first days and has them sealed, as a shop would, and
// writes the others straight into sealed files, which takes minutes less. It
// prints the rates.
func makeStore(ctx context.Context, path string, s shop.Shop, days, imported int) error {
	m := maker{shop: s, store: path}
	imported = min(days, imported)
	if err := m.importDays(ctx, imported); err != nil {
		return err
	}
	if err := m.writeDays(ctx, imported, days); err != nil {
		return err
	}
	bytes, err := sealedBytes(path)
	if err != nil {
		return err
	}
	all := m.imported + m.written
	fmt.Printf("readings              %d, %d sensors, %d days\n", all, s.Sensors, days)
	fmt.Printf("import into SQLite    %.0f readings/s\n", float64(m.imported)/m.importing.Seconds())
	fmt.Printf("sealing, in all       %.0f readings/s (rows read, file written and proven, rows deleted)\n", float64(m.imported)/m.sealing.Seconds())
	fmt.Printf("  of it Parquet       %.0f readings/s (file written, synced, read back, compared)\n", float64(m.written)/m.writing.Seconds())
	fmt.Printf("sealed                %.2f bytes a reading\n", float64(bytes)/float64(all))
	return nil
}

func (m *maker) importDays(ctx context.Context, days int) error {
	store, err := sqlite.Open(ctx, m.store, sqlite.Options{Create: true})
	if err != nil {
		return err
	}
	defer store.Close()
	for k := range m.shop.Sensors {
		if err := store.PutSensor(ctx, m.shop.Sensor(k)); err != nil {
			return err
		}
	}
	for day := range days {
		batch := slices.Concat(m.day(day)...)
		slices.SortFunc(batch, func(a, b dust.Reading) int { return a.Time.Compare(b.Time) })
		began := time.Now()
		if err := importDay(ctx, store, batch); err != nil {
			return err
		}
		m.importing += time.Since(began)
		began = time.Now()
		if _, err := store.Seal(ctx, m.shop.Begin.AddDate(0, 0, day+1)); err != nil {
			return err
		}
		m.sealing += time.Since(began)
		m.imported += len(batch)
	}
	return store.Close()
}

// day is a day of every sensor.
func (m *maker) day(day int) [][]dust.Reading {
	parts := make([][]dust.Reading, m.shop.Sensors)
	var group sync.WaitGroup
	for k := range parts {
		group.Go(func() { parts[k] = m.shop.Day(k, day) })
	}
	group.Wait()
	return parts
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

// writeDays makes the sealed files that Seal would make, and lists them.
func (m *maker) writeDays(ctx context.Context, from, to int) error {
	if from >= to {
		return nil
	}
	db, err := sql.Open("sqlite", m.store)
	if err != nil {
		return err
	}
	defer db.Close()
	tx, err := db.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	defer tx.Rollback() //nolint:errcheck // after Commit this does nothing
	for day := from; day < to; day++ {
		for k, readings := range m.day(day) {
			info, err := m.write(m.shop.Sensor(k).Name, readings)
			if err == nil {
				err = list(ctx, tx, info)
			}
			if err != nil {
				return err
			}
		}
	}
	return tx.Commit()
}

func (m *maker) write(sensor string, readings []dust.Reading) (sealed.Info, error) {
	b := sealed.NewBuilder(len(readings))
	for i := range readings {
		b.Start(readings[i].Time.UnixMilli(), readings[i].Flags)
		for c, x := range readings[i].Values.All() {
			b.Set(c, x)
		}
	}
	day := sealed.DayOf(readings[0].Time.UnixMilli())
	table := b.Table()
	began := time.Now()
	p, err := sealed.Prepare(filepath.Join(m.store+".days", "sensor="+sensor), sensor, day, table)
	if err != nil {
		return sealed.Info{}, err
	}
	if err := p.Commit(day.String() + ".parquet"); err != nil {
		return p.Info, err
	}
	m.writing += time.Since(began)
	m.written += len(readings)
	return p.Info, nil
}

func list(ctx context.Context, tx *sql.Tx, f sealed.Info) error {
	var keys []string
	for _, c := range f.Channels {
		keys = append(keys, c.Key())
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO sealed_day (day, sensor_id, file, readings, first_ms, last_ms, bytes, sha256, channels)
		SELECT ?, id, ?, ?, ?, ?, ?, ?, ? FROM sensor WHERE name = ?`, int64(f.Day), "sensor="+f.Sensor+"/"+f.Day.String()+".parquet",
		f.Rows, f.First, f.Last, f.Bytes, f.SHA256, strings.Join(keys, ","), f.Sensor)
	if err == nil {
		_, err = tx.ExecContext(ctx, `UPDATE sensor SET readings = readings + ?, first_ms = min(coalesce(first_ms, ?2), ?2),
			last_ms = max(coalesce(last_ms, ?3), ?3) WHERE name = ?4`, f.Rows, f.First, f.Last, f.Sensor)
	}
	return err
}

func sealedBytes(path string) (bytes int64, err error) {
	err = filepath.WalkDir(path+".days", func(_ string, e fs.DirEntry, err error) error {
		if err != nil || !e.Type().IsRegular() {
			return err
		}
		info, err := e.Info()
		if err == nil {
			bytes += info.Size()
		}
		return err
	})
	return bytes, err
}
