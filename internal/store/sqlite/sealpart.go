package sqlite

import (
	"context"
	"database/sql/driver"
	"fmt"
	"path"
	"path/filepath"
	"slices"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// sealTogether is of how many sensors the rows of a day are read at once: a scan
// passes by the rows of all sensors, and what is read is held in memory, about
// 10 MB for a sensor with a reading a second.
const sealTogether = 4

// sealing is one sensor's day on its way into a file.
type sealing struct {
	sensor string
	id     int64
	day    sealed.Day
	rows   *sealed.Table   // of table unsealed
	was    *listed         // nil if the day was not sealed yet
	total  int             // readings of the day, each counted once
	file   *sealed.Pending // nil if the sealed day has all rows already
	sum    string          // SHA-256 of the file that holds them all
}

// readDay reads the rows of a day: those of the sensors given or, if none are, of
// the first few that it meets. more are the sensors left to be read.
func (s *Store) readDay(ctx context.Context, day sealed.Day, sensors []int64) (parts []*sealing, more []int64, err error) {
	if len(sensors) > sealTogether {
		sensors, more = sensors[:sealTogether], sensors[sealTogether:]
	}
	builders := map[int64]*sealed.Builder{}
	err = s.view(ctx, func(v *view) error {
		names, _, err := v.resolve(ctx, nil)
		if err != nil {
			return err
		}
		from, to := day.Bounds()
		channels, err := v.usedChannels(ctx, from, to)
		if err != nil {
			return err
		}
		scan := rowScan{channels: channels, sensors: sensors, lo: from, hi: to}
		err = v.rows(ctx, scan, func(ms, id int64, flags dust.Flags, values []driver.Value) error {
			b := builders[id]
			if b == nil {
				if len(builders) == sealTogether {
					if !slices.Contains(more, id) {
						more = append(more, id)
					}
					return nil
				}
				b = sealed.NewBuilder(0)
				builders[id] = b
				parts = append(parts, &sealing{sensor: names[id], id: id, day: day})
			}
			b.Start(ms, flags)
			for i, c := range channels {
				build(b, c, values[i])
			}
			return nil
		})
		if err != nil {
			return err
		}
		list, err := listDays(ctx, v.conn, v.s.version, "l.day = ?", day)
		for i := range list {
			for _, p := range parts {
				if p.id == list[i].sensorID {
					p.was = &list[i]
				}
			}
		}
		return err
	})
	for _, p := range parts {
		p.rows = builders[p.id].Table()
	}
	return parts, more, err
}

// sealPart writes the file of one sensor's day and lists it. From then on the
// rows are superseded.
func (s *Store) sealPart(ctx context.Context, p *sealing, report *SealReport) error {
	doubles, err := s.prepare(ctx, p)
	if err != nil {
		return err
	}
	if p.file != nil {
		defer p.file.Discard() // no effect once committed
		if err := s.announce(ctx, p); err != nil {
			return err
		}
	}
	if err := s.update(ctx, fmt.Sprintf("seal %s", p.day), func(t *tx) error { return t.list(ctx, p) }); err != nil {
		return err
	}
	report.Doubles += int64(doubles)
	if p.was != nil {
		report.Doubles -= int64(p.was.superseded)
	}
	if p.file != nil {
		report.Days++
		report.Readings += int64(p.rows.Len() - doubles)
		report.Bytes += p.file.Bytes
		if p.was != nil {
			report.Late++
		}
	}
	return nil
}

// prepare writes one sensor's file under a temporary name. doubles are the rows
// that the sealed day has already.
func (s *Store) prepare(ctx context.Context, p *sealing) (doubles int, err error) {
	table := p.rows
	if p.was != nil {
		var before sealed.Table
		if p.sum, err = s.proveListed(ctx, p.was, &before); err != nil {
			return 0, err
		}
		table, doubles = sealed.Merge(&before, table)
		if p.total = table.Len(); p.total == p.was.Rows && p.sum == p.was.SHA256 {
			return doubles, nil
		}
	}
	p.total = table.Len()
	p.file, err = sealed.Prepare(filepath.Dir(s.sealedPath(p.name())), p.sensor, p.day, table)
	if err == nil {
		p.sum = p.file.SHA256
	}
	return doubles, err
}

func (p *sealing) name() string { return sealedFile(p.sensor, p.id, p.day) }

// announce notes that a listed file is about to be replaced. A crash between the
// naming of the new file and the commit of the list then leaves a file that is
// announced. A file of a day that was not sealed before needs none: it is not
// listed and not read.
func (s *Store) announce(ctx context.Context, p *sealing) error {
	if p.was == nil {
		return nil
	}
	return s.update(ctx, "seal", func(t *tx) error {
		// A crashed attempt may have put its file in place already; then that one
		// is what p was made from, and it takes the old one's place in the list.
		sum, _, err := sealed.Hash(s.sealedPath(p.was.file))
		if err != nil {
			return err
		}
		_, err = t.ExecContext(ctx, `UPDATE sealed_day SET sha256 = ?, next_sha256 = ? WHERE day = ? AND sensor_id = ?`,
			sum, p.file.SHA256, p.day, p.id)
		p.was.SHA256 = sum
		return err
	})
}

// list puts a file in its place and in the list, which makes the rows superseded.
// The write transaction keeps other programs from sealing the same day.
func (t *tx) list(ctx context.Context, p *sealing) error {
	if err := t.unchanged(ctx, p); err != nil {
		return err
	}
	counted := p.rows.Len() // as the sensor's sum has them
	if p.was != nil {
		counted += p.was.Rows - p.was.superseded
	}
	if _, err := t.ExecContext(ctx, "UPDATE sensor SET readings = readings + ? WHERE id = ?", p.total-counted, p.id); err != nil {
		return err
	}
	if p.file == nil {
		_, err := t.ExecContext(ctx, "UPDATE sealed_day SET superseded = ? WHERE day = ? AND sensor_id = ?", p.rows.Len(), p.day, p.id)
		return err
	}
	if err := p.file.Commit(path.Base(p.name())); err != nil {
		return err
	}
	f := &p.file.Info
	_, err := t.ExecContext(ctx, `INSERT OR REPLACE INTO sealed_day
		(day, sensor_id, file, readings, first_ms, last_ms, bytes, sha256, next_sha256, channels, superseded) VALUES (?, ?, ?, ?, ?, ?, ?, ?, NULL, ?, ?)`,
		f.Day, p.id, p.name(), f.Rows, f.First, f.Last, f.Bytes, f.SHA256, keys(f.Channels), p.rows.Len())
	return err
}

// unchanged fails if another program sealed or pruned the day since its rows
// were read. Readings that came since then do no harm: they are late ones.
func (t *tx) unchanged(ctx context.Context, p *sealing) error {
	list, err := t.listDays(ctx, "l.day = ? AND l.sensor_id = ?", p.day, p.id)
	if err != nil {
		return err
	}
	if p.was == nil {
		// Whoever prunes a day deletes all its rows.
		var there int
		ms := p.rows.MS
		err := t.QueryRowContext(ctx, "SELECT count(*) FROM unsealed WHERE key IN (?, ?)", keyOf(ms[0], p.id), keyOf(ms[len(ms)-1], p.id)).Scan(&there)
		if err == nil && (len(list) > 0 || there < min(2, len(ms))) {
			err = errChanged
		}
		return err
	}
	if len(list) == 0 || list[0].SHA256 != p.was.SHA256 || list[0].Rows != p.was.Rows || list[0].superseded != p.was.superseded ||
		p.file != nil && list[0].next != p.file.SHA256 {
		return errChanged
	}
	return nil
}
