// Command manual writes the manual pages and the shell completions of dustlog:
//
//	go run ./internal/cli/manual FOLDER
//
// FOLDER/man holds section 1, FOLDER/completions a file for each shell. The same
// source gives the same bytes; SOURCE_DATE_EPOCH dates the pages
// (reproducible-builds.org), else they bear no day of today.
package main

import (
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"

	"dustlog/internal/cli"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "manual: give the folder to write to")
		os.Exit(2)
	}
	if err := write(os.Args[1]); err != nil {
		fmt.Fprintln(os.Stderr, "manual:", err)
		os.Exit(1)
	}
}

func write(folder string) error {
	date, err := sourceDate(os.Getenv("SOURCE_DATE_EPOCH"))
	if err != nil {
		return err
	}
	root := cli.Commands()
	man := filepath.Join(folder, "man")
	if err := os.MkdirAll(man, 0o755); err != nil {
		return err
	}
	visit(root, func(c *cobra.Command) { c.DisableAutoGenTag = true })
	header := doc.GenManHeader{Section: "1", Date: &date, Source: "dustlog", Manual: "dustlog"}
	if err := doc.GenManTree(root, &header, man); err != nil {
		return fmt.Errorf("manual pages: %w", err)
	}
	return completions(root, filepath.Join(folder, "completions"))
}

func completions(root *cobra.Command, folder string) error {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	for name, gen := range map[string]func(path string) error{
		"dustlog.bash": func(p string) error { return root.GenBashCompletionFileV2(p, true) },
		"_dustlog":     root.GenZshCompletionFile,
		"dustlog.fish": func(p string) error { return root.GenFishCompletionFile(p, true) },
		"dustlog.ps1":  root.GenPowerShellCompletionFileWithDesc,
	} {
		if err := gen(filepath.Join(folder, name)); err != nil {
			return fmt.Errorf("completion %s: %w", name, err)
		}
	}
	return nil
}

func visit(c *cobra.Command, do func(*cobra.Command)) {
	do(c)
	for _, sub := range c.Commands() {
		visit(sub, do)
	}
}

// sourceDate reads seconds since 1970; "" is the beginning of 2026.
func sourceDate(text string) (time.Time, error) {
	if text == "" {
		return time.Date(2026, time.January, 1, 0, 0, 0, 0, time.UTC), nil
	}
	seconds, err := strconv.ParseInt(text, 10, 64)
	if err != nil {
		return time.Time{}, fmt.Errorf("SOURCE_DATE_EPOCH %q: want whole seconds since 1970", text)
	}
	return time.Unix(seconds, 0).UTC(), nil
}
