package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/config"
	"dustlog/internal/exposure"
	"dustlog/internal/respirator"
	"dustlog/internal/words"
)

var (
	keepOn    = respirator.Status{State: exposure.KeepOn, Cause: respirator.AtWork, Why: words.Literal("sanding: \"it\" stays on; $HOME"), Task: "sanding"}
	notNeeded = respirator.Status{State: exposure.NotShownNeeded, Cause: respirator.Idle, Why: words.Literal("idle")}
)

// program writes a shell script that appends what it is given to a file.
func program(t *testing.T, body string) (argv []string, said func() []string) {
	t.Helper()
	if runtime.GOOS == "windows" {
		t.Skip("no shell script runs here")
	}
	dir := t.TempDir()
	path, out := filepath.Join(dir, "lamp"), filepath.Join(dir, "said")
	require.NoError(t, os.WriteFile(path, []byte("#!/bin/sh\n"+strings.ReplaceAll(body, "OUT", "'"+out+"'")+"\n"), 0o700))
	return []string{path, "--pin", "17"}, func() []string {
		text, err := os.ReadFile(out)
		if errors.Is(err, os.ErrNotExist) {
			return nil
		}
		require.NoError(t, err)
		return strings.Split(strings.TrimSpace(string(text)), "\n")
	}
}

func quietHook(argv []string, timeout time.Duration) *hook {
	return startHook(config.Respirator{OnChange: argv, Timeout: timeout}, slog.New(slog.DiscardHandler))
}

func TestHookRunsARealProgram(t *testing.T) {
	t.Setenv(tokenVariable, "secret")
	argv, said := program(t, `echo "$# $1 $2 $3 $DUSTLOG_STATE $DUSTLOG_CAUSE [$DUSTLOG_TASK] [$DUSTLOG_KEEP_ON_UNTIL] [$DUSTLOG_KEEP_ON_MINUTES] [$DUSTLOG_INFLUX_TOKEN] $DUSTLOG_WHY" >> OUT`)
	h := quietHook(argv, 10*time.Second)
	h.tell(keepOn)
	now := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	until := now.Add(11*time.Minute + time.Second)
	h.end(respirator.Status{Time: now, State: exposure.KeepOn, Cause: respirator.Clear, KeepOnUntil: &until, Why: words.Literal("air")})
	lines := said()
	require.Equal(t, "3 --pin 17 keep_on keep_on clearing [] [2026-03-02T08:11:01Z] [12] [] air", lines[len(lines)-1])
	require.Equal(t, len(lines), h.calls)
	require.Zero(t, h.failed)
	if len(lines) == 2 { // else the second overtook the first
		require.Equal(t, `3 --pin 17 keep_on keep_on task [sanding] [] [] [] sanding: "it" stays on; $HOME`, lines[0], "no shell reads what is passed")
	}
}

func TestHookEndsAProgramThatHangs(t *testing.T) {
	argv, _ := program(t, "sleep 600 & sleep 600")
	h := quietHook(argv, 200*time.Millisecond)
	began := time.Now()
	h.tell(keepOn)
	require.Less(t, time.Since(began), 100*time.Millisecond, "who tells does not wait")
	h.end(keepOn)
	require.Less(t, time.Since(began), 20*time.Second)
	require.Equal(t, h.calls, h.failed)
	require.NotZero(t, h.failed)
}

func TestHookCountsFailures(t *testing.T) {
	var log strings.Builder
	argv, _ := program(t, "echo no such pin >&2; exit 3")
	h := startHook(config.Respirator{OnChange: argv, Timeout: time.Minute}, slog.New(slog.NewTextHandler(&log, nil)))
	h.end(keepOn)
	require.Equal(t, 2, h.failed, "tried once more before the end")
	require.Contains(t, log.String(), "exit status 3")
	require.Contains(t, log.String(), "no such pin")
	h = quietHook([]string{filepath.Join(t.TempDir(), "not there")}, time.Minute)
	h.end(keepOn)
	require.Equal(t, 2, h.failed)
	require.Nil(t, startHook(config.Respirator{}, nil))
}

// What somebody wrote in the diary must not keep the program from being run.
func TestHookRunsWhateverTheDiaryHolds(t *testing.T) {
	argv, said := program(t, `echo "$3 ${#DUSTLOG_TASK} $(printf %s "$DUSTLOG_WHY" | wc -l)" >> OUT`)
	for _, task := range []string{"a\x00b", strings.Repeat("ß", 200_000), "two\nlines\r", "\xff\xfe", "$(touch hacked); `touch hacked`"} {
		h := quietHook(argv, 10*time.Second)
		h.end(respirator.Status{State: exposure.KeepOn, Cause: respirator.AtWork, Task: task, Why: words.Literal(task + ": it stays on")})
		require.Zero(t, h.failed, "%.20q", task)
		lines := said()
		require.Regexp(t, `^keep_on \d+ 0$`, lines[len(lines)-1], "%.20q", task)
	}
	require.NoFileExists(t, "hacked")
}

func TestHookOutputIsBounded(t *testing.T) {
	argv, _ := program(t, "yes dust | head -c 1000000; exit 1")
	err := runProgram(context.Background(), argv, nil)
	require.Error(t, err)
	require.Less(t, len(err.Error()), 3*saidAtMost)
}

// fakeRuns records what a hook runs, on a fake clock.
type fakeRuns struct {
	mu    sync.Mutex
	words []string
	envs  [][]string
	at    []time.Duration
	began time.Time
	takes time.Duration
	fail  int // so many runs fail
}

func (f *fakeRuns) run(ctx context.Context, argv, env []string) error {
	f.mu.Lock()
	f.envs = append(f.envs, env)
	f.words, f.at = append(f.words, argv[len(argv)-1]), append(f.at, time.Since(f.began))
	fail := f.fail > 0
	f.fail--
	f.mu.Unlock()
	select {
	case <-time.After(f.takes):
	case <-ctx.Done():
		return ctx.Err()
	}
	if fail {
		return errors.New("no")
	}
	return nil
}

// last is the environment of the last run.
func (f *fakeRuns) last() []string {
	f.mu.Lock()
	defer f.mu.Unlock()
	return f.envs[len(f.envs)-1]
}

// minutes is what the last run with an end was told.
func (f *fakeRuns) minutes(t *testing.T) float64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	for _, env := range slices.Backward(f.envs) {
		for _, v := range env {
			if text, ok := strings.CutPrefix(v, "DUSTLOG_KEEP_ON_MINUTES="); ok && text != "" {
				n, err := strconv.Atoi(text)
				require.NoError(t, err)
				return float64(n)
			}
		}
	}
	t.Fatal("no run was told an end")
	return 0
}

func (f *fakeRuns) hook(repeat time.Duration) *hook {
	f.began = time.Now()
	h := &hook{argv: []string{"lamp"}, timeout: 10 * time.Second, repeat: repeat, log: slog.New(slog.DiscardHandler), run: f.run,
		box: make(chan respirator.Status, 1), ended: make(chan struct{})}
	go h.loop()
	return h
}

// While the program runs, changes overtake each other: the last one is never lost.
func TestTheNewestAnswerCounts(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeRuns{takes: 5 * time.Second}
		h := f.hook(0)
		h.tell(keepOn)
		synctest.Wait()
		for range 50 {
			h.tell(notNeeded)
			h.tell(keepOn)
		}
		h.end(notNeeded)
		require.Equal(t, []string{"keep_on", "not_shown_needed"}, f.words)
	})
}

func TestAFailedAnswerIsToldAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeRuns{fail: 3}
		h := f.hook(0)
		h.tell(keepOn)
		time.Sleep(time.Hour)
		synctest.Wait()
		require.Equal(t, []time.Duration{0, 10 * time.Second, 20 * time.Second, 30 * time.Second}, f.at)
		h.end(keepOn)
		require.Equal(t, 3, h.failed)
		require.Equal(t, 5, h.calls)
	})
}

func TestRepeatIsForALampWithATimer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeRuns{}
		h := f.hook(time.Minute)
		h.tell(notNeeded)
		time.Sleep(3*time.Minute + time.Second)
		h.tell(keepOn)
		time.Sleep(time.Minute + time.Second)
		synctest.Wait()
		require.Equal(t, []string{"not_shown_needed", "not_shown_needed", "not_shown_needed", "not_shown_needed", "keep_on", "keep_on"}, f.words)
		h.end(keepOn)
	})
}

func TestEveryStateHasItsWord(t *testing.T) {
	var words []string
	for _, s := range []exposure.MaskState{exposure.KeepOn, exposure.MaskCannotTell, exposure.NotShownNeeded, "something new"} {
		words = append(words, respirator.Status{State: s}.Word())
	}
	require.Equal(t, []string{"keep_on", "cannot_tell", "not_shown_needed", "keep_on"}, words)
	require.False(t, slices.Contains(hookEnv(keepOn), ""), fmt.Sprint(hookEnv(keepOn)))
}
