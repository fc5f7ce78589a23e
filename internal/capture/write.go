package capture

import (
	"bufio"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// line is a chunk as written.
type line struct {
	Wall      time.Time `json:"wall"`
	ElapsedNs int64     `json:"elapsed_ns"`
	What      string    `json:"what"`
	Hex       string    `json:"hex,omitempty"`
	Kind      string    `json:"kind,omitempty"`
	Text      string    `json:"text,omitempty"`
	Silent    bool      `json:"silent,omitempty"`
	Dropped   bool      `json:"dropped,omitempty"`
	Flags     []string  `json:"flags,omitempty"`
}

// header is the first line of a file.
type header struct {
	Capture  int           `json:"capture"`
	Sensor   string        `json:"sensor"`
	Model    string        `json:"model"`
	Position dust.Position `json:"position"`
	WarmUpNs int64         `json:"warm_up_ns"`
}

const version = 1

// Writer appends to one file. It is for one goroutine.
type Writer struct {
	file *os.File
	buf  *bufio.Writer
	enc  *json.Encoder
	err  error
	sync time.Duration // elapsed time of the last flush to disk
}

// Create starts a file in dir, which is made if it is not there. A file is
// never overwritten.
func Create(dir string, s dust.Sensor, warmUp time.Duration, started time.Time) (*Writer, error) {
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("capture: %w", err)
	}
	name := fmt.Sprintf("%s-%s.jsonl", plainName(s.Name), started.UTC().Format("20060102T150405.000Z"))
	f, err := os.OpenFile(filepath.Join(dir, name), os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return nil, fmt.Errorf("capture: %w", err)
	}
	w := &Writer{file: f, buf: bufio.NewWriter(f)}
	w.enc = json.NewEncoder(w.buf)
	w.enc.SetEscapeHTML(false)
	w.err = w.enc.Encode(header{version, s.Name, s.Model, s.Position, warmUp.Nanoseconds()})
	return w, w.err
}

// plainName makes a sensor's name fit for a file name anywhere.
func plainName(name string) string {
	return strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' || r == '-' {
			return r
		}
		return '_'
	}, name)
}

// flushEvery is how often lines are handed to the system; a crash loses that much.
const flushEvery = 10 * time.Second

// Add writes one chunk. The first error stays and is returned by Close; a
// capture that fails must not stop the collector.
func (w *Writer) Add(c Chunk) {
	if w.err != nil {
		return
	}
	l := line{Wall: c.Wall.UTC(), ElapsedNs: c.Elapsed.Nanoseconds(), What: c.What, Hex: hex.EncodeToString(c.Bytes), Kind: c.Kind, Text: c.Text, Silent: c.Silent, Dropped: c.Dropped}
	for _, f := range c.Flags {
		l.Flags = append(l.Flags, f.String())
	}
	w.err = w.enc.Encode(l)
	if w.err == nil && (c.Elapsed-w.sync >= flushEvery || c.What != Bytes) {
		w.sync = c.Elapsed
		w.err = w.buf.Flush()
	}
}

// Close flushes and closes the file.
func (w *Writer) Close() error {
	return errors.Join(w.err, w.buf.Flush(), w.file.Sync(), w.file.Close())
}
