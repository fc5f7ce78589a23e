package cli

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"os/exec"
	"slices"
	"strings"
	"time"
	"unicode"

	"dustlog/internal/config"
	"dustlog/internal/respirator"
)

// hookRetry is how long after a failed run the program is tried again, as long as
// nothing has changed: a lamp that missed "keep it on" must get it.
const hookRetry = 10 * time.Second

// hook runs the user's program when the answer changes: a relay, a lamp, a buzzer.
// It never blocks who tells it. What changes while the program runs waits; of
// several changes the newest counts.
type hook struct {
	argv    []string
	timeout time.Duration
	repeat  time.Duration // 0: never
	log     *slog.Logger
	run     func(ctx context.Context, argv, env []string) error

	box   chan respirator.Status // holds the newest that was not run yet
	ended chan struct{}
	// Written by the one goroutine that runs the program, read after ended.
	calls, failed int
}

// startHook starts the goroutine; nil if no program is set.
func startHook(r config.Respirator, log *slog.Logger) *hook {
	if len(r.OnChange) == 0 {
		return nil
	}
	h := &hook{argv: r.OnChange, timeout: r.Timeout, repeat: r.RepeatEvery, log: log, run: runProgram,
		box: make(chan respirator.Status, 1), ended: make(chan struct{})}
	go h.loop()
	return h
}

// tell hands over a change. Only one goroutine may call it.
func (h *hook) tell(s respirator.Status) {
	select {
	case <-h.box: // overtaken before it was run
	default:
	}
	h.box <- s
}

// end tells the last answer and waits until the program has had it, or its time
// is up.
func (h *hook) end(s respirator.Status) {
	h.tell(s)
	close(h.box)
	<-h.ended
}

func (h *hook) loop() {
	defer close(h.ended)
	var last respirator.Status
	var again <-chan time.Time // fires when the last answer is to be told again
	var err error
	for {
		select {
		case s, open := <-h.box:
			if !open {
				if err != nil {
					_ = h.once(last) // one more chance before the end
				}
				return
			}
			last = s
		case <-again:
		}
		err = h.once(last)
		again = h.after(err)
	}
}

// after is when to tell the same again.
func (h *hook) after(err error) <-chan time.Time {
	switch {
	case err != nil:
		return time.After(hookRetry)
	case h.repeat > 0:
		return time.After(h.repeat)
	}
	return nil
}

func (h *hook) once(s respirator.Status) error {
	ctx, cancel := context.WithTimeout(context.Background(), h.timeout)
	defer cancel()
	h.calls++
	err := h.run(ctx, append(slices.Clone(h.argv), s.Word()), hookEnv(s))
	if ctx.Err() != nil {
		err = fmt.Errorf("it took longer than %s and was ended", h.timeout)
	}
	if err != nil {
		h.failed++
		h.log.Error("the program of [respirator] on_change failed, will try again", "program", h.argv[0], "state", s.Word(), "error", err)
	}
	return err
}

// hookEnv is what the program finds in its environment besides dustlog's own.
func hookEnv(s respirator.Status) []string {
	until, left := "", ""
	if n, ok := s.Minutes(); ok {
		until, left = s.KeepOnUntil.UTC().Format(time.RFC3339), fmt.Sprint(n)
	}
	return []string{
		"DUSTLOG_STATE=" + s.Word(), "DUSTLOG_CAUSE=" + string(s.Cause), "DUSTLOG_WHY=" + oneLine(s.Why.String()), "DUSTLOG_TASK=" + oneLine(s.Task),
		"DUSTLOG_KEEP_ON_UNTIL=" + until, "DUSTLOG_KEEP_ON_MINUTES=" + left,
	}
}

// oneLine is a text as a variable of the environment can hold it: an operating system
// starts no program with a zero byte or a very long text in there, and then a lamp would
// never hear of "keep it on" because of what somebody wrote in the diary.
func oneLine(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) {
			return ' '
		}
		return r
	}, text)
	if runes := []rune(text); len(runes) > saidAtMost {
		text = string(runes[:saidAtMost]) + "…"
	}
	return text
}

// saidAtMost bounds what is kept of a program's output for the log, and a text that is
// handed to it.
const saidAtMost = 1000

// runProgram runs argv without a shell. Its output goes to the log if it fails.
func runProgram(ctx context.Context, argv, env []string) error {
	cmd := exec.CommandContext(ctx, argv[0], argv[1:]...)
	cmd.Env = append(slices.DeleteFunc(os.Environ(), func(v string) bool { return strings.HasPrefix(v, tokenVariable+"=") }), env...)
	var said limitedBuffer
	cmd.Stdout, cmd.Stderr = &said, &said
	cmd.WaitDelay = time.Second // children may hold the output open
	inOwnGroup(cmd)
	err := cmd.Run()
	if errors.Is(err, exec.ErrWaitDelay) {
		err = nil // it ended well, and left something running
	}
	if text := strings.TrimSpace(string(said.kept)); err != nil && text != "" {
		return fmt.Errorf("%w: it said %q", err, text)
	}
	return err
}

// limitedBuffer keeps the first saidAtMost bytes and forgets the rest.
type limitedBuffer struct{ kept []byte }

func (b *limitedBuffer) Write(p []byte) (int, error) {
	room := saidAtMost - len(b.kept)
	b.kept = append(b.kept, p[:min(max(room, 0), len(p))]...)
	return len(p), nil
}
