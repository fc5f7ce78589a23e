package bundle

import (
	"archive/zip"
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

var made = time.Date(2026, 3, 13, 17, 0, 0, 0, time.UTC)

func sample(t *testing.T) []byte {
	t.Helper()
	var out bytes.Buffer
	w := NewWriter(&out, "a week", "dustlog test", made)
	require.NoError(t, w.Add("readings/bench.csv", "readings", func(w io.Writer) error {
		_, err := io.WriteString(w, strings.Repeat("time,pm2_5_ug_m3\n", 1000))
		return err
	}))
	require.NoError(t, w.AddJSON("diary.json", "tasks", map[string]int{"tasks": 3}))
	require.NoError(t, w.Close())
	return out.Bytes()
}

func write(t *testing.T, content []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "out.zip")
	require.NoError(t, os.WriteFile(path, content, 0o600))
	return path
}

func TestRoundTrip(t *testing.T) {
	first := sample(t)
	require.Equal(t, first, sample(t), "the same content gives the same bytes")
	b, err := Open(write(t, first))
	require.NoError(t, err)
	defer b.Close()
	require.Empty(t, b.Check())
	require.Equal(t, "a week", b.Manifest.About)
	require.Equal(t, made, b.Manifest.Created)
	var diary map[string]int
	require.NoError(t, b.ReadJSON("diary.json", &diary))
	require.Equal(t, 3, diary["tasks"])
	require.Len(t, b.Entries("readings/"), 1)
	// SHA-256 of the empty string, FIPS 180-4's hash as published in many places
	// (from memory), through the writer.
	var out bytes.Buffer
	w := NewWriter(&out, "", "", made)
	require.NoError(t, w.Add("empty", "", func(io.Writer) error { return nil }))
	require.Equal(t, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855", w.manifest.Files[0].SHA256)
}

func TestEveryChangedByteOfAFileIsSeen(t *testing.T) {
	// Repack with one file's content changed and the old manifest kept.
	repack := func(change func(name string, content []byte) []byte) string {
		z, err := zip.NewReader(bytes.NewReader(sample(t)), int64(len(sample(t))))
		require.NoError(t, err)
		var out bytes.Buffer
		w := zip.NewWriter(&out)
		for _, f := range z.File {
			r, err := f.Open()
			require.NoError(t, err)
			content, err := io.ReadAll(r)
			require.NoError(t, err)
			if content = change(f.Name, content); content == nil {
				continue
			}
			part, err := w.Create(f.Name)
			require.NoError(t, err)
			_, err = part.Write(content)
			require.NoError(t, err)
		}
		require.NoError(t, w.Close())
		return write(t, out.Bytes())
	}
	same, err := Open(repack(func(_ string, c []byte) []byte { return c }))
	require.NoError(t, err)
	require.Empty(t, same.Check())
	require.NoError(t, same.Close())

	flipped, err := Open(repack(func(name string, c []byte) []byte {
		if name == "diary.json" {
			c[5] ^= 1
		}
		return c
	}))
	require.NoError(t, err)
	defer flipped.Close()
	require.Len(t, flipped.Check(), 1)
	var v any
	require.ErrorIs(t, flipped.ReadJSON("diary.json", &v), ErrDamaged)

	for name, change := range map[string]func(string, []byte) []byte{
		"longer": func(name string, c []byte) []byte {
			if name == "diary.json" {
				c = append(c, ' ')
			}
			return c
		},
		"missing": func(name string, c []byte) []byte {
			if name == "diary.json" {
				return nil
			}
			return c
		},
		"no manifest": func(name string, c []byte) []byte {
			if name == manifestName {
				return nil
			}
			return c
		},
		"bad manifest": func(name string, c []byte) []byte {
			if name == manifestName {
				return []byte("{")
			}
			return c
		},
		"other schema": func(name string, c []byte) []byte {
			return bytes.Replace(c, []byte(`"schema": 1`), []byte(`"schema": 9`), 1)
		},
	} {
		_, err := Open(repack(change))
		require.ErrorIs(t, err, ErrDamaged, name)
	}
}

// Names that lead elsewhere are refused on both sides.
func TestNames(t *testing.T) {
	for _, name := range []string{"", "/etc/passwd", "../x", "a/../../x", "a//b", "a\\b", "C:x", "a/", ".", "..", "a\x00b", manifestName} {
		w := NewWriter(io.Discard, "", "", made)
		require.Error(t, w.Add(name, "", func(io.Writer) error { return nil }), "%q", name)
		if name == "" || name == manifestName {
			continue
		}
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		_, err := z.Create(name)
		require.NoError(t, err)
		require.NoError(t, z.Close())
		_, err = Open(write(t, out.Bytes()))
		require.ErrorIs(t, err, ErrDamaged, "%q", name)
	}
}

// A small file that says it is huge, or is, must not fill memory or disk.
func TestBombs(t *testing.T) {
	var out bytes.Buffer
	z := zip.NewWriter(&out)
	f, err := z.Create("zeros")
	require.NoError(t, err)
	_, err = io.CopyN(f, zeros{}, 50<<20)
	require.NoError(t, err)
	m, err := z.Create(manifestName)
	require.NoError(t, err)
	_, err = io.WriteString(m, `{"schema":1,"files":[{"name":"zeros","bytes":10,"sha256":""}]}`)
	require.NoError(t, err)
	require.NoError(t, z.Close())
	_, err = Open(write(t, out.Bytes()))
	require.ErrorIs(t, err, ErrDamaged)

	_, err = Open(write(t, []byte("not a zip file")))
	require.ErrorIs(t, err, ErrDamaged)
	_, err = Open(filepath.Join(t.TempDir(), "nothing.zip"))
	require.ErrorIs(t, err, os.ErrNotExist)
	require.NotErrorIs(t, err, ErrDamaged)
}

type zeros struct{}

func (zeros) Read(p []byte) (int, error) { clear(p); return len(p), nil }

func TestAFailedWriteIsTold(t *testing.T) {
	w := NewWriter(io.Discard, "", "", made)
	broken := errors.New("no more readings")
	require.ErrorIs(t, w.Add("x", "", func(io.Writer) error { return broken }), broken)
}

func FuzzOpen(f *testing.F) {
	var out bytes.Buffer
	w := NewWriter(&out, "a", "b", made)
	if err := w.AddJSON("x.json", "", 1); err != nil {
		f.Fatal(err)
	}
	if err := w.Close(); err != nil {
		f.Fatal(err)
	}
	f.Add(out.Bytes())
	f.Fuzz(func(t *testing.T, content []byte) {
		z, err := zip.NewReader(bytes.NewReader(content), int64(len(content)))
		if err != nil {
			return
		}
		b := &Bundle{files: map[string]*zip.File{}}
		if b.open(z.File) != nil {
			return
		}
		if len(b.Check()) == 0 { // then every file is what the manifest says
			for _, e := range b.Manifest.Files {
				require.NoError(t, checkName(e.Name))
			}
		}
	})
}
