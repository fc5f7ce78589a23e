// Package influxtest runs a real InfluxDB server for tests.
package influxtest

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync/atomic"
	"testing"
)

// Missing says how to get the server program.
const Missing = "influxd is missing: run `make tools`, or set DUSTLOG_INFLUXD to its path"

// Server is a running server with a folder of its own.
type Server struct {
	Address string // host:port

	program, dir string
	cmd          *exec.Cmd
	drained      chan struct{}
	databases    atomic.Int64
}

const serverConfig = `reporting-disabled = true
bind-address = "127.0.0.1:0"
[meta]
  dir = "%[1]s/meta"
[data]
  dir = "%[1]s/data"
  wal-dir = "%[1]s/wal"
  query-log-enabled = false
[monitor]
  store-enabled = false
[http]
  bind-address = "%[2]s"
  flux-enabled = true
  log-enabled = false
`

// Start starts a server with an empty folder on a free port. It returns nil
// without an error if the program is missing on a laptop; where it must not be
// missing, CI=true, that is an error.
func Start() (*Server, error) {
	for _, name := range []string{os.Getenv("DUSTLOG_INFLUXD"), "influxd"} {
		program, err := exec.LookPath(name)
		if err != nil {
			continue
		}
		dir, err := os.MkdirTemp("", "dustlog-influxd")
		if err != nil {
			return nil, err
		}
		s := &Server{program: program, dir: dir, Address: "127.0.0.1:0"}
		if err := s.Run(); err != nil {
			return nil, errors.Join(err, os.RemoveAll(dir))
		}
		return s, nil
	}
	if os.Getenv("CI") == "true" {
		return nil, errors.New(Missing)
	}
	return nil, nil
}

// Run starts the server, after Kill again on its data and at its address, and
// waits until it listens.
func (s *Server) Run() error {
	config := filepath.Join(s.dir, "influxd.conf")
	text := fmt.Appendf(nil, serverConfig, filepath.ToSlash(s.dir), s.Address)
	if err := os.WriteFile(config, text, 0o600); err != nil {
		return err
	}
	s.cmd = exec.Command(s.program, "-config", config)
	log, err := s.cmd.StderrPipe()
	if err != nil {
		return err
	}
	if err := s.cmd.Start(); err != nil {
		return fmt.Errorf("start %s: %w", s.program, err)
	}
	port, rest, err := waitForServer(log)
	s.drained = make(chan struct{})
	go func() { _, _ = io.Copy(io.Discard, rest); close(s.drained) }()
	if err != nil {
		s.Kill()
		return err
	}
	s.Address = "127.0.0.1:" + port
	return nil
}

var listening = regexp.MustCompile(`Listening on HTTP.*addr=(?:\[::\]|127\.0\.0\.1):(\d+)`)

// waitForServer reads the log until the server says where it listens.
func waitForServer(log io.Reader) (port string, rest io.Reader, err error) {
	reader := bufio.NewReader(log)
	var seen strings.Builder
	for {
		text, err := reader.ReadString('\n')
		seen.WriteString(text)
		if found := listening.FindStringSubmatch(text); found != nil {
			return found[1], reader, nil
		}
		if err != nil {
			return "", reader, fmt.Errorf("influxd ended before it listened:\n%s", seen.String())
		}
	}
}

// Kill ends the server without a warning; its data stay.
func (s *Server) Kill() {
	_ = s.cmd.Process.Kill() // it may have ended by itself
	<-s.drained
	_ = s.cmd.Wait()
}

// Stop ends the server and removes its data.
func (s *Server) Stop() {
	s.Kill()
	_ = os.RemoveAll(s.dir)
	http.DefaultClient.CloseIdleConnections()
}

// NewDatabase makes an empty database and returns its DSN. It skips the test if
// there is no server.
func (s *Server) NewDatabase(t testing.TB) string {
	t.Helper()
	if s == nil {
		t.Skip(Missing)
	}
	name := fmt.Sprintf("test%d", s.databases.Add(1))
	if err := s.Database(name); err != nil {
		t.Fatal(err)
	}
	return "influx://" + s.Address + "/" + name
}

// Database makes an empty database of that name.
func (s *Server) Database(name string) error {
	answer, err := http.PostForm("http://"+s.Address+"/query", url.Values{"q": {"CREATE DATABASE " + name}})
	if err != nil {
		return err
	}
	defer answer.Body.Close()
	// The server says 200 before it does the work: it is done when the body ends.
	said, err := io.ReadAll(answer.Body)
	if err != nil || answer.StatusCode != http.StatusOK {
		return fmt.Errorf("make database: %s: %s", answer.Status, said)
	}
	return nil
}
