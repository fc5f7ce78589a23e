package bundle

import (
	"archive/zip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"strings"
)

// Bounds of a bundle from elsewhere. A year of four sensors in CSV is about 12 GB.
const (
	mostFiles    = 10_000
	mostBytes    = int64(64) << 30 // unpacked, all files
	mostManifest = int64(8) << 20
)

// ErrDamaged says that a bundle is not what its manifest says, or no bundle.
var ErrDamaged = errors.New("evidence bundle is damaged or was changed")

// Bundle is an open bundle.
type Bundle struct {
	Manifest Manifest
	files    map[string]*zip.File
	close    func() error
}

// Open reads the manifest of a bundle and checks that the files it names, and no
// others, are there. It does not read them yet; see Check.
func Open(file string) (*Bundle, error) {
	z, err := zip.OpenReader(file)
	if errors.Is(err, fs.ErrNotExist) || errors.Is(err, fs.ErrPermission) {
		return nil, fmt.Errorf("open evidence bundle: %w", err)
	}
	if err != nil {
		return nil, fmt.Errorf("open %s: %w: %w", file, ErrDamaged, err)
	}
	b := &Bundle{files: map[string]*zip.File{}, close: z.Close}
	if err := b.open(z.File); err != nil {
		_ = z.Close()
		return nil, fmt.Errorf("open %s: %w: %w", file, ErrDamaged, err)
	}
	return b, nil
}

func (b *Bundle) open(files []*zip.File) error {
	if len(files) > mostFiles {
		return fmt.Errorf("%d files, more than %d", len(files), mostFiles)
	}
	for _, f := range files {
		if err := checkName(f.Name); err != nil && f.Name != manifestName {
			return err
		}
		if b.files[f.Name] != nil {
			return fmt.Errorf("%s is there twice", f.Name)
		}
		b.files[f.Name] = f
	}
	if err := b.readManifest(); err != nil {
		return err
	}
	var total int64
	listed := map[string]bool{}
	for _, e := range b.Manifest.Files {
		f := b.files[e.Name]
		switch {
		case f == nil || e.Name == manifestName:
			return fmt.Errorf("%s is in the manifest and not in the bundle", e.Name)
		case listed[e.Name]:
			return fmt.Errorf("%s is in the manifest twice", e.Name)
		case e.Bytes < 0 || f.UncompressedSize64 != uint64(e.Bytes):
			return fmt.Errorf("%s has %d bytes, the manifest says %d", e.Name, f.UncompressedSize64, e.Bytes)
		}
		listed[e.Name] = true
		if total += e.Bytes; total > mostBytes || total < 0 {
			return fmt.Errorf("it unpacks to more than %d GB", mostBytes>>30)
		}
	}
	if len(listed) != len(b.files)-1 {
		return fmt.Errorf("%d files, the manifest names %d", len(b.files)-1, len(listed))
	}
	return nil
}

func (b *Bundle) readManifest() error {
	f := b.files[manifestName]
	if f == nil {
		return fmt.Errorf("it has no %s", manifestName)
	}
	r, err := f.Open()
	if err != nil {
		return err
	}
	defer r.Close()
	text, err := io.ReadAll(io.LimitReader(r, mostManifest+1))
	if err != nil {
		return err
	}
	if int64(len(text)) > mostManifest {
		return fmt.Errorf("its manifest is larger than %d MB", mostManifest>>20)
	}
	if err := json.Unmarshal(text, &b.Manifest); err != nil {
		return fmt.Errorf("its manifest cannot be read: %w", err)
	}
	if b.Manifest.Schema != Schema {
		return fmt.Errorf("its manifest has schema %d, this program reads %d", b.Manifest.Schema, Schema)
	}
	return nil
}

// Close closes the file.
func (b *Bundle) Close() error { return b.close() }

// Entries are the files whose names begin with a prefix, in the manifest's order.
func (b *Bundle) Entries(prefix string) (entries []Entry) {
	for _, e := range b.Manifest.Files {
		if strings.HasPrefix(e.Name, prefix) {
			entries = append(entries, e)
		}
	}
	return entries
}

// Read calls take with a file's content. The error wraps ErrDamaged if the
// content is not what the manifest says, which is known only at its end: what
// take did with it must not count before Read has returned.
func (b *Bundle) Read(name string, take func(io.Reader) error) error {
	entries := b.Entries(name)
	if len(entries) == 0 || entries[0].Name != name {
		return fmt.Errorf("%s is not in the bundle", name)
	}
	e := entries[0]
	r, err := b.files[name].Open()
	if err != nil {
		return fmt.Errorf("%s: %w: %w", name, ErrDamaged, err)
	}
	defer r.Close()
	sum, count := sha256.New(), &counter{}
	tee := io.TeeReader(io.LimitReader(r, e.Bytes+1), io.MultiWriter(sum, count))
	takeErr := take(tee)
	if _, err := io.Copy(io.Discard, tee); err != nil { // what take left
		return fmt.Errorf("%s: %w: %w", name, ErrDamaged, err)
	}
	if count.n != e.Bytes || hex.EncodeToString(sum.Sum(nil)) != e.SHA256 {
		return fmt.Errorf("%s: %w: its content is not what the manifest says", name, ErrDamaged)
	}
	return takeErr
}

// ReadJSON reads a file of at most 512 MB into v.
func (b *Bundle) ReadJSON(name string, v any) error {
	return b.Read(name, func(r io.Reader) error {
		if err := json.NewDecoder(io.LimitReader(r, 512<<20)).Decode(v); err != nil {
			return fmt.Errorf("%s: %w: %w", name, ErrDamaged, err)
		}
		return nil
	})
}

// Check reads every file and compares it with the manifest. It goes on after a
// bad one and returns all that are bad.
func (b *Bundle) Check() (bad []string) {
	for _, e := range b.Manifest.Files {
		if err := b.Read(e.Name, func(io.Reader) error { return nil }); err != nil {
			bad = append(bad, err.Error())
		}
	}
	return bad
}

// checkName accepts plain relative paths with forward slashes.
func checkName(name string) error {
	if name == "" || name == manifestName || strings.ContainsAny(name, "\\:\x00") || path.IsAbs(name) ||
		path.Clean(name) != name || name == "." || name == ".." || strings.HasPrefix(name, "../") || strings.HasSuffix(name, "/") {
		return fmt.Errorf("%q is no name for a file in a bundle", name)
	}
	return nil
}
