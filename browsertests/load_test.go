package browsertests

import (
	"bufio"
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

const viewersAtOnce = 50

// viewer is a browser with an address of its own, as each telephone in a shop has:
// 127.0.0.2, 127.0.0.3 and so on.
func viewer(i int) *http.Client {
	from := &net.Dialer{LocalAddr: &net.TCPAddr{IP: net.IPv4(127, 0, byte(1+i/200), byte(2+i%200))}}
	return &http.Client{Transport: &http.Transport{DialContext: from.DialContext}}
}

// took is how long pages took, by path.
type took struct {
	mu  sync.Mutex
	all map[string][]time.Duration
}

func (k *took) add(path string, d time.Duration) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.all[path] = append(k.all[path], d)
}

// browse does what a viewer does: the events all the time, a page every few seconds,
// the trace and the diary in between.
func browse(ctx context.Context, i int, address string, events *atomic.Int64, k *took) error {
	client := viewer(i)
	defer client.CloseIdleConnections()
	get := func(path string) (*http.Response, error) {
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, address+path, nil)
		if err != nil {
			return nil, err
		}
		return client.Do(r)
	}
	stream, err := get("/live")
	if err != nil {
		return err
	}
	var reading sync.WaitGroup
	reading.Go(func() {
		for lines := bufio.NewScanner(stream.Body); lines.Scan(); {
			if strings.HasPrefix(lines.Text(), "data: ") {
				events.Add(1)
			}
		}
	})
	defer reading.Wait()
	defer stream.Body.Close()
	paths := []string{"/", "/trace.svg?hours=3", "/dock", "/diary", "/static/page.css", "/days", "/tasks", "/setups"}
	wait := time.NewTimer(time.Duration(i) * 40 * time.Millisecond) // they do not come all at once
	defer wait.Stop()
	for n := i; ; n++ {
		select {
		case <-ctx.Done():
			return nil
		case <-wait.C:
		}
		path := paths[n%len(paths)]
		began := time.Now()
		answer, err := get(path)
		if err == nil {
			_, err = io.Copy(io.Discard, answer.Body)
			answer.Body.Close()
		}
		if ctx.Err() != nil {
			return nil
		}
		if err != nil || answer.StatusCode != http.StatusOK {
			return fmt.Errorf("%s: %v, %w", path, answer, err)
		}
		k.add(path, time.Since(began))
		wait.Reset(2 * time.Second)
	}
}

// resident is the memory of a process, in MiB.
func resident(b *testing.B, pid int) float64 {
	b.Helper()
	text, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	require.NoError(b, err)
	_, rest, _ := strings.Cut(string(text), "VmRSS:")
	kib, err := strconv.ParseFloat(strings.Fields(rest)[0], 64)
	require.NoError(b, err)
	return kib / 1024
}

// BenchmarkFiftyViewers is a collector of four sensors whose page fifty viewers look
// at, for as long as -benchtime says (60s, or the figures mean little), all on
// this computer. It reports how long pages took and what memory the collector took
// after a third of the time and at the end, and fails if a reading was lost.
func BenchmarkFiftyViewers(b *testing.B) {
	s := openShopOf(b, "sps30", "sds011", "pms5003", "sps30")
	var events atomic.Int64
	k := &took{all: map[string][]time.Duration{}}
	ctx, stop := context.WithCancel(b.Context())
	defer stop()
	failed := make(chan error, viewersAtOnce)
	var all sync.WaitGroup
	for i := range viewersAtOnce {
		all.Go(func() {
			if err := browse(ctx, i, "http://"+s.address, &events, k); err != nil {
				failed <- err
			}
		})
	}
	began := time.Now()
	var memory []float64
	for b.Loop() {
		time.Sleep(time.Second)
		memory = append(memory, resident(b, s.collector.cmd.Process.Pid))
	}
	lasted := time.Since(began)
	stop()
	all.Wait()
	close(failed)
	for err := range failed {
		b.Error(err)
	}
	var pages []time.Duration
	for path, times := range k.all {
		slices.Sort(times)
		b.Logf("%-20s %4d pages, median %6.1f ms, 99 %% within %6.1f ms", path, len(times), ms(times[len(times)/2]), ms(times[len(times)*99/100]))
		pages = append(pages, times...)
	}
	slices.Sort(pages)
	b.ReportMetric(float64(len(pages)), "pages")
	b.ReportMetric(ms(pages[len(pages)/2]), "median-ms")
	b.ReportMetric(ms(pages[len(pages)*99/100]), "p99-ms")
	b.ReportMetric(float64(events.Load())/lasted.Seconds()/viewersAtOnce, "events/s/viewer")
	b.ReportMetric(memory[len(memory)/3], "MiB-after-a-third")
	b.ReportMetric(memory[len(memory)-1], "MiB-at-the-end")
	b.ReportMetric(0, "ns/op")
	nothingLost(b, s, began, began.Add(lasted))
}

func ms(d time.Duration) float64 { return float64(d.Microseconds()) / 1000 }

// nothingLost looks through what the store has: every sensor's readings follow each
// other without a gap, and the collector counted no frame as bad or lost.
func nothingLost(b *testing.B, s *shop, from, to time.Time) {
	b.Helper()
	s.collector.stop()
	for _, line := range s.collector.said {
		if strings.Contains(line, "bad checksums") {
			b.Log(line)
			require.Contains(b, line, "0 bad checksums, 0 other bad frames")
			require.Contains(b, line, "lost 0, silent 0 time(s)")
		}
	}
	path := filepath.Join(b.TempDir(), "all.csv")
	s.dustlog(b, "export", "--out", path)
	file, err := os.Open(path)
	require.NoError(b, err)
	defer file.Close()
	rows, err := csv.NewReader(file).ReadAll()
	require.NoError(b, err)
	timeColumn, sensorColumn := slices.Index(rows[0], "time"), slices.Index(rows[0], "sensor")
	last, count := map[string]time.Time{}, map[string]int{}
	for _, row := range rows[1:] {
		at, err := time.Parse(time.RFC3339Nano, row[timeColumn])
		require.NoError(b, err)
		if at.Before(from) || at.After(to) {
			continue
		}
		sensor := row[sensorColumn]
		if count[sensor]++; count[sensor] > 1 {
			require.Less(b, at.Sub(last[sensor]), 2500*time.Millisecond, "%s at %s", sensor, at)
		}
		last[sensor] = at
	}
	require.Len(b, count, 4)
	b.Log("readings kept, by sensor: ", count)
}
