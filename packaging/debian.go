package main

import (
	"compress/gzip"
	"errors"
	"os"
	"path/filepath"
	"strings"

	"github.com/goreleaser/nfpm/v2"
	"github.com/goreleaser/nfpm/v2/deb"
	"github.com/goreleaser/nfpm/v2/files"
)

const about = `Evidence of the fine dust in a woodshop
 dustlog reads low-cost particle sensors over serial lines, keeps every reading,
 computes time-weighted averages against published occupational exposure limits,
 says when a respirator is still needed, and shows whether a change of the dust
 collection really reduced fine dust. It comes as a service that is not started
 before its sensors are named in /etc/dustlog/dustlog.toml.`

// debian makes a Debian package.
func (r release) debian(p platform, program, work string) (err error) {
	own := filepath.Join(r.source, "packaging", "files")
	file := func(from, to string, mode os.FileMode) *files.Content {
		return &files.Content{Source: from, Destination: to, FileInfo: &files.ContentFileInfo{Owner: "root", Group: "root", Mode: mode, MTime: r.date}}
	}
	settings := file(filepath.Join(own, "dustlog.toml"), "/etc/dustlog/dustlog.toml", 0o640)
	settings.Type = files.TypeConfigNoReplace
	contents := files.Contents{
		file(program, "/usr/bin/dustlog", 0o755),
		settings,
		file(filepath.Join(own, "dustlog.service"), "/lib/systemd/system/dustlog.service", 0o644),
		file(filepath.Join(own, "60-dustlog.rules"), "/lib/udev/rules.d/60-dustlog.rules", 0o644),
		file(filepath.Join(r.source, "LICENSE"), "/usr/share/doc/dustlog/copyright", 0o644),
		file(filepath.Join(r.source, "README.md"), "/usr/share/doc/dustlog/README.md", 0o644),
		file(filepath.Join(work, "completions", "dustlog.bash"), "/usr/share/bash-completion/completions/dustlog", 0o644),
		file(filepath.Join(work, "completions", "_dustlog"), "/usr/share/zsh/vendor-completions/_dustlog", 0o644),
		file(filepath.Join(work, "completions", "dustlog.fish"), "/usr/share/fish/vendor_completions.d/dustlog.fish", 0o644),
	}
	pages, err := filepath.Glob(filepath.Join(r.source, "docs", "*.md"))
	if err != nil {
		return err
	}
	for _, page := range pages {
		contents = append(contents, file(page, "/usr/share/doc/dustlog/docs/"+filepath.Base(page), 0o644))
	}
	manual, err := compressed(filepath.Join(work, "man"))
	if err != nil {
		return err
	}
	for _, page := range manual {
		contents = append(contents, file(page, "/usr/share/man/man1/"+filepath.Base(page), 0o644))
	}
	info := nfpm.WithDefaults(&nfpm.Info{
		Name: "dustlog", Arch: p.deb, Platform: "linux", Version: r.version, VersionSchema: "semver", Section: "science", Priority: "optional",
		Maintainer: "the developers of dustlog <dustlog@localhost>", Description: about, License: "MIT", MTime: r.date, DisableGlobbing: true,
		Overridables: nfpm.Overridables{
			Contents: contents, Depends: []string{"passwd"}, Recommends: []string{"udev"},
			Scripts: nfpm.Scripts{PostInstall: filepath.Join(own, "postinstall.sh"), PreRemove: filepath.Join(own, "preremove.sh")},
		},
	})
	if err := nfpm.PrepareForPackager(info, "deb"); err != nil {
		return err
	}
	if err := info.Validate(); err != nil {
		return err
	}
	packager := &deb.Deb{}
	out, err := os.Create(filepath.Join(r.out, packager.ConventionalFileName(info)))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, out.Close()) }()
	return packager.Package(info, out)
}

// compressed writes each manual page as gzip, without name or date in it, to a
// folder of its own.
func compressed(folder string) (list []string, err error) {
	entries, err := os.ReadDir(folder)
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(folder+".gz", 0o755); err != nil {
		return nil, err
	}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), ".1") {
			continue
		}
		content, err := os.ReadFile(filepath.Join(folder, e.Name()))
		if err != nil {
			return nil, err
		}
		path := filepath.Join(folder+".gz", e.Name()+".gz")
		list = append(list, path)
		if err := gzipTo(path, content); err != nil {
			return nil, err
		}
	}
	return list, nil
}

func gzipTo(path string, content []byte) (err error) {
	file, err := os.Create(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, file.Close()) }()
	out, err := gzip.NewWriterLevel(file, gzip.BestCompression)
	if err != nil {
		return err
	}
	if _, err := out.Write(content); err != nil {
		return err
	}
	return out.Close()
}
