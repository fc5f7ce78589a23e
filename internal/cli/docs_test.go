package cli_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"github.com/stretchr/testify/require"

	"dustlog/internal/cli"
)

func documentedPages(t *testing.T) []string {
	t.Helper()
	pages, err := filepath.Glob("../../docs/*.md")
	require.NoError(t, err)
	return append(pages, "../../README.md", "../../DEVELOPERS.md")
}

// commandsIn lists the calls of dustlog in the shell examples of a page.
func commandsIn(t *testing.T, path string) (calls []string) {
	t.Helper()
	content, err := os.ReadFile(path)
	require.NoError(t, err)
	shell := false
	for line := range strings.Lines(strings.ReplaceAll(string(content), "\\\n", " ")) {
		line = strings.TrimSpace(line)
		switch {
		case strings.HasPrefix(line, "```"):
			shell = !shell && line == "```sh"
		case shell:
			for _, prefix := range []string{"dustlog ", "./dustlog ", "go run ./cmd/dustlog "} {
				if call, ok := strings.CutPrefix(line, prefix); ok {
					calls = append(calls, call)
				}
			}
		}
	}
	return calls
}

// shellWords splits a call as a shell does, as far as the pages go: quotes, comments.
func shellWords(t *testing.T, call string) (list []string) {
	t.Helper()
	var word strings.Builder
	inWord, quote := false, rune(0)
	end := func() {
		if inWord {
			list = append(list, word.String())
			word.Reset()
			inWord = false
		}
	}
	for _, r := range call {
		switch {
		case quote != 0 && r == quote:
			quote = 0
		case quote != 0:
			word.WriteRune(r)
		case r == '"' || r == '\'':
			quote, inWord = r, true
		case r == '#' && !inWord:
			return list
		case r == ' ':
			end()
		case strings.ContainsRune("|&;<>$`", r):
			require.Failf(t, "more of a shell than this test knows", "%q in %q", r, call)
		default:
			word.WriteRune(r)
			inWord = true
		}
	}
	require.Zero(t, quote, "an open quote in %q", call)
	end()
	return list
}

// A flag's type has no space in it: backquotes in its help would be taken for its name.
func TestFlagsHaveTypesOfOneWord(t *testing.T) {
	var look func(c *cobra.Command)
	look = func(c *cobra.Command) {
		c.Flags().VisitAll(func(f *pflag.Flag) {
			name, _ := pflag.UnquoteUsage(f)
			require.NotContains(t, name, " ", "%s --%s", c.CommandPath(), f.Name)
		})
		for _, sub := range c.Commands() {
			look(sub)
		}
	}
	look(cli.Commands())
}

// Every call that README and docs show is one that the program takes: the command
// is there, so are its flags, their values can be read, the number of arguments is
// right.
func TestDocumentedCallsAreRight(t *testing.T) {
	found := 0
	for _, page := range documentedPages(t) {
		for _, call := range commandsIn(t, page) {
			found++
			t.Run(filepath.Base(page)+": "+call, func(t *testing.T) {
				root := cli.Commands()
				cmd, rest, err := root.Find(shellWords(t, call))
				require.NoError(t, err)
				require.NoError(t, cmd.ParseFlags(rest))
				args := cmd.Flags().Args()
				if cmd.HasSubCommands() {
					require.Empty(t, args, "no such command")
				}
				if help, _ := cmd.Flags().GetBool("help"); help {
					return
				}
				require.NoError(t, cmd.ValidateArgs(args))
			})
		}
	}
	require.Greater(t, found, 60, "the pages' calls are found at all")
}
