package browsertests

import (
	"context"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

var (
	program      string // dustlog, built for these tests
	fakesProgram string // sensors behind pseudo-terminals
	report       string // the demo's report, made once by the program
)

func TestMain(m *testing.M) { os.Exit(run(m)) }

func run(m *testing.M) int {
	dir, err := os.MkdirTemp("", "dustlog-browser-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	program, fakesProgram = filepath.Join(dir, "dustlog"), filepath.Join(dir, "fakes")
	for to, from := range map[string]string{program: "./cmd/dustlog", fakesProgram: "./internal/sensor/sensortest/fakes"} {
		build := exec.Command("go", "build", "-o", to, from)
		build.Dir = ".."
		build.Env = append(os.Environ(), "CGO_ENABLED=0")
		if out, err := build.CombinedOutput(); err != nil {
			panic(string(out))
		}
	}
	demo := exec.Command(program, "demo", "--quiet", "--out", filepath.Join(dir, "demo"))
	if out, err := demo.CombinedOutput(); err != nil {
		panic(string(out))
	}
	report = filepath.Join(dir, "demo", "report.html")
	return m.Run()
}

// opened is a page in a browser.
type opened struct {
	ctx        context.Context
	own        string // what its requests may begin with
	mu         sync.Mutex
	complaints []string
}

// open shows the report.
func open(t *testing.T, width, height int64) *opened {
	t.Helper()
	address := url.URL{Scheme: "file", Path: report}
	return openAt(t, width, height, address.String())
}

// openAt starts Chromium with a page; without it the test is skipped on a laptop
// and fails in continuous integration.
func openAt(t *testing.T, width, height int64, address string) *opened {
	t.Helper()
	path, err := exec.LookPath("chromium")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("chromium is missing: run `make tools`")
		}
		t.Skip("chromium is missing: run `make tools`")
	}
	allocator, stop := chromedp.NewExecAllocator(t.Context(), append(chromedp.DefaultExecAllocatorOptions[:],
		chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true))...)
	t.Cleanup(stop)
	ctx, cancel := chromedp.NewContext(allocator)
	t.Cleanup(cancel)
	o := &opened{ctx: ctx, own: "file:"}
	if u, err := url.Parse(address); err == nil && u.Host != "" {
		o.own = u.Scheme + "://" + u.Host + "/"
	}
	require.NoError(t, chromedp.Listen(ctx, o.listen))
	_, err = chromedp.Call(ctx, network.Enable, network.EnableParams{})
	require.NoError(t, err)
	_, err = chromedp.Call(ctx, log.Enable, cdp.Empty{})
	require.NoError(t, err)
	require.NoError(t, chromedp.Do(ctx, chromedp.EmulateViewport(width, height), chromedp.Navigate(address)))
	return o
}

// listen notes everything that a page which needs nothing would not do.
func (o *opened) listen(event any) {
	o.mu.Lock()
	defer o.mu.Unlock()
	note := func(what string) { o.complaints = append(o.complaints, what) }
	switch e := event.(type) {
	case *runtime.EventConsoleAPICalled:
		note("console: " + string(e.Type))
	case *runtime.EventExceptionThrown:
		note("exception: " + e.ExceptionDetails.Text)
	case *log.EventEntryAdded:
		note("log: " + e.Entry.Text)
	case *network.EventRequestWillBeSent:
		if !strings.HasPrefix(e.Request.URL, o.own) && !strings.HasPrefix(e.Request.URL, "data:") {
			note("request: " + e.Request.URL)
		}
	}
}

// ask evaluates a script in the page.
func ask[T any](t *testing.T, o *opened, script string) T {
	t.Helper()
	answer, err := chromedp.Run(o.ctx, chromedp.Evaluate[T](script))
	require.NoError(t, err)
	return answer
}

func TestReportNeedsNothingElseAndComplainsOfNothing(t *testing.T) {
	o := open(t, 1280, 900)
	require.NotEmpty(t, ask[string](t, o, `document.title`))
	o.mu.Lock()
	defer o.mu.Unlock()
	require.Empty(t, o.complaints)
}

func TestTheFirstScreenHoldsTheThreeAnswers(t *testing.T) {
	for name, size := range map[string][2]int64{"desk": {1280, 900}, "telephone": {390, 844}} {
		t.Run(name, func(t *testing.T) {
			o := open(t, size[0], size[1])
			require.Equal(t, 3, ask[int](t, o, `document.querySelectorAll('.answer .short').length`))
			if name == "desk" {
				require.Zero(t, ask[int](t, o, `[...document.querySelectorAll('.answer')].filter(e => e.getBoundingClientRect().bottom > innerHeight).length`),
					"every answer is seen without scrolling")
			}
			require.False(t, ask[bool](t, o, `document.documentElement.scrollWidth > innerWidth`), "the page does not scroll sideways")
		})
	}
}

func TestPicturesAreSeenAndDescribed(t *testing.T) {
	for _, width := range []int64{390, 1280} {
		picturesAreSeen(t, open(t, width, 900))
	}
}

func picturesAreSeen(t *testing.T, o *opened) {
	t.Helper()
	const seen = `[...document.querySelectorAll('.picture svg')].filter(e => e.getBoundingClientRect().width > 0)`
	require.GreaterOrEqual(t, ask[int](t, o, seen+`.length`), 5)
	require.Zero(t, ask[int](t, o, `[...document.querySelectorAll('.picture')].filter(e => !(e.getAttribute('aria-label') || '').trim()).length`),
		"every picture has an alternative text")
	require.Zero(t, ask[int](t, o, seen+`.filter(e => e.getBoundingClientRect().height < 100).length`))
	// Text that sticks out of its picture is cut off.
	require.Empty(t, ask[[]string](t, o, seen+`.flatMap(svg => { const box = svg.getBoundingClientRect();
		return [...svg.querySelectorAll('text')].filter(t => { const b = t.getBoundingClientRect();
			return b.width > 0 && (b.left < box.left - 1 || b.right > box.right + 1 || b.top < box.top - 1 || b.bottom > box.bottom + 1) }).map(t => t.textContent) })`))
}

// TestTextHasContrast checks WCAG 2.2 success criterion 1.4.3: at least 4.5.
func TestTextHasContrast(t *testing.T) {
	require.Empty(t, ask[[]string](t, open(t, 1280, 900), contrast))
}

const contrast = `(() => {
  const channel = v => { v /= 255; return v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4 };
  const light = c => 0.2126 * channel(c[0]) + 0.7152 * channel(c[1]) + 0.0722 * channel(c[2]);
  const parse = s => (s.match(/[\d.]+/g) || []).map(Number);
  const ground = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c.length && !(c.length === 4 && c[3] === 0)) return c } return [255, 255, 255] };
  const out = new Set();
  for (const e of document.querySelectorAll('body *:not(svg):not(svg *)')) {
    if (![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const [a, b] = [light(parse(getComputedStyle(e).color)), light(ground(e))];
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) out.add(e.tagName + '.' + e.className + ' ' + ratio.toFixed(2));
  }
  return [...out];
})()`

func TestNothingClaimsThatAirIsHarmless(t *testing.T) {
	text := ask[string](t, open(t, 1280, 900), `document.body.innerText`)
	for _, claim := range []string{"is safe", "safe level", "compliant", "compliance", "no risk", "harmless"} {
		require.NotContains(t, strings.ToLower(text), claim)
	}
	require.Contains(t, text, "Invented data")
	require.Contains(t, text, "cannot tell")
}

func TestReportPrints(t *testing.T) {
	o := open(t, 1280, 900)
	pdf, err := chromedp.Run(o.ctx, chromedp.PrintToPDF())
	require.NoError(t, err)
	path := filepath.Join(t.TempDir(), "report.pdf")
	require.NoError(t, os.WriteFile(path, pdf, 0o644))
	text, err := exec.Command("pdftotext", path, "-").Output()
	require.NoError(t, err, "pdftotext comes with poppler-utils: run `make tools`")
	require.Contains(t, string(text), "Is a respirator still needed?")
	require.Contains(t, string(text), "What the sensors cannot show")
}
