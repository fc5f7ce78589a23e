package sqlite

import (
	"context"
	"database/sql"
	"fmt"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// StartTask begins a task that runs until StopTask; its Stop must be zero. The
// error wraps dust.ErrTaskOpen if a task of that person is running, and
// dust.ErrTaskOverlap if another task shares its time.
func (s *Store) StartTask(ctx context.Context, task dust.Task) (dust.Task, error) {
	if !task.Running() {
		return dust.Task{}, fmt.Errorf("start task %q: it already has a stop", task.Name)
	}
	err := s.update(ctx, "start task", func(t *tx) error {
		open, err := queryTasks(ctx, t, "stop_ms IS NULL AND person = ?", task.Person)
		if err != nil {
			return err
		}
		if len(open) > 0 {
			return fmt.Errorf("%w: %s; stop that one first", dust.ErrTaskOpen, describe(open[0]))
		}
		task, err = t.addTask(ctx, task)
		return err
	})
	if err != nil {
		return dust.Task{}, err
	}
	return task, nil
}

// StopTask ends the running task of a person, "" being the tasks without one.
// The error wraps dust.ErrNoTaskOpen if there is none, and
// dust.ErrTimeBackwards if at is not after the task's start.
func (s *Store) StopTask(ctx context.Context, person string, at time.Time) (dust.Task, error) {
	var task dust.Task
	err := s.update(ctx, "stop task", func(t *tx) (err error) {
		task, err = t.stopTask(ctx, person, at)
		return err
	})
	if err != nil {
		return dust.Task{}, err
	}
	return task, nil
}

// stopTask is Store.StopTask within the transaction.
func (t *tx) stopTask(ctx context.Context, person string, at time.Time) (dust.Task, error) {
	open, err := queryTasks(ctx, t, "stop_ms IS NULL")
	if err != nil {
		return dust.Task{}, err
	}
	i := 0
	for i < len(open) && open[i].Person != person {
		i++
	}
	if i == len(open) {
		return dust.Task{}, noneOpen(person, open)
	}
	task := open[i]
	task.Stop = at.UTC().Truncate(time.Millisecond)
	if err := task.Check(); err != nil {
		return dust.Task{}, err
	}
	_, err = t.ExecContext(ctx, "UPDATE task SET stop_ms = ? WHERE id = ?", task.Stop.UnixMilli(), task.ID)
	return task, err
}

func noneOpen(person string, open []dust.Task) error {
	var others []string
	for _, task := range open {
		others = append(others, describe(task))
	}
	err := dust.ErrNoTaskOpen
	if person != "" {
		err = fmt.Errorf("%w for %s", err, person)
	}
	if len(others) > 0 {
		err = fmt.Errorf("%w; running: %s", err, strings.Join(others, ", "))
	}
	return err
}

// AddTask adds a finished task and returns it with its number. The error wraps
// dust.ErrTaskOverlap if another task shares its time.
func (s *Store) AddTask(ctx context.Context, task dust.Task) (dust.Task, error) {
	err := s.update(ctx, "add task", func(t *tx) (err error) {
		task, err = t.AddTask(ctx, task)
		return err
	})
	if err != nil {
		return dust.Task{}, err
	}
	return task, nil
}

// AddTask is Store.AddTask within the transaction.
func (t *tx) AddTask(ctx context.Context, task dust.Task) (dust.Task, error) {
	if task.Running() {
		return dust.Task{}, fmt.Errorf("task %q has no stop", task.Name)
	}
	return t.addTask(ctx, task)
}

func (t *tx) addTask(ctx context.Context, task dust.Task) (dust.Task, error) {
	task.Start = task.Start.UTC().Truncate(time.Millisecond)
	if !task.Running() {
		task.Stop = task.Stop.UTC().Truncate(time.Millisecond)
	}
	if task.Start.IsZero() {
		return dust.Task{}, fmt.Errorf("task %q has no start", task.Name)
	}
	if err := task.Check(); err != nil {
		return dust.Task{}, err
	}
	lo, hi := bounds(task.Start, task.Stop) // a running task has no end
	near, err := queryTasks(ctx, t, sharesTime, hi, lo)
	if err != nil {
		return dust.Task{}, err
	}
	for _, other := range near {
		if task.Overlaps(other) {
			return dust.Task{}, fmt.Errorf("%w: %s and %s", dust.ErrTaskOverlap, describe(task), describe(other))
		}
	}
	stop := sql.NullInt64{Int64: task.Stop.UnixMilli(), Valid: !task.Running()}
	result, err := t.ExecContext(ctx, "INSERT INTO task (name, material, person, start_ms, stop_ms) VALUES (?, ?, ?, ?, ?)",
		task.Name, task.Material, task.Person, task.Start.UnixMilli(), stop)
	if err != nil {
		return dust.Task{}, err
	}
	task.ID, err = result.LastInsertId()
	return task, err
}

// describe names a task for an error message.
func describe(task dust.Task) string {
	text := fmt.Sprintf("%q", task.Name)
	if task.Person != "" {
		text += " of " + task.Person
	}
	text += " from " + task.Start.Format(time.RFC3339)
	if task.Running() {
		return text + ", still running"
	}
	return text + " to " + task.Stop.Format(time.RFC3339)
}

// Tasks lists the tasks that share time with [from, to) by their start; zero
// times mean open. A running task has no end.
func (s *Store) Tasks(ctx context.Context, from, to time.Time) ([]dust.Task, error) {
	lo, hi := bounds(from, to)
	tasks, err := queryTasks(ctx, s.read, sharesTime, hi, lo)
	return tasks, explain("list tasks", s.path, err)
}

// sharesTime selects the tasks that start before its first argument and stop
// after its second.
const sharesTime = "start_ms < ? AND (stop_ms IS NULL OR stop_ms > ?)"

// querier is what a database and a transaction have in common here.
type querier interface {
	QueryContext(ctx context.Context, query string, args ...any) (*sql.Rows, error)
}

func queryTasks(ctx context.Context, db querier, condition string, args ...any) ([]dust.Task, error) {
	rows, err := db.QueryContext(ctx, "SELECT id, name, material, person, start_ms, stop_ms FROM task WHERE "+
		condition+" ORDER BY start_ms, id", args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var tasks []dust.Task
	for rows.Next() {
		var task dust.Task
		var start int64
		var stop sql.NullInt64
		if err := rows.Scan(&task.ID, &task.Name, &task.Material, &task.Person, &start, &stop); err != nil {
			return nil, err
		}
		task.Start = time.UnixMilli(start).UTC()
		if stop.Valid {
			task.Stop = time.UnixMilli(stop.Int64).UTC()
		}
		tasks = append(tasks, task)
	}
	return tasks, rows.Err()
}
