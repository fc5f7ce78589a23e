package dust

import (
	"errors"
	"fmt"
	"strings"
	"time"
)

// Entry is one thing that a person enters in the diary by a tap. It may arrive
// late and more than once; its ID, made where the tap was made, tells.
type Entry struct {
	ID       string
	Kind     EntryKind
	At       time.Time // when it was tapped
	Name     string    // of the task that starts, or of the setup, or what was read off the collector
	Material string    // of the task
	Person   string    // whose task; "" for tasks without one
	Text     string    // of a note, or the figures read off, with their unit
	Undoes   string    // ID of the entry that is taken back
}

// EntryKind says what an entry does.
type EntryKind string

// The kinds. A start ends the task of that person that is running, if there is one.
const (
	StartEntry EntryKind = "start"
	StopEntry  EntryKind = "stop"
	SetupEntry EntryKind = "setup"
	NoteEntry  EntryKind = "note"
	GaugeEntry EntryKind = "gauge" // a reading off the collector; package airflow reads it
	UndoEntry  EntryKind = "undo"
)

// Entered is an entry as the store has it.
type Entered struct {
	Entry
	Received time.Time
	Undone   time.Time // zero while it stands
}

// Stands reports whether the entry has not been taken back.
func (e Entered) Stands() bool { return e.Undone.IsZero() }

// Errors about entries.
var (
	ErrEntry       = errors.New("entry cannot be taken")
	ErrCannotUndo  = errors.New("it cannot be undone any more")
	errEntryLength = fmt.Errorf("%w: a name holds at most %d bytes, a note %d", ErrEntry, maxEntryName, maxEntryText)
)

const (
	maxEntryID   = 64
	maxEntryName = 120
	maxEntryText = 1000
)

// Check reports what is wrong with an entry. The error wraps ErrEntry.
func (e Entry) Check() error {
	switch {
	case e.ID == "" || len(e.ID) > maxEntryID:
		return fmt.Errorf("%w: its id must have 1 to %d bytes", ErrEntry, maxEntryID)
	case e.At.IsZero():
		return fmt.Errorf("%w: it has no time", ErrEntry)
	case max(len(e.Name), len(e.Material), len(e.Person)) > maxEntryName || len(e.Text) > maxEntryText:
		return errEntryLength
	case (e.Kind == StartEntry || e.Kind == SetupEntry) && strings.TrimSpace(e.Name) == "":
		return fmt.Errorf("%w: the %s has no name", ErrEntry, map[EntryKind]string{StartEntry: "task", SetupEntry: "setup"}[e.Kind])
	case e.Kind == NoteEntry && strings.TrimSpace(e.Text) == "":
		return fmt.Errorf("%w: the note is empty", ErrEntry)
	case e.Kind == GaugeEntry && (strings.TrimSpace(e.Name) == "" || strings.TrimSpace(e.Text) == ""):
		return fmt.Errorf("%w: it does not say what was read off, or not how much", ErrEntry)
	case e.Kind == UndoEntry && e.Undoes == "":
		return fmt.Errorf("%w: it does not say what to undo", ErrEntry)
	}
	switch e.Kind {
	case StartEntry, StopEntry, SetupEntry, NoteEntry, GaugeEntry, UndoEntry:
		return nil
	}
	return fmt.Errorf("%w: kind %q is not known", ErrEntry, e.Kind)
}
