package sqlite_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// appenderEnv makes the test binary a program that appends to the store at the
// path it holds, until it is killed.
const appenderEnv = "DUSTLOG_TEST_APPEND_TO"

const killBatch = 7

// appendForever prints the number of readings acknowledged after each batch.
func appendForever(path string) {
	ctx := context.Background()
	s, err := sqlite.Open(ctx, path, sqlite.Options{Create: true})
	if err != nil {
		fmt.Println(err)
		os.Exit(1)
	}
	spans, err := s.Span(ctx)
	n := 0
	if len(spans) > 0 {
		n = int(spans[0].Count)
	}
	for err == nil {
		batch := storetest.Readings("bench", start, n+killBatch)[n:]
		if _, err = s.Append(ctx, batch); err == nil {
			n += killBatch
			fmt.Println(n)
		}
	}
	fmt.Println(err)
	os.Exit(1)
}

func TestKilledWhileAppending(t *testing.T) {
	path := filepath.Join(t.TempDir(), "plain.db") // the name that checkIntegrity leaves it
	acknowledged := 0
	for round := range 10 {
		acknowledged = killAfter(t, path, 3+round*11%17, acknowledged)
		s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
		require.NoError(t, err)
		got := storetest.All(t, s, dust.Query{})
		require.NoError(t, s.Close())
		require.GreaterOrEqual(t, len(got), acknowledged, "an acknowledged reading is gone")
		require.LessOrEqual(t, len(got), acknowledged+killBatch, "at most one batch was not acknowledged yet")
		require.Zero(t, len(got)%killBatch, "a batch is there in part")
		storetest.Same(t, storetest.Readings("bench", start, len(got)), got)
		checkIntegrity(t, path)
	}
}

// killAfter runs the appender, kills it after some acknowledgements and returns
// the last number that it acknowledged.
func killAfter(t *testing.T, path string, lines, before int) (acknowledged int) {
	t.Helper()
	program, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), appenderEnv+"="+path)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	acknowledged = before
	scanner := bufio.NewScanner(out)
	for n := 0; scanner.Scan(); n++ {
		if acknowledged, err = strconv.Atoi(strings.TrimSpace(scanner.Text())); err != nil {
			break
		}
		if n == lines {
			require.NoError(t, cmd.Process.Kill())
		}
	}
	require.NoError(t, err)
	require.Error(t, cmd.Wait(), "the appender only ends by being killed")
	return acknowledged
}
