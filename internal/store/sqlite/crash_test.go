package sqlite_test

import (
	"bufio"
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/store/storetest"
)

// sealerEnv makes the test binary a program that appends to a store and seals it
// without a pause until it is killed. It holds the store's path and the number
// of readings that are in it.
const sealerEnv = "DUSTLOG_TEST_APPEND_AND_SEAL"

const crashBatch = 7

// crashReadings are the readings that the program adds, an hour apart, so that
// a day is soon over; the last of each batch is days late.
func crashReadings(from, to int) []dust.Reading {
	var list []dust.Reading
	for i := from; i < to; i++ {
		r := dust.Reading{Time: midnight.Add(time.Duration(i) * time.Hour), Sensor: []string{"bench", "Room 2"}[i%2]}
		if i%crashBatch == crashBatch-1 {
			r.Time = r.Time.Add(-60*time.Hour + 30*time.Minute)
		}
		r.Values.Set(dust.PM25, float64(i)/10)
		list = append(list, r)
	}
	return list
}

// appendAndSeal prints the number of readings acknowledged after each batch.
func appendAndSeal(order string) {
	path, number, _ := strings.Cut(order, "\n")
	n, err := strconv.Atoi(number)
	s, openErr := sqlite.Open(context.Background(), path, sqlite.Options{Create: true})
	if err != nil || openErr != nil {
		fmt.Println(err, openErr)
		os.Exit(1)
	}
	s.SliceRows(5) // a day's rows then go in several slices
	go func() {
		for {
			if _, err := s.Seal(context.Background(), time.Now()); err != nil {
				fmt.Println("seal:", err)
				os.Exit(1)
			}
		}
	}()
	for {
		if _, err := s.Append(context.Background(), crashReadings(n, n+crashBatch)); err != nil {
			fmt.Println("append:", err)
			os.Exit(1)
		}
		n += crashBatch
		fmt.Println(n)
	}
}

// crash runs the program on a store with n readings and kills it at random. It
// returns how many readings were acknowledged.
func crash(t *testing.T, rng *rand.Rand, path string, n int) (acknowledged int) {
	t.Helper()
	program, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(program)
	cmd.Env = append(os.Environ(), sealerEnv+"="+path+"\n"+strconv.Itoa(n))
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	acknowledged = n
	scanner := bufio.NewScanner(out)
	for lines := 1 + rng.IntN(8); scanner.Scan(); lines-- {
		if acknowledged, err = strconv.Atoi(scanner.Text()); err != nil {
			err = fmt.Errorf("the program failed: %s", scanner.Text())
			break
		}
		if lines == 0 {
			// Not always right after an acknowledgement.
			for until := time.Now().Add(time.Duration(rng.IntN(3000)) * time.Microsecond); time.Now().Before(until); {
			}
			require.NoError(t, cmd.Process.Kill())
		}
	}
	require.NoError(t, err)
	require.Error(t, cmd.Wait(), "the program only ends by being killed")
	return acknowledged
}

// TestKilledWhileSealing kills a program that appends and seals, again and
// again: what was acknowledged must be there once, and the store's own check
// must find nothing. The seed is in the log, for what it is worth: most of the
// chance is in the machine.
func TestKilledWhileSealing(t *testing.T) {
	rounds := 200
	if testing.Short() {
		rounds = 20
	}
	seed := uint64(time.Now().UnixNano())
	rng := rand.New(rand.NewPCG(seed, 0))
	path, n, began, midway, deleting := "", 0, time.Now(), 0, 0
	for round := range rounds {
		if round%10 == 0 { // a young store, so that a round stays short
			path, n = filepath.Join(t.TempDir(), "plain.db"), 0
		}
		acknowledged := crash(t, rng, path, n)
		s, err := sqlite.Open(t.Context(), path, sqlite.Options{})
		require.NoError(t, err)
		got := storetest.All(t, s, dust.Query{})
		n = len(got)
		require.GreaterOrEqual(t, n, acknowledged, "an acknowledged reading is gone; seed %d, round %d", seed, round)
		require.LessOrEqual(t, n, acknowledged+crashBatch, "at most one batch was not acknowledged yet")
		want := crashReadings(0, n)
		slices.SortFunc(want, func(a, b dust.Reading) int { return a.Time.Compare(b.Time) })
		storetest.Same(t, want, got)
		requireClean(t, s, fmt.Sprintf("seed %d, round %d", seed, round))
		if unfinished(t, path) {
			midway++
		}
		if superseded(t, s) > 0 {
			deleting++
		}
		if round%3 == 0 {
			s.CleanAtOnce()
			report, err := s.Seal(t.Context(), time.Now())
			require.NoError(t, err)
			require.Empty(t, report.Problems)
			storetest.Same(t, want, storetest.All(t, s, dust.Query{}))
			requireClean(t, s, "after sealing")
			require.False(t, unfinished(t, path), "the next seal tidies up")
		}
		require.NoError(t, s.Close())
	}
	t.Logf("%d rounds, %d kills in the middle of sealing, %d of them while rows were being deleted, %s a round, seed %d",
		rounds, midway, deleting, time.Since(began)/time.Duration(rounds), seed)
	if rounds == 200 {
		require.NotZero(t, midway, "no kill hit the sealing; the test proves nothing of it")
		require.NotZero(t, deleting, "no kill hit the deletion; the test proves nothing of it")
	}
}

func requireClean(t *testing.T, s *sqlite.Store, about string) {
	t.Helper()
	report, err := s.Check(t.Context())
	require.NoError(t, err)
	require.True(t, report.Clean, "%s: %v", about, report.Problems)
	require.Zero(t, report.Doubles, about)
}

// unfinished reports whether a sealing was cut short: a temporary file, one that
// is not listed, one that was announced, or sealed rows that are not deleted yet.
func unfinished(t *testing.T, path string) bool {
	t.Helper()
	db := rawDB(t, path)
	var announced, listed, rows int
	require.NoError(t, db.QueryRow("SELECT count(next_sha256), count(*), coalesce(sum(superseded), 0) FROM sealed_day").Scan(&announced, &listed, &rows))
	files, err := filepath.Glob(path + ".days/*/*")
	require.NoError(t, err)
	hidden, err := filepath.Glob(path + ".days/*/.*")
	require.NoError(t, err)
	return announced > 0 || len(files) != listed || len(hidden) > 0 || rows > 0
}
