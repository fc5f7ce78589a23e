// Command packaging makes a release: for each platform one static program in an
// archive, Debian packages, a bill of materials and checksums.
//
//	go run . -version 1.2.0 -out ../dist [-only linux/arm64,windows/amd64]
//
// The same source and Go give the same bytes: paths are trimmed, and every date is
// that of the newest commit, or SOURCE_DATE_EPOCH (reproducible-builds.org).
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	defer stop()
	if err := run(ctx); err != nil {
		fmt.Fprintln(os.Stderr, "packaging:", err)
		os.Exit(1)
	}
}

// release is what the steps need to know.
type release struct {
	version string
	date    time.Time // of everything in it
	source  string    // folder of the main module
	out     string
}

func run(ctx context.Context) error {
	version := flag.String("version", "", "version of the release, as in 1.2.0")
	out := flag.String("out", "dist", "folder to write to; it must not exist")
	source := flag.String("source", "..", "folder of the main module")
	only := flag.String("only", "", "platforms to build, separated by commas (default: all)")
	flag.Parse()
	return makeRelease(ctx, *version, *out, *source, *only)
}

func makeRelease(ctx context.Context, version, out, source, only string) error {
	if !regexp.MustCompile(`^\d+\.\d+\.\d+(-[0-9A-Za-z.]+)?$`).MatchString(version) {
		return fmt.Errorf("-version %q: want three numbers, as in 1.2.0 or 1.2.0-rc.1", version)
	}
	chosen, err := choose(only)
	if err != nil {
		return err
	}
	r := release{version: version, source: source}
	if r.date, err = sourceDate(ctx, source); err != nil {
		return err
	}
	if r.out, err = filepath.Abs(out); err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(r.out), 0o755); err != nil {
		return err
	}
	if err := os.Mkdir(r.out, 0o755); err != nil {
		return fmt.Errorf("%w; give a folder that does not exist yet with -out", err)
	}
	work, err := os.MkdirTemp("", "dustlog-release-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(work)
	if err := r.manual(ctx, work); err != nil {
		return err
	}
	for i, p := range chosen {
		fmt.Fprintf(os.Stderr, "%d of %d: %s\n", i+1, len(chosen), p)
		if err := r.platform(ctx, p, work); err != nil {
			return fmt.Errorf("%s: %w", p, err)
		}
	}
	return r.sums()
}

func choose(only string) ([]platform, error) {
	if only == "" {
		return platforms, nil
	}
	var chosen []platform
	for name := range strings.SplitSeq(only, ",") {
		i := slices.IndexFunc(platforms, func(p platform) bool { return p.String() == name })
		if i < 0 {
			return nil, fmt.Errorf("-only %q: there are %v", name, platforms)
		}
		chosen = append(chosen, platforms[i])
	}
	return chosen, nil
}

// sourceDate is SOURCE_DATE_EPOCH, else the date of the newest commit.
func sourceDate(ctx context.Context, folder string) (time.Time, error) {
	text := os.Getenv("SOURCE_DATE_EPOCH")
	if text == "" {
		out, err := exec.CommandContext(ctx, "git", "-C", folder, "log", "-1", "--format=%ct").Output()
		if err != nil {
			return time.Time{}, errors.New("no commit to take the date from: set SOURCE_DATE_EPOCH")
		}
		text = strings.TrimSpace(string(out))
	}
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return time.Time{}, fmt.Errorf("date %q: want whole seconds since 1970", text)
	}
	return time.Unix(seconds, 0).UTC(), nil
}
