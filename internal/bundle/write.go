package bundle

import (
	"archive/zip"
	"compress/flate"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"time"
)

// Schema is the version of the manifest.
const Schema = 1

const manifestName = "manifest.json"

// Manifest lists what a bundle holds.
type Manifest struct {
	Schema  int       `json:"schema"`
	About   string    `json:"about"`
	MadeBy  string    `json:"made_by"` // program and version
	Created time.Time `json:"created"`
	Files   []Entry   `json:"files"`
}

// Entry is one file.
type Entry struct {
	Name   string `json:"name"`
	Bytes  int64  `json:"bytes"`
	SHA256 string `json:"sha256"` // hexadecimal
	About  string `json:"about"`
}

// Writer writes a bundle. Close ends it; a bundle that was not closed has no
// manifest and is refused by Open.
type Writer struct {
	zip      *zip.Writer
	manifest Manifest
}

// NewWriter starts a bundle. The same content and times give the same bytes.
func NewWriter(w io.Writer, about, madeBy string, created time.Time) *Writer {
	z := zip.NewWriter(w)
	// Readings are most of a bundle. At the usual level packing them takes longer than
	// all that is computed from them; the fastest gives files some tenths larger.
	z.RegisterCompressor(zip.Deflate, func(out io.Writer) (io.WriteCloser, error) { return flate.NewWriter(out, flate.BestSpeed) })
	return &Writer{zip: z, manifest: Manifest{Schema: Schema, About: about, MadeBy: madeBy, Created: created.UTC(), Files: []Entry{}}}
}

// Add writes a file. The name is a relative path with forward slashes.
func (w *Writer) Add(name, about string, write func(io.Writer) error) error {
	if err := checkName(name); err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	f, err := w.create(name)
	if err != nil {
		return err
	}
	sum := sha256.New()
	count := &counter{}
	if err := write(io.MultiWriter(f, sum, count)); err != nil {
		return fmt.Errorf("bundle: write %s: %w", name, err)
	}
	w.manifest.Files = append(w.manifest.Files, Entry{Name: name, Bytes: count.n, SHA256: hex.EncodeToString(sum.Sum(nil)), About: about})
	return nil
}

// AddJSON writes a value as an indented JSON file.
func (w *Writer) AddJSON(name, about string, v any) error {
	return w.Add(name, about, func(out io.Writer) error { return encode(out, v) })
}

func encode(out io.Writer, v any) error {
	enc := json.NewEncoder(out)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// Fingerprint is the SHA-256, in hexadecimal, of the file that AddJSON makes of v.
func Fingerprint(v any) (string, error) {
	sum := sha256.New()
	if err := encode(sum, v); err != nil {
		return "", fmt.Errorf("bundle: fingerprint: %w", err)
	}
	return hex.EncodeToString(sum.Sum(nil)), nil
}

// Close writes the manifest and ends the zip file, not the writer beneath it.
func (w *Writer) Close() error {
	f, err := w.create(manifestName)
	if err != nil {
		return err
	}
	if err := encode(f, w.manifest); err != nil {
		return fmt.Errorf("bundle: write the manifest: %w", err)
	}
	if err := w.zip.Close(); err != nil {
		return fmt.Errorf("bundle: %w", err)
	}
	return nil
}

func (w *Writer) create(name string) (io.Writer, error) {
	f, err := w.zip.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: w.manifest.Created})
	if err != nil {
		return nil, fmt.Errorf("bundle: %w", err)
	}
	return f, nil
}

type counter struct{ n int64 }

func (c *counter) Write(p []byte) (int, error) { c.n += int64(len(p)); return len(p), nil }
