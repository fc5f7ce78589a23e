package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// enteredSince is the layout from which on there are entries.
const enteredSince = 5

// Enter carries out an entry of the diary and keeps it, both or neither, and
// returns it as it is kept. An entry whose ID the store has already is not carried
// out again, which is not an error. A start ends the running task of its person.
//
// Errors wrap dust.ErrEntry if the entry says nothing that can be done,
// dust.ErrCannotUndo if what is to be undone has been changed since, and else
// those of StartTask, StopTask and UseSetup.
func (s *Store) Enter(ctx context.Context, e dust.Entry) (dust.Entered, error) {
	if err := e.Check(); err != nil {
		return dust.Entered{}, err
	}
	e.At = e.At.UTC().Truncate(time.Millisecond)
	e.Name, e.Material, e.Person, e.Text = strings.TrimSpace(e.Name), strings.TrimSpace(e.Material), strings.TrimSpace(e.Person), strings.TrimSpace(e.Text)
	var kept dust.Entered
	err := s.update(ctx, "enter in the diary", func(t *tx) error {
		known, err := queryEntries(ctx, t, "WHERE id = ?", e.ID)
		if err != nil {
			return err
		}
		if len(known) > 0 {
			kept = known[0].Entered
			return nil
		}
		done, err := t.carryOut(ctx, e)
		if err != nil {
			return err
		}
		kept = dust.Entered{Entry: done.Entry, Received: s.now().UTC().Truncate(time.Millisecond)}
		_, err = t.ExecContext(ctx, `INSERT INTO entry (id, kind, time_ms, received_ms, name, material, person, text, undoes, task_id, ended_id, replaced)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, e.ID, e.Kind, e.At.UnixMilli(), kept.Received.UnixMilli(),
			done.Name, done.Material, done.Person, done.Text, done.Undoes, done.task, done.ended, done.replaced)
		return err
	})
	return kept, err
}

// entryRow is an entry with what it takes to undo it.
type entryRow struct {
	dust.Entered
	task, ended sql.NullInt64
	replaced    sql.NullString
}

// carryOut does what an entry says.
func (t *tx) carryOut(ctx context.Context, e dust.Entry) (entryRow, error) {
	row := entryRow{Entered: dust.Entered{Entry: e}}
	switch e.Kind {
	case dust.StartEntry:
		ended, err := t.stopTask(ctx, e.Person, e.At)
		switch {
		case err == nil:
			row.ended = sql.NullInt64{Int64: ended.ID, Valid: true}
		case !errors.Is(err, dust.ErrNoTaskOpen):
			return row, err
		}
		started, err := t.addTask(ctx, dust.Task{Name: e.Name, Material: e.Material, Person: e.Person, Start: e.At})
		row.task = sql.NullInt64{Int64: started.ID, Valid: true}
		return row, err
	case dust.StopEntry:
		stopped, err := t.stopTask(ctx, e.Person, e.At)
		row.Name, row.Material, row.task = stopped.Name, stopped.Material, sql.NullInt64{Int64: stopped.ID, Valid: true}
		return row, err
	case dust.SetupEntry:
		err := t.QueryRowContext(ctx, "SELECT setup FROM setup_change WHERE time_ms = ?", e.At.UnixMilli()).Scan(&row.replaced)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return row, err
		}
		return row, t.useSetup(ctx, e.Name, "", e.At)
	case dust.UndoEntry:
		return row, t.undo(ctx, e)
	}
	return row, nil // a note
}

// undo takes an entry back, if what it did is still as it left it.
func (t *tx) undo(ctx context.Context, e dust.Entry) error {
	found, err := queryEntries(ctx, t, "WHERE id = ?", e.Undoes)
	if err != nil {
		return err
	}
	if len(found) == 0 {
		return fmt.Errorf("%w: there is no entry %q", dust.ErrCannotUndo, e.Undoes)
	}
	row := found[0]
	switch {
	case !row.Stands():
		return nil // by another tap, on another telephone perhaps
	case row.Kind == dust.StartEntry:
		err = t.undoStart(ctx, row)
	case row.Kind == dust.StopEntry:
		err = t.reopen(ctx, row.task.Int64, row)
	case row.Kind == dust.SetupEntry:
		err = t.undoSetup(ctx, row)
	case row.Kind == dust.UndoEntry:
		err = fmt.Errorf("%w: it took something back itself; enter that again", dust.ErrCannotUndo)
	}
	if err != nil {
		return err
	}
	_, err = t.ExecContext(ctx, "UPDATE entry SET undone_ms = ? WHERE id = ?", e.At.UnixMilli(), row.ID)
	return err
}

func (t *tx) undoStart(ctx context.Context, row entryRow) error {
	err := t.one(ctx, fmt.Sprintf("%q was stopped or changed since; undo that first", row.Name),
		"DELETE FROM task WHERE id = ? AND name = ? AND start_ms = ? AND stop_ms IS NULL", row.task, row.Name, row.At.UnixMilli())
	if err != nil || !row.ended.Valid {
		return err
	}
	return t.reopen(ctx, row.ended.Int64, row)
}

// reopen lets a task that an entry ended run on.
func (t *tx) reopen(ctx context.Context, id int64, row entryRow) error {
	tasks, err := queryTasks(ctx, t, "id = ? AND stop_ms = ?", id, row.At.UnixMilli())
	if err != nil {
		return err
	}
	if len(tasks) == 0 {
		return fmt.Errorf("%w: the task it stopped was changed since", dust.ErrCannotUndo)
	}
	running := tasks[0]
	running.Stop = time.Time{}
	lo, hi := bounds(running.Start, time.Time{})
	near, err := queryTasks(ctx, t, sharesTime, hi, lo)
	if err != nil {
		return err
	}
	for _, other := range near {
		if other.ID != id && running.Overlaps(other) {
			return fmt.Errorf("%w: %s began since", dust.ErrCannotUndo, describe(other))
		}
	}
	_, err = t.ExecContext(ctx, "UPDATE task SET stop_ms = NULL WHERE id = ?", id)
	return err
}

func (t *tx) undoSetup(ctx context.Context, row entryRow) error {
	why := "another setup was declared for the same moment since"
	if row.replaced.Valid {
		return t.one(ctx, why, "UPDATE setup_change SET setup = ? WHERE time_ms = ? AND setup = ?", row.replaced.String, row.At.UnixMilli(), row.Name)
	}
	if err := t.one(ctx, why, "DELETE FROM setup_change WHERE time_ms = ? AND setup = ?", row.At.UnixMilli(), row.Name); err != nil {
		return err
	}
	// A name that was never in use otherwise was a slip of the finger.
	_, err := t.ExecContext(ctx, "DELETE FROM setup WHERE name = ?1 AND note = '' AND NOT EXISTS (SELECT 1 FROM setup_change WHERE setup = ?1)", row.Name)
	return err
}

// one runs a statement that must change one row; else the entry cannot be undone.
func (t *tx) one(ctx context.Context, why, statement string, args ...any) error {
	result, err := t.ExecContext(ctx, statement, args...)
	if err != nil {
		return err
	}
	if n, err := result.RowsAffected(); err != nil || n != 1 {
		return errors.Join(fmt.Errorf("%w: %s", dust.ErrCannotUndo, why), err)
	}
	return nil
}

// Entries lists the entries tapped in [from, to) in that order, those that were
// taken back included; zero times mean open.
func (s *Store) Entries(ctx context.Context, from, to time.Time) ([]dust.Entered, error) {
	if s.version < enteredSince {
		return nil, nil
	}
	lo, hi := bounds(from, to)
	rows, err := queryEntries(ctx, s.read, "WHERE time_ms >= ? AND time_ms < ?", lo, hi)
	var list []dust.Entered
	for _, row := range rows {
		list = append(list, row.Entered)
	}
	return list, explain("list entries", s.path, err)
}

func queryEntries(ctx context.Context, db querier, condition string, args ...any) ([]entryRow, error) {
	rows, err := db.QueryContext(ctx, `SELECT id, kind, time_ms, received_ms, name, material, person, text, undoes, undone_ms, task_id, ended_id, replaced
		FROM entry `+condition+" ORDER BY time_ms, received_ms, id", args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var list []entryRow
	for rows.Next() {
		var r entryRow
		var at, received int64
		var undone sql.NullInt64
		err := rows.Scan(&r.ID, &r.Kind, &at, &received, &r.Name, &r.Material, &r.Person, &r.Text, &r.Undoes, &undone, &r.task, &r.ended, &r.replaced)
		if err != nil {
			return nil, err
		}
		r.At, r.Received, r.Undone = time.UnixMilli(at).UTC(), time.UnixMilli(received).UTC(), timeOf(undone)
		list = append(list, r)
	}
	return list, rows.Err()
}
