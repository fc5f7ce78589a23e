package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
)

// platform is one combination of system and processor.
type platform struct {
	os, arch, arm string
	deb           string // Debian's name of the processor, "" where no package is made
}

var platforms = []platform{
	{os: "linux", arch: "amd64", deb: "amd64"},
	{os: "linux", arch: "arm64", deb: "arm64"},
	{os: "linux", arch: "arm", arm: "7", deb: "armhf"},
	{os: "linux", arch: "arm", arm: "6"}, // Debian's armhf needs ARMv7; the archive runs on ARMv6 boards
	{os: "windows", arch: "amd64"},
	{os: "darwin", arch: "arm64"},
	{os: "darwin", arch: "amd64"},
}

// String is as in "linux/arm/6".
func (p platform) String() string {
	if p.arm != "" {
		return p.os + "/" + p.arch + "/" + p.arm
	}
	return p.os + "/" + p.arch
}

func (p platform) program() string {
	if p.os == "windows" {
		return "dustlog.exe"
	}
	return "dustlog"
}

// fileName is as in "dustlog_1.2.0_linux_armv6".
func (r release) fileName(p platform) string {
	arch := p.arch
	if p.arm != "" {
		arch += "v" + p.arm
	}
	return strings.Join([]string{"dustlog", r.version, p.os, arch}, "_")
}

// manual writes manual pages and completions into the folder work.
func (r release) manual(ctx context.Context, work string) error {
	cmd := exec.CommandContext(ctx, "go", "run", "./internal/cli/manual", work)
	cmd.Dir, cmd.Stderr = r.source, os.Stderr
	cmd.Env = append(os.Environ(), "SOURCE_DATE_EPOCH="+strconv.FormatInt(r.date.Unix(), 10))
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("manual pages: %w", err)
	}
	return nil
}

// platform builds the program and packs it in every way the platform has.
func (r release) platform(ctx context.Context, p platform, work string) error {
	folder := filepath.Join(work, strings.ReplaceAll(p.String(), "/", "_"))
	if err := os.Mkdir(folder, 0o755); err != nil {
		return err
	}
	program := filepath.Join(folder, p.program())
	if err := r.build(ctx, p, program); err != nil {
		return err
	}
	if err := r.bill(p, program); err != nil {
		return err
	}
	list, err := r.contents(p, program, work)
	if err != nil {
		return err
	}
	if err := r.archive(p, list); err != nil {
		return err
	}
	if p.deb == "" {
		return nil
	}
	return r.debian(p, program, work)
}

func (r release) build(ctx context.Context, p platform, to string) error {
	cmd := exec.CommandContext(ctx, "go", "build", "-trimpath", "-buildvcs=false",
		"-ldflags", "-s -w -buildid= -X dustlog/internal/cli.Version="+r.version, "-o", to, "./cmd/dustlog")
	cmd.Dir, cmd.Stderr = r.source, os.Stderr
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0", "GOOS="+p.os, "GOARCH="+p.arch, "GOARM="+p.arm, "GOFLAGS=-mod=readonly", "GOAMD64=v1")
	if err := cmd.Run(); err != nil {
		return fmt.Errorf("building: %w", err)
	}
	return nil
}
