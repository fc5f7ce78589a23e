package main

import (
	"os"
	"path/filepath"
	"sort"
)

// packed is one file of an archive.
type packed struct {
	from       string
	to         string // with slashes
	executable bool
}

// contents lists what goes into the archive of a platform.
func (r release) contents(p platform, program, work string) ([]packed, error) {
	list := []packed{
		{from: program, to: p.program(), executable: true},
		{from: filepath.Join(r.source, "LICENSE"), to: "LICENSE"},
		{from: filepath.Join(r.source, "README.md"), to: "README.md"},
		{from: filepath.Join(r.source, "CHANGELOG.md"), to: "CHANGELOG.md"},
	}
	folders := map[string]string{filepath.Join(r.source, "docs"): "docs", filepath.Join(work, "completions"): "completions"}
	if p.os != "windows" {
		folders[filepath.Join(work, "man")] = "man"
	}
	if p.os == "linux" {
		list = append(list,
			packed{from: filepath.Join(r.source, "packaging/files/dustlog.service"), to: "linux/dustlog.service"},
			packed{from: filepath.Join(r.source, "packaging/files/60-dustlog.rules"), to: "linux/60-dustlog.rules"},
			packed{from: filepath.Join(r.source, "packaging/files/dustlog.toml"), to: "linux/dustlog.toml"})
	}
	for folder, to := range folders {
		entries, err := os.ReadDir(folder)
		if err != nil {
			return nil, err
		}
		for _, e := range entries {
			if e.Type().IsRegular() {
				list = append(list, packed{from: filepath.Join(folder, e.Name()), to: to + "/" + e.Name()})
			}
		}
	}
	sort.Slice(list, func(i, j int) bool { return list[i].to < list[j].to })
	return list, nil
}
