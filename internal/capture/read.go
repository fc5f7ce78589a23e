package capture

import (
	"bufio"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"dustlog/internal/dust"
)

// longestLine bounds what a line may take: 64 KiB of bytes in hex, and more.
const longestLine = 256 << 10

// Recording is one sensor over one run of the collector.
type Recording struct {
	File   string
	Sensor dust.Sensor
	WarmUp time.Duration
}

// Folder lists the recordings in a folder, in the order in which they were
// started.
func Folder(dir string) ([]Recording, error) {
	files, err := filepath.Glob(filepath.Join(dir, "*.jsonl"))
	if err != nil || len(files) == 0 {
		return nil, errors.Join(err, fmt.Errorf("capture: no recording (*.jsonl) in %s", dir))
	}
	slices.SortFunc(files, func(a, b string) int { return strings.Compare(started(a), started(b)) })
	var all []Recording
	for _, file := range files {
		h, err := readHeader(file)
		if err != nil {
			return nil, err
		}
		all = append(all, Recording{
			File: file, WarmUp: time.Duration(h.WarmUpNs),
			Sensor: dust.Sensor{Name: h.Sensor, Model: h.Model, Position: h.Position},
		})
	}
	return all, nil
}

// started is the part of a file's name that orders runs.
func started(file string) string {
	name := strings.TrimSuffix(filepath.Base(file), ".jsonl")
	return name[max(0, len(name)-len("20060102T150405.000Z")):] + name
}

func readHeader(file string) (header, error) {
	var h header
	f, err := os.Open(file)
	if err != nil {
		return h, fmt.Errorf("capture: %w", err)
	}
	defer f.Close()
	text, err := bufio.NewReader(io.LimitReader(f, longestLine)).ReadBytes('\n')
	if err == nil {
		err = json.Unmarshal(text, &h)
	}
	switch {
	case err != nil:
		return h, fmt.Errorf("capture: %s line 1 is not the head of a recording: %w", file, err)
	case h.Capture != version:
		return h, fmt.Errorf("capture: %s was written as version %d, this program reads version %d", file, h.Capture, version)
	case h.Sensor == "":
		return h, fmt.Errorf("capture: %s line 1 names no sensor", file)
	}
	return h, nil
}

// Chunks yields what happened, until the first error. A last line that was torn
// by a crash is left out.
func (r Recording) Chunks() iter.Seq2[Chunk, error] {
	return func(yield func(Chunk, error) bool) {
		f, err := os.Open(r.File)
		if err != nil {
			yield(Chunk{}, fmt.Errorf("capture: %w", err))
			return
		}
		defer f.Close()
		lines := bufio.NewReaderSize(f, longestLine)
		for n := 1; ; n++ {
			text, err := lines.ReadSlice('\n')
			if errors.Is(err, io.EOF) {
				return // nothing, or a torn line, follows the last line end
			}
			if n == 1 && err == nil {
				continue // the head
			}
			var c Chunk
			if err == nil {
				c, err = parse(text)
			}
			if err != nil {
				err = fmt.Errorf("capture: %s line %d: %w", r.File, n, err)
			}
			if !yield(c, err) || err != nil {
				return
			}
		}
	}
}

func parse(text []byte) (Chunk, error) {
	var l line
	if err := json.Unmarshal(text, &l); err != nil {
		return Chunk{}, err
	}
	switch l.What {
	case Open, Bytes, Pause, Lost, Event:
	default:
		return Chunk{}, fmt.Errorf("%q is not something that happens on a line", l.What)
	}
	raw, err := hex.DecodeString(l.Hex)
	if err != nil {
		return Chunk{}, fmt.Errorf("bytes are not hex: %w", err)
	}
	var flags []dust.Flags
	for _, text := range l.Flags {
		f, err := dust.ParseFlags(text)
		if err != nil {
			return Chunk{}, err
		}
		flags = append(flags, f)
	}
	return Chunk{Flags: flags, Wall: l.Wall, Elapsed: time.Duration(l.ElapsedNs), What: l.What, Bytes: raw, Kind: l.Kind, Text: l.Text, Silent: l.Silent, Dropped: l.Dropped}, nil
}
