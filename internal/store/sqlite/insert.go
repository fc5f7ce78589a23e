package sqlite

import (
	"context"
	"database/sql"
	"math/bits"
	"strings"

	"dustlog/internal/dust"
)

// rowsPerInsert is how many readings one INSERT statement carries; 50 was
// quicker than 10 and no slower than 200 (BenchmarkAppend1000).
const rowsPerInsert = 50

type insertKey struct {
	columns uint32 // bit set of channels
	rows    int
	skip    bool // rows that are there already
}

// insertAll inserts rows that are in order and counts the new ones by sensor.
func (t *tx) insertAll(ctx context.Context, rows []row, columns uint32) (added int, err error) {
	// The usual case: none of them is there. Then one statement will do.
	_, err = t.insert(ctx, rows, insertKey{columns, len(rows), false})
	if err == nil {
		for _, r := range rows {
			t.grown[r.key&maxSensor].added++
		}
		return len(rows), nil
	}
	if !isConflict(err) {
		return 0, err
	}
	for len(rows) > 0 { // the statement inserted nothing
		sensor := rows[0].key & maxSensor
		var same, others []row
		for _, r := range rows {
			if r.key&maxSensor == sensor {
				same = append(same, r)
			} else {
				others = append(others, r)
			}
		}
		n, err := t.insert(ctx, same, insertKey{columns, len(same), true})
		if err != nil {
			return 0, err
		}
		t.grown[sensor].added += n
		added += n
		rows = others
	}
	return added, nil
}

func (t *tx) insert(ctx context.Context, rows []row, key insertKey) (added int, err error) {
	stmt, err := t.insertStmt(ctx, key)
	if err != nil {
		return 0, err
	}
	args := make([]any, 0, len(rows)*(2+bits.OnesCount32(key.columns)))
	for _, r := range rows {
		args = append(args, r.key, int64(r.Flags))
		for c := range dust.ChannelCount {
			if key.columns&(1<<c) == 0 {
				continue
			}
			if x, ok := r.Values.Get(c); ok {
				args = append(args, stored(x))
			} else {
				args = append(args, nil)
			}
		}
	}
	result, err := stmt.ExecContext(ctx, args...)
	if err != nil {
		return 0, err
	}
	n, err := result.RowsAffected()
	return int(n), err
}

// insertStmt names only the columns a batch needs: most sensors fill less than
// half of them, and binding NULLs costs time.
func (t *tx) insertStmt(ctx context.Context, key insertKey) (*sql.Stmt, error) {
	if stmt, ok := t.inserts[key]; ok {
		return stmt, nil
	}
	names, marks := "key, flags", "(?, ?"
	for c := range dust.ChannelCount {
		if key.columns&(1<<c) != 0 {
			names += ", " + c.Key()
			marks += ", ?"
		}
	}
	query := "INSERT INTO unsealed (" + names + ") VALUES " + strings.Repeat(marks+"), ", key.rows-1) + marks + ")"
	if key.skip {
		query += " ON CONFLICT DO NOTHING"
	}
	stmt, err := t.PrepareContext(ctx, query)
	if err == nil {
		t.inserts[key] = stmt
	}
	return stmt, err
}
