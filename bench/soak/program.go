package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/prometheus/common/expfmt"
	"github.com/prometheus/common/model"
)

// build makes the program as it is released.
func build(ctx context.Context, dir string) (string, error) {
	path := filepath.Join(dir, "dustlog")
	cmd := exec.CommandContext(ctx, "go", "build", "-trimpath", "-ldflags", "-s -w", "-o", path, "dustlog/cmd/dustlog")
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0")
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", fmt.Errorf("build the program: %w\n%s", err, out)
	}
	return path, nil
}

// collector is the program at work.
type collector struct {
	path, config  string
	page, metrics string // host:port
	log           io.Writer

	mu    sync.Mutex
	cmd   *exec.Cmd
	ended chan struct{}
	end   error // once it has ended
}

// freePort is one that nobody listens at just now.
func freePort() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	defer l.Close()
	return l.Addr().String(), nil
}

func (c *collector) start() error {
	cmd := exec.Command(c.path, "collect", "--quiet", "--config", c.config, "--serve", c.page, "--metrics", c.metrics)
	cmd.Stderr = c.log
	if err := cmd.Start(); err != nil {
		return err
	}
	ended := make(chan struct{})
	c.mu.Lock()
	c.cmd, c.ended = cmd, ended
	c.mu.Unlock()
	go func() {
		defer close(ended)
		c.end = cmd.Wait()
	}()
	return c.await(15 * time.Second)
}

// await waits until the program says that it lives.
func (c *collector) await(most time.Duration) error {
	for end := time.Now().Add(most); time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		if code, _ := c.get("/health/live"); code == http.StatusOK {
			return nil
		}
	}
	return fmt.Errorf("the collector says no sign of life within %v", most)
}

// kill ends it as the kernel does.
func (c *collector) kill() {
	_ = c.cmd.Process.Kill()
	<-c.ended
}

// stop ends it as Ctrl-C does.
func (c *collector) stop() error {
	if err := c.cmd.Process.Signal(os.Interrupt); err != nil {
		return err
	}
	select {
	case <-c.ended:
		return c.end
	case <-time.After(30 * time.Second):
		c.kill()
		return fmt.Errorf("the collector did not end within 30 s")
	}
}

func (c *collector) get(path string) (code int, body []byte) {
	client := http.Client{Timeout: 5 * time.Second}
	answer, err := client.Get("http://" + c.metrics + path)
	if err != nil {
		return 0, nil
	}
	defer answer.Body.Close()
	body, _ = io.ReadAll(answer.Body)
	return answer.StatusCode, body
}

// vitals is what the program says of itself.
type vitals struct {
	at                          time.Time
	residentMiB, goroutines, fd float64
}

func (c *collector) vitals() (vitals, error) {
	_, body := c.get("/metrics")
	parser := expfmt.NewTextParser(model.UTF8Validation)
	all, err := parser.TextToMetricFamilies(bytes.NewReader(body))
	if err != nil {
		return vitals{}, err
	}
	gauge := func(name string) (float64, error) {
		f := all[name]
		if f == nil || len(f.GetMetric()) == 0 {
			return 0, fmt.Errorf("the metrics lack %s", name)
		}
		return f.GetMetric()[0].GetGauge().GetValue(), nil
	}
	v := vitals{at: time.Now()}
	var err1, err2, err3 error
	v.residentMiB, err1 = gauge("process_resident_memory_bytes")
	v.goroutines, err2 = gauge("go_goroutines")
	v.fd, err3 = gauge("process_open_fds")
	v.residentMiB /= 1 << 20
	for _, err := range []error{err1, err2, err3} {
		if err != nil {
			return v, err
		}
	}
	return v, nil
}

// run runs another command of the program.
func (c *collector) run(args ...string) (string, error) {
	var out, errs strings.Builder
	cmd := exec.Command(c.path, append([]string{"--config", c.config}, args...)...)
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		return out.String(), fmt.Errorf("dustlog %s: %w: %s", strings.Join(args, " "), err, errs.String())
	}
	return out.String(), nil
}
