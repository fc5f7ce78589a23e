package sqlite

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"regexp"
	"strings"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

// listed is one entry of the list of sealed days.
type listed struct {
	sealed.Info // as the list says
	sensorID    int64
	file        string // below the folder of days, with slashes
	next        string // SHA-256 of a file that may have replaced it already
	superseded  int    // rows that the file has too and that are to be deleted
}

// daysFolder is where the sealed files are.
func (s *Store) daysFolder() string { return s.path + ".days" }

func (s *Store) sealedPath(file string) string {
	return filepath.Join(s.daysFolder(), filepath.FromSlash(file))
}

// plainName are sensor names that may name a folder on any system. They begin
// with a letter, so none is taken for a number.
var plainName = regexp.MustCompile(`^[a-z][a-z0-9_-]{0,63}$`)

// sealedFile is the name of a day's file below the folder of days.
func sealedFile(sensor string, id int64, day sealed.Day) string {
	folder := sensor
	if !plainName.MatchString(sensor) {
		folder = fmt.Sprint(id)
	}
	return fmt.Sprintf("sensor=%s/%s.parquet", folder, day)
}

// listDays lists sealed days by day and sensor name: those that condition
// selects, with l for the list and s for the sensor.
func listDays(ctx context.Context, q querier, layout int, condition string, args ...any) ([]listed, error) {
	superseded := "l.superseded"
	if layout < unsealedSince {
		superseded = "0"
	}
	rows, err := q.QueryContext(ctx, `SELECT l.day, l.sensor_id, s.name, l.file, l.readings, l.first_ms, l.last_ms, l.bytes, l.sha256,
		coalesce(l.next_sha256, ''), `+superseded+`, l.channels FROM sealed_day AS l JOIN sensor AS s ON s.id = l.sensor_id
		WHERE `+condition+` ORDER BY l.day, s.name`, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []listed
	for rows.Next() {
		var d listed
		var channels string
		err := rows.Scan(&d.Day, &d.sensorID, &d.Sensor, &d.file, &d.Rows, &d.First, &d.Last, &d.Bytes, &d.SHA256, &d.next, &d.superseded, &channels)
		if err != nil {
			return nil, err
		}
		for key := range strings.SplitSeq(channels, ",") {
			if c, ok := dust.ChannelByKey(key); ok {
				d.Channels = append(d.Channels, c)
			}
		}
		list = append(list, d)
	}
	return list, rows.Err()
}

func (t *tx) listDays(ctx context.Context, condition string, args ...any) ([]listed, error) {
	return listDays(ctx, t, len(migrations), condition, args...)
}

func keys(channels []dust.Channel) string {
	list := make([]string, len(channels))
	for i, c := range channels {
		list[i] = c.Key()
	}
	return strings.Join(list, ",")
}

// load reads a sealed day into a table. It returns errGone if the day was
// pruned after the list was read.
func (s *Store) load(ctx context.Context, d *listed, channels []dust.Channel, into *sealed.Table) error {
	f, err := sealed.Open(s.sealedPath(d.file))
	if errors.Is(err, fs.ErrNotExist) && !s.isListed(ctx, d) {
		return errGone
	}
	if err != nil {
		return s.unreadable(d, err)
	}
	defer f.Close()
	if f.Sensor != d.Sensor || f.Day != d.Day {
		return s.unreadable(d, fmt.Errorf("%w: it holds %s of %q", sealed.ErrDamaged, f.Day, f.Sensor))
	}
	if f.Rows < d.Rows {
		return s.unreadable(d, fmt.Errorf("%w: it holds %d readings, %d are listed", sealed.ErrDamaged, f.Rows, d.Rows))
	}
	if err := f.Read(channels, into); err != nil {
		return s.unreadable(d, err)
	}
	return nil
}

// errGone says that a day is no longer part of the store.
var errGone = errors.New("the day was pruned")

func (s *Store) isListed(ctx context.Context, d *listed) bool {
	var n int
	err := s.read.QueryRowContext(ctx, "SELECT count(*) FROM sealed_day WHERE day = ? AND sensor_id = ?", d.Day, d.sensorID).Scan(&n)
	return err != nil || n > 0
}

func (s *Store) unreadable(d *listed, err error) error {
	return fmt.Errorf("the %d readings of %q on %s (UTC) cannot be read; other days can: restore %s from a backup, `dustlog store check` lists what is damaged: %w",
		d.Rows, d.Sensor, d.Day, s.sealedPath(d.file), err)
}

// proveListed reads a listed day whole and checks that it is the very file that
// was listed, or the one announced to replace it. It returns the file's SHA-256,
// or errChanged if another program has sealed or pruned the day since then.
func (s *Store) proveListed(ctx context.Context, d *listed, into *sealed.Table) (sum string, err error) {
	if sum, err = s.prove(ctx, d, into); err == nil {
		return sum, nil
	}
	now, askErr := listDays(ctx, s.read, s.version, "l.day = ? AND l.sensor_id = ?", d.Day, d.sensorID)
	if askErr == nil && (len(now) == 0 || now[0].SHA256 != d.SHA256 || now[0].next != d.next) {
		return "", errChanged
	}
	return "", err
}

func (s *Store) prove(ctx context.Context, d *listed, into *sealed.Table) (sum string, err error) {
	if err := s.load(ctx, d, nil, into); err != nil {
		return "", err
	}
	sum, _, err = sealed.Hash(s.sealedPath(d.file))
	if err == nil && sum != d.SHA256 && (d.next == "" || sum != d.next) {
		err = fmt.Errorf("%w: its SHA-256 is %s, listed is %s", sealed.ErrDamaged, sum, d.SHA256)
	}
	if err == nil {
		err = into.Check(d.Day)
	}
	if err != nil {
		return "", s.unreadable(d, err)
	}
	return sum, nil
}
