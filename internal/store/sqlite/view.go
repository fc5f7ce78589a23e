package sqlite

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"io"
	"slices"
)

// view is the store as of one moment.
type view struct {
	s    *Store
	conn *sql.Conn
}

// view runs f on one moment's state of the store: what others write meanwhile
// is not seen.
func (s *Store) view(ctx context.Context, f func(v *view) error) error {
	conn, err := s.read.Conn(ctx)
	if err != nil {
		return err
	}
	defer conn.Close()
	if _, err := conn.ExecContext(ctx, "BEGIN"); err != nil {
		return err
	}
	defer conn.ExecContext(context.WithoutCancel(ctx), "ROLLBACK") //nolint:errcheck // nothing was written
	return f(&view{s, conn})
}

// resolve returns the names of all sensors by number, and the numbers of the
// wanted ones; nil if none is named, which means all.
func (v *view) resolve(ctx context.Context, wanted []string) (names map[int64]string, ids []int64, err error) {
	rows, err := v.conn.QueryContext(ctx, "SELECT id, name FROM sensor")
	if err != nil {
		return nil, nil, err
	}
	defer rows.Close()
	names = map[int64]string{}
	for rows.Next() {
		var id int64
		var name string
		if err := rows.Scan(&id, &name); err != nil {
			return nil, nil, err
		}
		names[id] = name
		if slices.Contains(wanted, name) {
			ids = append(ids, id)
		}
	}
	return names, ids, rows.Err()
}

// listed lists the sealed days of sensors, nil for all, that share time with
// [lo, hi).
func (v *view) listed(ctx context.Context, ids []int64, lo, hi int64) ([]listed, error) {
	if v.s.version < sealedSince {
		return nil, nil
	}
	condition := "l.first_ms < ? AND l.last_ms >= ?"
	if ids != nil {
		condition += " AND l.sensor_id IN (" + idList(ids) + ")"
	}
	return listDays(ctx, v.conn, v.s.version, condition, hi, lo)
}

// scan hands every row of a query to f. It bypasses database/sql's conversions,
// which cost more than reading the row does. A row is valid only during f, and f
// cannot use the view.
func (v *view) scan(ctx context.Context, query string, args []any, f func(row []driver.Value) error) error {
	return v.conn.Raw(func(raw any) error {
		named := make([]driver.NamedValue, len(args))
		for i, a := range args {
			named[i] = driver.NamedValue{Ordinal: i + 1, Value: a}
		}
		rows, err := raw.(driver.QueryerContext).QueryContext(ctx, query, named)
		if err != nil {
			return err
		}
		err = eachRow(ctx, rows, f)
		return errors.Join(err, rows.Close())
	})
}

func eachRow(ctx context.Context, rows driver.Rows, f func(row []driver.Value) error) error {
	row := make([]driver.Value, len(rows.Columns()))
	for n := 0; ; n++ {
		if n%1024 == 0 && ctx.Err() != nil {
			return ctx.Err()
		}
		switch err := rows.Next(row); {
		case errors.Is(err, io.EOF):
			return nil
		case err != nil:
			return err
		}
		if err := f(row); err != nil {
			return err
		}
	}
}
