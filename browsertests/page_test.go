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
	cmd  *exec.Cmd
	out  *bufio.Scanner
	said []string // at its end
}

func start(t testing.TB, merged bool, name string, args ...string) *background {
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
		b.said = append(b.said, b.out.Text())
	}
	_ = b.cmd.Wait()
}

// shop is a collector that reads sensors behind pseudo-terminals, with its page.
type shop struct {
	config, address string
	collector       *background
}

func openShop(t *testing.T) *shop { return openShopOf(t, "sps30", "sds011") }

// openShopOf opens a shop with up to four sensors.
func openShopOf(t testing.TB, models ...string) *shop {
	t.Helper()
	fakes := start(t, false, fakesProgram, models...)
	s := &shop{config: filepath.Join(t.TempDir(), "dustlog.toml"), address: freeAddress(t)}
	text := "store = \"s.db\"\n[shop]\nname = \"Browser shop\"\nzone = \"UTC\"\n[collect]\ncommit_every = \"1s\"\n"
	names, places := []string{"bench", "outlet", "store room", "wall"}, []string{"breathing_zone", "exhaust", "background", "room"}
	for i, model := range models {
		require.True(t, fakes.out.Scan())
		_, port, _ := strings.Cut(fakes.out.Text(), " ")
		text += fmt.Sprintf("[[sensor]]\nname = %q\nmodel = %q\nport = %q\nposition = %q\n", names[i], model, port, places[i])
	}
	require.NoError(t, os.WriteFile(s.config, []byte(text), 0o644))
	s.dustlog(t, "import", history(t), "--sensor", "bench", "--model", "sps30", "--position", "breathing_zone")
	s.dustlog(t, "task", "add", "ripping", "--material", "oak", "--from", "30m ago", "--to", "20m ago")
	s.dustlog(t, "setup", "use", "old bag", "--at", "1h ago")
	s.collect(t)
	return s
}

// history is two hours of readings up to a minute ago, with ten dusty minutes.
func history(t testing.TB) string {
	t.Helper()
	var text strings.Builder
	text.WriteString("time,pm2_5_ug_m3\n")
	now := time.Now().UTC().Truncate(time.Second)
	for ago := 2 * time.Hour; ago > time.Minute; ago -= 5 * time.Second {
		level := 15
		if ago > 20*time.Minute && ago < 30*time.Minute {
			level = 300
		}
		fmt.Fprintf(&text, "%s,%d\n", now.Add(-ago).Format(time.RFC3339), level)
	}
	path := filepath.Join(t.TempDir(), "history.csv")
	require.NoError(t, os.WriteFile(path, []byte(text.String()), 0o644))
	return path
}

func freeAddress(t testing.TB) string {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(t, err)
	defer l.Close()
	return l.Addr().String()
}

// collect starts the collector with its page, at the same address each time.
func (s *shop) collect(t testing.TB) {
	t.Helper()
	s.collector = start(t, true, program, "collect", "--config", s.config, "--serve", s.address)
	for s.collector.out.Scan() {
		if strings.Contains(s.collector.out.Text(), "the page is at") {
			return
		}
	}
	t.Fatal("the collector did not offer the page")
}

func (s *shop) dustlog(t testing.TB, args ...string) []byte {
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
	for {
		_, err := chromedp.Run(ctx, chromedp.Poll[any](script, chromedp.WithPollingInterval(100*time.Millisecond)))
		if err != nil && ctx.Err() == nil && (strings.Contains(err.Error(), "navigated") || strings.Contains(err.Error(), "Cannot find context")) {
			continue // another page came meanwhile
		}
		require.NoError(t, err, script)
		return
	}
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

	// A figure read off the collector.
	ask[any](t, o, `(document.querySelector('[name=gauge]').value = 'filter-drop', document.querySelector('[name=figures]').value = '450 Pa', document.querySelector('[name=figures]').form.requestSubmit(), null)`)
	until(t, o, `document.querySelector('.did')?.textContent.includes('pressure drop over the filter: 450 Pa (1.81 in. w.g.)')`)
	o.quiet(t)
}

// The stretch of time is chosen without leaving the page, and stays in the address.
func TestHowFarBackThePageLooks(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 390, 844, "/")
	until(t, o, `document.querySelector('img.trace')?.complete`)
	for _, hours := range []string{"1", "8", "24"} {
		ask[any](t, o, fmt.Sprintf(`([...document.querySelectorAll('#trace a')].find(a => a.textContent === '%s h').click(), null)`, hours))
		until(t, o, fmt.Sprintf(`document.querySelector('#trace a[aria-current]').textContent === '%s h' && document.querySelector('img.trace').src.includes('hours=%s&')`, hours, hours))
		until(t, o, `document.querySelector('img.trace').complete && document.querySelector('img.trace').naturalWidth > 0`)
		require.Contains(t, ask[string](t, o, `location.search`), "hours="+hours)
	}
	require.Contains(t, ask[string](t, o, `document.querySelector('img.trace').alt`), "bench")
	o.quiet(t)
}

// On paper there are the answer and the numbers, and nothing to tap.
func TestThePageOnPaper(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 1280, 900, "/")
	until(t, o, `document.getElementById('s0-level').textContent !== '–'`)
	pdf, err := chromedp.Run(o.ctx, chromedp.PrintToPDF())
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "page.pdf")
	require.NoError(t, os.WriteFile(path, pdf, 0o644))
	text, err := exec.Command("pdftotext", path, "-").Output()
	require.NoError(t, err, "pdftotext comes with poppler-utils: run `make tools`")
	for _, is := range []string{"Is a respirator needed now?", "bench", "mg/m³"} {
		require.Contains(t, string(text), is)
	}
	for _, not := range []string{"Start a task", "Setups", "24 h"} {
		require.NotContains(t, string(text), not)
	}
}

// The report is opened in the browser, and taken along as PDF.
func TestTheReportFromThePage(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 390, 844, "/report")
	until(t, o, `document.querySelector('form.own') !== null`)
	for as, kind := range map[string]string{"": "text/html", "file": "text/html", "pdf": "application/pdf"} {
		got, err := chromedp.Run(o.ctx, chromedp.Evaluate[string](fmt.Sprintf(`(async () => {
			const q = new URLSearchParams(new FormData(document.querySelector('form.own')));
			if (%q) q.set('as', %q);
			const answer = await fetch('/report/view?' + q);
			return answer.status + ' ' + answer.headers.get('Content-Type') + ' ' + (await answer.arrayBuffer()).byteLength
		})()`, as, as), chromedp.EvalAwaitPromise))
		require.NoError(t, err)
		require.True(t, strings.HasPrefix(got, "200 "+kind), got)
	}
	ask[any](t, o, `([...document.querySelectorAll('form.own button')].find(b => b.textContent === 'Open').click(), null)`)
	require.Eventually(t, func() bool { // its policy lets no script run, so that it cannot be polled from within
		opened, err := chromedp.Run(o.ctx, chromedp.Evaluate[bool](`location.pathname === '/report/view' && document.querySelectorAll('.answer').length >= 3`))
		return err == nil && opened
	}, 40*time.Second, 200*time.Millisecond)
	o.quiet(t)
}

// small are the things to touch that are lower than 48 px or narrower than 44; a box to
// tick is touched with its label.
const small = `[...document.querySelectorAll('nav a, button, summary, input:not([type=hidden], [type=checkbox]), select, label.tick, .choices a, .button, .pages a, table th a')]
	.filter(e => { const b = e.getBoundingClientRect(); return b.width > 0 && (b.height < 47.5 || b.width < 43.5) }).map(e => e.outerHTML.slice(0, 80))`

// The server is gone while a tap is made, and comes back.
func TestATapMadeOfflineIsSentLater(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 390, 844, "/")
	until(t, o, `document.getElementById('s0-level').textContent !== '–'`)
	s.collector.stop()
	until(t, o, `!document.getElementById('offline').hidden`)
	require.Equal(t, "Cannot tell, so keep it on", ask[string](t, o, `document.getElementById('mask').textContent`), "an old answer is none")
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

// shopPages are all pages but the single day, whose address is today's.
var shopPages = []string{"/", "/diary", "/days", "/tasks", "/setups", "/clearance", "/plan?before=old+bag&after=new+bag&seed=7", "/calibration", "/limits", "/report", "/more", "/nothing"}

func (o *opened) go_(t *testing.T, s *shop, path string) {
	t.Helper()
	require.NoError(t, chromedp.Do(o.ctx, chromedp.Navigate("http://"+s.address+path)))
}

func (o *opened) prefer(t *testing.T, feature, value string) {
	t.Helper()
	_, err := chromedp.Call(o.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: feature, Value: value}}})
	require.NoError(t, err)
}

func TestThePageInTheDarkAndOnADesk(t *testing.T) {
	today := "/days/" + time.Now().UTC().Format(time.DateOnly)
	for name, width := range map[string]int64{"telephone": 390, "desk": 1280} {
		s := openShop(t) // one for each: a server lets an address ask only so often, and a test is faster than people
		o := s.open(t, width, 900, "/login")
		for _, scheme := range []string{"light", "dark"} {
			o.prefer(t, "prefers-color-scheme", scheme)
			for _, path := range append([]string{today}, shopPages...) {
				o.go_(t, s, path)
				require.Empty(t, ask[[]string](t, o, contrast), "%s %s %s", name, scheme, path)
				require.Empty(t, ask[[]string](t, o, nameless), "%s: everything to touch has a name", path)
				require.Empty(t, ask[[]string](t, o, disorder), "%s: headings, landmarks, tables", path)
				if name == "telephone" {
					require.Empty(t, ask[[]string](t, o, small), "%s: what is touched is 44 px wide and high", path)
				}
				require.False(t, ask[bool](t, o, `document.documentElement.scrollWidth > innerWidth`), "%s %s", name, path)
				plain, _, _ := strings.Cut(strings.Trim(path, "/"), "?")
				picture(t, o, fmt.Sprintf("%s-%s-%s", name, scheme, strings.ReplaceAll(plain, "/", "-")))
			}
			dark := ask[float64](t, o, `getComputedStyle(document.body).backgroundColor.match(/\d+/g).map(Number)[0]`) < 128
			require.Equal(t, scheme == "dark", dark)
			o.go_(t, s, "/")
			until(t, o, `document.querySelector('img.trace')?.complete`)
			require.Equal(t, scheme == "dark", ask[bool](t, o, `document.querySelector('img.trace').currentSrc.includes('theme=dark')`), "the picture too")
			o.quietBut(t, "404") // of the address that is none
		}
	}
}

// quietBut is quiet, apart from complaints that a test asked for.
func (o *opened) quietBut(t *testing.T, wanted string) {
	t.Helper()
	o.mu.Lock()
	defer o.mu.Unlock()
	for _, what := range o.complaints {
		require.Contains(t, what, wanted)
	}
}

// disorder is what a screen reader would stumble over: headings that skip a level, not
// one main part and one first heading, parts and groups without a name, cells of a head
// that head nothing, ids that are there twice, more than two live regions.
const disorder = `(() => {
	const out = [], all = q => [...document.querySelectorAll(q)];
	let level = 0;
	for (const h of all('h1, h2, h3, h4')) {
		const now = Number(h.tagName[1]);
		if (now > level + 1) out.push('skips to ' + h.outerHTML.slice(0, 60));
		level = now;
	}
	for (const q of ['h1', 'main', 'header', 'footer']) if (all(q).length !== 1) out.push(all(q).length + ' ' + q);
	for (const e of all('nav, aside, [role=group], section[aria-labelledby], .scroll'))
		if (!e.getAttribute('aria-label') && !document.getElementById(e.getAttribute('aria-labelledby'))?.textContent.trim()) out.push('nameless ' + e.outerHTML.slice(0, 60));
	for (const e of all('th')) if (!e.scope) out.push('heads nothing: ' + e.outerHTML.slice(0, 60));
	const ids = all('[id]').map(e => e.id);
	for (const id of ids) if (ids.indexOf(id) !== ids.lastIndexOf(id)) out.push('twice: ' + id);
	if (all('[aria-live], [role=status], [role=alert]').length > 2) out.push('too many live regions');
	if (document.documentElement.lang !== 'en' || !document.title) out.push('no language or title');
	return out;
})()`

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

// With a password: logging in by keyboard, and again after the program was started anew.
func TestThePageAsksForThePassword(t *testing.T) {
	t.Setenv("DUSTLOG_SERVE_PASSWORD", "correct-horse")
	s := openShop(t)
	o := s.open(t, 390, 844, "/")
	logIn := func() {
		until(t, o, `location.pathname === '/login' && document.activeElement.name === 'password'`)
		require.NoError(t, chromedp.Do(o.ctx, chromedp.KeyEvent("correct-horse\r")))
		until(t, o, `location.pathname === '/' && document.getElementById('s0-level')?.textContent !== undefined`)
	}
	logIn()
	picture(t, o, "telephone-logged-in")
	require.Empty(t, ask[string](t, o, `document.cookie`), "no script can read the session")
	s.collector.stop()
	s.collect(t)
	logIn()
	require.NotContains(t, ask[string](t, o, `location.href`), "correct")
}

// From the first key to the task in the store without a pointer.
func TestATaskIsStartedByKeyboard(t *testing.T) {
	s := openShop(t)
	o := s.open(t, 390, 844, "/")
	until(t, o, `document.getElementById('s0-level').textContent !== '–'`)
	reach := func(what string) {
		for range 60 {
			require.NoError(t, chromedp.Do(o.ctx, chromedp.KeyEvent("\t")))
			if strings.Contains(ask[string](t, o, `document.activeElement.textContent`), what) {
				require.True(t, ask[bool](t, o, `(() => { const b = document.activeElement.getBoundingClientRect(); return b.top >= 0 && b.bottom <= innerHeight })()`), "what has the focus is on the screen")
				return
			}
		}
		t.Fatalf("%q cannot be reached", what)
	}
	reach("Start a task")
	require.NoError(t, chromedp.Do(o.ctx, chromedp.KeyEvent(" ")))
	reach("ripping")
	require.NoError(t, chromedp.Do(o.ctx, chromedp.KeyEvent("\r")))
	until(t, o, `document.querySelector('.task b').textContent.includes('Ripping')`)
	require.Len(t, s.tasks(t), 2)
	o.quiet(t)
}
