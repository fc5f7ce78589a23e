// Package store says what every place for readings can do, and opens one by its
// name. All back ends pass the same tests, those of storetest.
//
// The local SQLite store is the primary one and also holds what is not a
// reading; see package sqlite.
package store

import (
	"context"
	"fmt"
	"iter"
	"strings"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/sqlite"
)

// Store keeps readings.
type Store interface {
	// Append adds a batch, all or none of it, and says how many readings were
	// new. A reading whose sensor and time are there already is not added and
	// not an error: the one written first stays. Times are cut to whole
	// milliseconds.
	Append(ctx context.Context, batch []dust.Reading) (added int, err error)
	// Readings yields what q selects in time order, those of one moment by
	// sensor name. They are read as they are asked for. After an error nothing
	// follows. Channels not asked for are missing; a reading stays even if it
	// has none of them.
	Readings(ctx context.Context, q dust.Query) iter.Seq2[dust.Reading, error]
	// Span tells what there is, by sensor name. Sensors without readings are
	// left out.
	Span(ctx context.Context) ([]SensorSpan, error)
	Close() error
}

// SensorSpan says what a store has of one sensor. An alias, so that back ends
// can return it without importing this package.
type SensorSpan = struct {
	Sensor      string
	First, Last time.Time
	Count       int64
}

// Options say how a store is opened.
type Options struct {
	Create   bool // make a missing SQLite file
	ReadOnly bool // SQLite only

	InfluxToken string // from DUSTLOG_INFLUX_TOKEN; never part of the DSN
	InfluxOrg   string // only for servers from 2 on
}

// Open opens the store that dsn names: the path of an SQLite file, or
// influx://host:8086/database. See sqlite.Open and influx.Open for errors.
func Open(ctx context.Context, dsn string, o Options) (Store, error) {
	switch scheme, _, ok := strings.Cut(dsn, "://"); {
	case !ok:
		// Not returned directly: a nil *sqlite.Store would be a Store that is not nil.
		s, err := sqlite.Open(ctx, dsn, sqlite.Options{Create: o.Create, ReadOnly: o.ReadOnly})
		if err != nil {
			return nil, err
		}
		return s, nil
	case scheme == "influx" || scheme == "influxs":
		s, err := influx.Open(ctx, dsn, influx.Options{Token: o.InfluxToken, Org: o.InfluxOrg})
		if err != nil {
			return nil, err
		}
		return s, nil
	default:
		return nil, fmt.Errorf("store of unknown kind %q: give the path of a file, or influx://host:8086/database", scheme)
	}
}

// Calibrations lists the calibrations of a shop's sensors, retired ones included,
// by number. Both back ends offer it beside Store: the local store adds them, a
// server holds a copy.
type Calibrations interface {
	Calibrations(ctx context.Context) ([]dust.Calibration, error)
}
