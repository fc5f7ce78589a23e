package browsertests

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// background is a program that runs until the test ends or stop is called.
type background struct {
	cmd *exec.Cmd
	out *bufio.Scanner
}

func start(t *testing.T, merged bool, name string, args ...string) *background {
	t.Helper()
	cmd := exec.Command(name, args...)
	pipe, err := cmd.StdoutPipe()
	if merged {
		pipe, err = cmd.StderrPipe()
	}
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	b := &background{cmd: cmd, out: bufio.NewScanner(pipe)}
	t.Cleanup(b.stop)
	return b
}

// stop interrupts the program and waits for it.
func (b *background) stop() {
	if b.cmd.ProcessState != nil {
		return
	}
	_ = b.cmd.Process.Signal(syscall.SIGINT)
	for b.out.Scan() { // or it may block on a full pipe
	}
	_ = b.cmd.Wait()
}

// shop is a collector that reads two sensors behind pseudo-terminals, with its page.
type shop struct {
	config, address string
	collector       *background
}

func openShop(t *testing.T) *shop {
	t.Helper()
	fakes := start(t, false, fakesProgram, "sps30", "sds011")
	var ports []string
	for len(ports) < 2 && fakes.out.Scan() {
		_, path, _ := strings.Cut(fakes.out.Text(), " ")
		ports = append(ports, path)
	}
	require.Len(t, ports, 2)
	s := &shop{config: filepath.Join(t.TempDir(), "dustlog.toml"), address: freeAddress(t)}
	text := fmt.Sprintf("store = \"s.db\"\n[shop]\nname = \"Browser shop\"\nzone = \"UTC\"\n[collect]\ncommit_every = \"1s\"\n"+
		"[[sensor]]\nname = \"bench\"\nmodel = \"sps30\"\nport = %q\nposition = \"breathing_zone\"\n"+
		"[[sensor]]\nname = \"outlet\"\nmodel = \"sds011\"\nport = %q\nposition = \"exhaust\"\n", ports[0], ports[1])
	require.NoError(t, os.WriteFile(s.config, []byte(text), 0o644))
	s.dustlog(t, "task", "add", "ripping", "--material", "oak", "--from", "30m ago", "--to", "20m ago")
	s.dustlog(t, "setup", "use", "old bag", "--at", "1h ago")
	s.collect(t)
	return s
}

func freeAddress(t *testing.T) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// collect starts the collector with its page, at the same address each time.
func (s *shop) collect(t *testing.T) {
	t.Helper()
	s.collector = start(t, true, program, "collect", "--config", s.config, "--serve", s.address)
	for s.collector.out.Scan() {
		if strings.Contains(s.collector.out.Text(), "the page is at") {
			return
		}
	}
	t.Fatal("the collector did not offer the page")
}

func (s *shop) dustlog(t *testing.T, args ...string) []byte {
	t.Helper()
	out, err := exec.Command(program, append(args, "--quiet", "--config", s.config)...).Output()
	require.NoError(t, err, "%v: %s", args, out)
	return out
}

type task struct {
	Task, Material string
	Start          time.Time
	Stop           *time.Time
}

func (s *shop) tasks(t *testing.T) []task {
	t.Helper()
	var list struct{ Tasks []task }
	require.NoError(t, json.Unmarshal(s.dustlog(t, "task", "list", "--json"), &list))
	return list.Tasks
}

func (s *shop) open(t *testing.T, width, height int64, path string) *opened {
	return openAt(t, width, height, "http://"+s.address+path)
}

// until waits for a script to be true.
func until(t *testing.T, o *opened, script string) {
	t.Helper()
	ctx, cancel := context.WithTimeout(o.ctx, 40*time.Second)
	defer cancel()
	_, err := chromedp.Run(ctx, chromedp.Poll[any](script, chromedp.WithPollingInterval(100*time.Millisecond)))
	require.NoError(t, err, script)
}

// picture keeps what the browser shows in the folder that DUSTLOG_SHOTS names.
func picture(t *testing.T, o *opened, name string) {
	t.Helper()
	shot, err := chromedp.Run(o.ctx, chromedp.CaptureScreenshot())
	require.NoError(t, err)
	require.NotEmpty(t, shot)
	if dir := os.Getenv("DUSTLOG_SHOTS"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), shot, 0o644))
	}
}

func (o *opened) quiet(t *testing.T) {
	t.Helper()
	o.mu.Lock()
	defer o.mu.Unlock()
	require.Empty(t, o.complaints)
}

const press = `(text) => [...document.querySelectorAll('button')].find(b => b.textContent.includes(text) && b.getBoundingClientRect().width > 0).click()`

func tap(t *testing.T, o *opened, text string) {
	t.Helper()
	ask[any](t, o, fmt.Sprintf(`(%s)(%q), null`, press, text))
}

func TestThePageOnATelephone(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 390, 844, "/")
	until(t, o, `document.getElementById('s0-level').textContent !== '–'`)
	before := ask[string](t, o, `document.getElementById('s0-note').textContent`)
	until(t, o, fmt.Sprintf(`document.getElementById('s0-note').textContent !== %q`, before)) // a level arrives by itself
	require.False(t, ask[bool](t, o, `document.documentElement.scrollWidth > innerWidth`), "the page does not scroll sideways")
	require.NotEmpty(t, ask[string](t, o, `document.getElementById('mask').textContent`))

	// Two taps: open the dock, touch the task.
	ask[any](t, o, `document.querySelector('#more > summary').click(), null`)
	picture(t, o, "telephone-dock")
	require.Empty(t, ask[[]string](t, o, small), "every target is at least 48 px high")
	tap(t, o, "ripping")
	until(t, o, `document.querySelector('.task b').textContent.includes('Ripping')`)
	all := s.tasks(t)
	require.Len(t, all, 2)
	require.Equal(t, "ripping", all[1].Task)
	require.Equal(t, "oak", all[1].Material)
	require.Nil(t, all[1].Stop)
	picture(t, o, "telephone-task")

	tap(t, o, "Undo")
	until(t, o, `document.querySelector('.task b').textContent.includes('No task')`)
	require.Len(t, s.tasks(t), 1)
	o.quiet(t)
}

// small are the things to touch that are lower than 48 px.
const small = `[...document.querySelectorAll('nav a, button, summary, .dock input, .dock select, .choices a')]
	.filter(e => { const b = e.getBoundingClientRect(); return b.width > 0 && b.height < 47.5 }).map(e => e.outerHTML.slice(0, 80))`

// The server is gone while a tap is made, and comes back.
func TestATapMadeOfflineIsSentLater(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 390, 844, "/")
	until(t, o, `document.getElementById('s0-level').textContent !== '–'`)
	s.collector.stop()
	until(t, o, `!document.getElementById('offline').hidden`)
	ask[any](t, o, `document.querySelector('#more > summary').click(), null`)
	tapped := time.Now()
	tap(t, o, "ripping")
	until(t, o, `document.getElementById('waiting').textContent.includes('waits to be sent')`)
	picture(t, o, "telephone-offline")
	require.Len(t, s.tasks(t), 1, "nothing is in the store yet")

	s.collect(t)
	until(t, o, `document.getElementById('waiting').hidden && document.getElementById('offline').hidden`)
	until(t, o, `document.querySelector('.task b').textContent.includes('Ripping')`)
	all := s.tasks(t)
	require.Len(t, all, 2, "once")
	require.WithinDuration(t, tapped, all[1].Start, 2*time.Second, "at the time of the tap, not of its arrival")
}

func TestThePageInTheDarkAndOnADesk(t *testing.T) {
	s := openShop(t)
	for name, width := range map[string]int64{"telephone": 390, "desk": 1280} {
		for _, scheme := range []string{"light", "dark"} {
			o := s.open(t, width, 900, "/login")
			_, err := chromedp.Call(o.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
				Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}}})
			require.NoError(t, err)
			for _, path := range []string{"/", "/diary", "/days", "/tasks", "/setups", "/limits", "/report"} {
				require.NoError(t, chromedp.Do(o.ctx, chromedp.Navigate("http://"+s.address+path)))
				require.Empty(t, ask[[]string](t, o, contrast), "%s %s %s", name, scheme, path)
				require.Empty(t, ask[[]string](t, o, nameless), "%s: everything to touch has a name", path)
				require.False(t, ask[bool](t, o, `document.documentElement.scrollWidth > innerWidth`), "%s %s", name, path)
				picture(t, o, fmt.Sprintf("%s-%s-%s", name, scheme, strings.Trim(path, "/")))
			}
			dark := ask[float64](t, o, `getComputedStyle(document.body).backgroundColor.match(/\d+/g).map(Number)[0]`) < 128
			require.Equal(t, scheme == "dark", dark)
			o.quiet(t)
		}
	}
}

// nameless are controls that a screen reader could only call "button".
const nameless = `[...document.querySelectorAll('a, button, input:not([type=hidden]), select, summary, img, svg[role=img]')]
	.filter(e => !(e.getAttribute('aria-label') || e.getAttribute('alt') || e.textContent.trim() || (e.labels && e.labels.length))).map(e => e.outerHTML.slice(0, 80))`

func TestThePageByKeyboard(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 1280, 900, "/")
	var seen []string
	for range 40 {
		require.NoError(t, chromedp.Do(o.ctx, chromedp.KeyEvent("\t")))
		seen = append(seen, ask[string](t, o, `document.activeElement.textContent.trim().slice(0, 30)`))
		require.True(t, ask[bool](t, o, `document.activeElement === document.body || parseFloat(getComputedStyle(document.activeElement).outlineWidth) >= 2`), "the focus is seen")
	}
	for _, want := range []string{"To the page", "Diary", "Report", "8 h"} {
		require.Contains(t, seen, want)
	}
	o.quiet(t)
}

func TestThePageCanBeReadWithoutScript(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 390, 844, "/login")
	_, err := chromedp.Call(o.ctx, emulation.SetScriptExecutionDisabled, emulation.SetScriptExecutionDisabledParams{Value: true})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(o.ctx, chromedp.Navigate("http://"+s.address+"/"), chromedp.Click("#more > summary"), chromedp.Click("#more .grid button")))
	require.Eventually(t, func() bool { return len(s.tasks(t)) == 2 }, 20*time.Second, 200*time.Millisecond, "a plain form enters a task")
}
