package main

import (
	"archive/tar"
	"archive/zip"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"path/filepath"
)

// archive packs the files: zip for Windows, tar.gz elsewhere.
func (r release) archive(p platform, list []packed) (err error) {
	pack, suffix := r.tar, ".tar.gz"
	if p.os == "windows" {
		pack, suffix = r.zip, ".zip"
	}
	file, err := os.Create(filepath.Join(r.out, r.fileName(p)+suffix))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	return pack(file, r.fileName(p), list)
}

func (r release) tar(to io.Writer, top string, list []packed) error {
	compressed, err := gzip.NewWriterLevel(to, gzip.BestCompression)
	if err != nil {
		return err
	}
	out := tar.NewWriter(compressed)
	for _, f := range list {
		content, err := os.ReadFile(f.from)
		if err != nil {
			return err
		}
		header := tar.Header{Typeflag: tar.TypeReg, Name: top + "/" + f.to, Size: int64(len(content)), Mode: int64(f.mode()), ModTime: r.date, Format: tar.FormatPAX}
		if err := out.WriteHeader(&header); err != nil {
			return err
		}
		if _, err := out.Write(content); err != nil {
			return err
		}
	}
	return errors.Join(out.Close(), compressed.Close())
}

func (r release) zip(to io.Writer, top string, list []packed) error {
	out := zip.NewWriter(to)
	for _, f := range list {
		content, err := os.ReadFile(f.from)
		if err != nil {
			return err
		}
		header := zip.FileHeader{Name: top + "/" + f.to, Method: zip.Deflate, Modified: r.date}
		header.SetMode(f.mode())
		w, err := out.CreateHeader(&header)
		if err != nil {
			return err
		}
		if _, err := w.Write(content); err != nil {
			return err
		}
	}
	return out.Close()
}

func (f packed) mode() os.FileMode {
	if f.executable {
		return 0o755
	}
	return 0o644
}
