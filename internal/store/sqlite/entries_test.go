package sqlite_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
)

func tapped(id, name string, minute int) dust.Entry {
	return dust.Entry{ID: id, Kind: dust.StartEntry, Name: name, Material: "oak", At: at(minute)}
}

func undo(id, of string, minute int) dust.Entry {
	return dust.Entry{ID: id, Kind: dust.UndoEntry, Undoes: of, At: at(minute)}
}

func enter(t *testing.T, s *sqlite.Store, entries ...dust.Entry) {
	t.Helper()
	for _, e := range entries {
		_, err := s.Enter(t.Context(), e)
		require.NoError(t, err, e.ID)
	}
}

// taskLine is a task without its number.
type taskLine struct {
	Name        string
	Start, Stop time.Time
}

func lines(t *testing.T, s *sqlite.Store) (out []taskLine) {
	t.Helper()
	tasks, err := s.Tasks(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	for _, one := range tasks {
		out = append(out, taskLine{one.Name, one.Start, one.Stop})
	}
	return out
}

func TestAnEntryThatArrivesTwiceIsEnteredOnce(t *testing.T) {
	s := tempStore(t)
	first, err := s.Enter(t.Context(), tapped("a", " sanding ", 0))
	require.NoError(t, err)
	require.Equal(t, "sanding", first.Name)
	again := tapped("a", "something else", 7)
	second, err := s.Enter(t.Context(), again)
	require.NoError(t, err)
	require.Equal(t, first, second)
	require.Equal(t, []taskLine{{"sanding", at(0), time.Time{}}}, lines(t, s))
	listed, err := s.Entries(t.Context(), at(0), at(1))
	require.NoError(t, err)
	require.Equal(t, []dust.Entered{first}, listed)
}

func TestAStartEndsTheRunningTask(t *testing.T) {
	s := tempStore(t)
	enter(t, s, tapped("a", "sanding", 0), tapped("b", "ripping", 10))
	require.Equal(t, []taskLine{{"sanding", at(0), at(10)}, {"ripping", at(10), time.Time{}}}, lines(t, s))
	enter(t, s, undo("c", "b", 11))
	require.Equal(t, []taskLine{{"sanding", at(0), time.Time{}}}, lines(t, s), "the one before runs on")
	enter(t, s, undo("d", "a", 12))
	require.Empty(t, lines(t, s))
}

func TestUndoOfAStop(t *testing.T) {
	s := tempStore(t)
	enter(t, s, tapped("a", "sanding", 0), dust.Entry{ID: "b", Kind: dust.StopEntry, At: at(10)})
	require.Equal(t, []taskLine{{"sanding", at(0), at(10)}}, lines(t, s))
	enter(t, s, undo("c", "b", 11), undo("c", "b", 12), undo("d", "b", 13))
	require.Equal(t, []taskLine{{"sanding", at(0), time.Time{}}}, lines(t, s))
	listed, err := s.Entries(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Equal(t, "sanding", listed[1].Name, "a stop says what it stopped")
	require.Equal(t, at(11), listed[1].Undone)
}

func TestUndoOfASetup(t *testing.T) {
	s := tempStore(t)
	use := func(id, name string, minute int) dust.Entry {
		return dust.Entry{ID: id, Kind: dust.SetupEntry, Name: name, At: at(minute)}
	}
	enter(t, s, use("a", "old", 0), use("b", "new", 10), use("c", "nwe", 10), undo("d", "c", 11))
	periods, err := s.SetupPeriods(t.Context())
	require.NoError(t, err)
	require.Equal(t, []dust.SetupPeriod{{Setup: "old", From: at(0), To: at(10)}, {Setup: "new", From: at(10)}}, periods)
	enter(t, s, undo("e", "b", 12))
	periods, err = s.SetupPeriods(t.Context())
	require.NoError(t, err)
	require.Equal(t, []dust.SetupPeriod{{Setup: "old", From: at(0)}}, periods)
	setups, err := s.Setups(t.Context())
	require.NoError(t, err)
	require.NotContains(t, setups, dust.Setup{Name: "new"}, "a name that was never used goes")
}

func TestWhatCannotBeUndone(t *testing.T) {
	s := tempStore(t)
	enter(t, s,
		tapped("start", "sanding", 0),
		dust.Entry{ID: "stop", Kind: dust.StopEntry, At: at(10)},
		tapped("next", "ripping", 12),
		dust.Entry{ID: "note", Kind: dust.NoteEntry, Text: "bag changed", At: at(13)},
		undo("undone", "note", 14))
	before := lines(t, s)
	for id, of := range map[string]string{"1": "start", "2": "stop", "3": "undone", "4": "nothing"} {
		_, err := s.Enter(t.Context(), undo(id, of, 20))
		require.ErrorIs(t, err, dust.ErrCannotUndo, of)
	}
	require.Equal(t, before, lines(t, s))
	listed, err := s.Entries(t.Context(), at(13), at(14))
	require.NoError(t, err)
	require.Len(t, listed, 1)
	require.False(t, listed[0].Stands())
	require.Equal(t, "bag changed", listed[0].Text, "what was taken back is still on record")
}

func TestEntriesThatSayNothingAreRefused(t *testing.T) {
	s := tempStore(t)
	for _, e := range []dust.Entry{
		{Kind: dust.StopEntry, At: at(0)},
		{ID: "x", Kind: dust.StopEntry},
		{ID: "x", Kind: "flarp", At: at(0)},
		{ID: "x", Kind: dust.StartEntry, Name: " ", At: at(0)},
		{ID: "x", Kind: dust.NoteEntry, At: at(0)},
		{ID: "x", Kind: dust.NoteEntry, Text: string(make([]byte, 1001)), At: at(0)},
		{ID: "x", Kind: dust.UndoEntry, At: at(0)},
	} {
		_, err := s.Enter(t.Context(), e)
		require.ErrorIs(t, err, dust.ErrEntry)
	}
	_, err := s.Enter(t.Context(), dust.Entry{ID: "y", Kind: dust.StopEntry, At: at(0)})
	require.ErrorIs(t, err, dust.ErrNoTaskOpen)
	enter(t, s, tapped("a", "sanding", 10))
	_, err = s.Enter(t.Context(), tapped("b", "ripping", 5))
	require.ErrorIs(t, err, dust.ErrTimeBackwards, "a late tap cannot end a task before it began")
	require.Len(t, lines(t, s), 1)
	listed, err := s.Entries(t.Context(), time.Time{}, time.Time{})
	require.NoError(t, err)
	require.Len(t, listed, 1, "what was refused is not on record as entered")
}
