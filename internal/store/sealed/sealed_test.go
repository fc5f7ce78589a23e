package sealed_test

import (
	"errors"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/sealed"
)

var day = func() sealed.Day {
	d, err := sealed.ParseDay("2025-03-10")
	if err != nil {
		panic(err)
	}
	return d
}()

// typical makes a day of a ten-channel sensor: masses with a quantum of
// 0.1 µg/m³, six counts that fall with size, jittered times. Its statistics are
// invented.
func typical(n int) *sealed.Table {
	rng := rand.New(rand.NewPCG(1, 2))
	b := sealed.NewBuilder(n)
	from, _ := day.Bounds()
	level, slow := 0.0, 0.0
	for i := range n {
		level = level*math.Exp(-1.0/45) + rng.NormFloat64()*0.05
		slow = slow*math.Exp(-1.0/3600) + rng.NormFloat64()*0.01
		pm25 := 12 * math.Exp(level+slow)
		if i%7200 > 6500 {
			pm25 += 180 * math.Exp(level)
		}
		b.Start(from+int64(i)*86_400_000/int64(n)+int64(rng.NormFloat64()*6+300), 0)
		tenths := func(x float64) float64 { return math.Round(x*10) / 10 }
		b.Set(dust.PM1, tenths(pm25*(0.7+0.02*rng.NormFloat64())))
		b.Set(dust.PM25, tenths(pm25))
		b.Set(dust.PM4, tenths(pm25*(1.15+0.02*rng.NormFloat64())))
		b.Set(dust.PM10, tenths(pm25*(1.3+0.04*rng.NormFloat64())))
		count := pm25 * 70
		for _, c := range []dust.Channel{dust.N03, dust.N05, dust.N10, dust.N25, dust.N50, dust.N100} {
			per01L := math.Round(count + math.Sqrt(count)*rng.NormFloat64())
			b.Set(c, max(per01L, 0)/100)
			count *= 0.3
		}
	}
	return b.Table()
}

func save(t testing.TB, table *sealed.Table) (path string, info sealed.Info) {
	t.Helper()
	folder := filepath.Join(t.TempDir(), "deep", "sensor=bench")
	p, err := sealed.Prepare(folder, "bench", day, table)
	require.NoError(t, err)
	require.NoError(t, p.Commit("x.parquet"))
	return filepath.Join(folder, "x.parquet"), p.Info
}

func load(t testing.TB, path string, channels ...dust.Channel) *sealed.Table {
	t.Helper()
	f, err := sealed.Open(path)
	require.NoError(t, err)
	defer f.Close()
	var table sealed.Table
	require.NoError(t, f.Read(channels, &table))
	return &table
}

func TestSizeGoal(t *testing.T) {
	table := typical(86_400)
	_, info := save(t, table)
	perReading := float64(info.Bytes) / 86_400
	t.Logf("%.2f bytes a reading", perReading)
	require.LessOrEqual(t, perReading, 9.0) // the goal of the storage design
}

// TestRoundTrip takes values of every kind; what is expected is what went in.
func TestRoundTrip(t *testing.T) {
	values := map[dust.Channel]func(i int) float64{
		dust.PM1:          func(i int) float64 { return float64(i) },
		dust.PM25:         func(i int) float64 { return float64(i) / 10 },
		dust.PM4:          func(i int) float64 { return float64(i) / 100 },
		dust.PM10:         func(i int) float64 { return float64(-i) / 1000 },
		dust.N03:          func(i int) float64 { return float64(float32(1) / float32(i+1)) },
		dust.N05:          func(i int) float64 { return 1 / float64(i+3) },
		dust.N10:          func(i int) float64 { return []float64{0, math.Copysign(0, -1)}[i%2] },
		dust.N25:          func(i int) float64 { return []float64{5e-324, math.MaxFloat64, -math.MaxFloat64}[i%3] },
		dust.N50:          func(i int) float64 { return 999_999_999 },
		dust.N100:         func(i int) float64 { return 1_000_000_000 },
		dust.NPM05:        func(i int) float64 { return []float64{99_999_999.9, 0.01, 999_999_999}[i%3] }, // too large at 0.01
		dust.Temperature:  func(i int) float64 { return []float64{0.1 + 0.2, 0.3}[i%2] },                  // not the same number
		dust.Humidity:     func(i int) float64 { return 41.5 },
		dust.Formaldehyde: func(i int) float64 { return 3 * 0.1 },
	}
	for name, holes := range map[string]int{"whole": 0, "every third": 3, "only one": 1 << 30} {
		b := sealed.NewBuilder(10)
		from, _ := day.Bounds()
		for i := range 5000 {
			b.Start(from+int64(i)*1001, dust.Flags(uint32(math.MaxUint32)>>(i%32)))
			for c := range dust.ChannelCount {
				if f := values[c]; f != nil && (holes == 0 || i%holes == int(c)%3) {
					b.Set(c, f(i))
				}
			}
		}
		table := b.Table()
		path, info := save(t, table)
		require.Equal(t, 5000, info.Rows, name)
		back := load(t, path)
		requireSame(t, table, back)
		for i := range table.Len() {
			require.Equal(t, table.Reading(i, "bench"), back.Reading(i, "bench"))
			for c, f := range values {
				if holes != 0 && i%holes != int(c)%3 {
					continue
				}
				x, ok := back.Column(c).Value(i)
				require.True(t, ok)
				require.Equal(t, math.Float64bits(f(i)), math.Float64bits(x), "%s, %s row %d: %g", name, c, i, x)
			}
		}
		requireSame(t, &sealed.Table{MS: table.MS, Flags: table.Flags, Columns: table.Columns[:1]}, load(t, path, dust.PM1, dust.PM1Atm))
	}
}

func requireSame(t testing.TB, want, got *sealed.Table) {
	t.Helper()
	require.Equal(t, want.MS, got.MS)
	require.Equal(t, want.Flags, got.Flags)
	require.Len(t, got.Columns, len(want.Columns))
	for k := range want.Columns {
		w, g := &want.Columns[k], &got.Columns[k]
		require.Equal(t, w.Channel, g.Channel)
		require.Equal(t, w.PerUnit, g.PerUnit, w.Channel)
		for i := range want.MS {
			x, had := w.Value(i)
			y, has := g.Value(i)
			if had != has || math.Float64bits(x) != math.Float64bits(y) {
				require.Fail(t, "value differs", "%s row %d: %v %v, %v %v", w.Channel, i, x, had, y, has)
			}
		}
	}
}

// TestTableIsUsedAgain reads files of different make into one Table, each a few
// times: what comes out is what a new Table gets.
func TestTableIsUsedAgain(t *testing.T) {
	holes, singles := sealed.NewBuilder(2000), sealed.NewBuilder(2000)
	from, _ := day.Bounds()
	for i := range 2000 {
		holes.Start(from+int64(i), dust.Flags(i%3))
		singles.Start(from+int64(i), dust.Humid)
		if i%7 > 0 {
			holes.Set(dust.PM25, float64(i)/10)
			holes.Set(dust.Temperature, 1/float64(i))
		}
		singles.Set(dust.PM25, float64(float32(1)/float32(i+1)))
		singles.Set(dust.PM10, 1/float64(i+3))
	}
	var files []*sealed.File
	var want []*sealed.Table
	for _, table := range []*sealed.Table{
		typical(3000), typical(200_000), // columns of one page, and of several
		holes.Table(), singles.Table(), typical(10),
	} {
		path, _ := save(t, table)
		f, err := sealed.Open(path)
		require.NoError(t, err)
		defer f.Close()
		files, want = append(files, f), append(want, table)
	}
	r := rand.New(rand.NewPCG(3, 4))
	var again sealed.Table
	for range 60 {
		k := r.IntN(len(files))
		var channels []dust.Channel
		part := *want[k]
		if r.IntN(2) == 0 {
			channels = []dust.Channel{dust.PM25}
			part.Columns = []sealed.Column{*part.Column(dust.PM25)}
		}
		require.NoError(t, files[k].Read(channels, &again))
		requireSame(t, &part, &again)
	}
}

// TestQuanta: the column's type must say what the values are, to readers that
// know nothing of this program.
func TestQuanta(t *testing.T) {
	b := sealed.NewBuilder(2)
	from, _ := day.Bounds()
	for i := range 2 {
		b.Start(from+int64(i), 0)
		b.Set(dust.PM1, float64(i))
		b.Set(dust.PM25, float64(i)/10)
		b.Set(dust.PM4, float64(i)/100)
		b.Set(dust.PM10, float64(i)/1000)
		b.Set(dust.N03, 0.25+float64(i)/1024/1024)
		b.Set(dust.N05, 1.0/3)
		if i == 0 {
			b.Set(dust.N10, 1)
		}
	}
	path, _ := save(t, b.Table())
	content, err := os.Open(path)
	require.NoError(t, err)
	defer content.Close()
	info, err := content.Stat()
	require.NoError(t, err)
	file, err := parquet.OpenFile(content, info.Size())
	require.NoError(t, err)
	require.Equal(t, `message readings {
	required int32 flags (INT(32,false));
	required float n0_3_cm3;
	required double n0_5_cm3;
	optional int32 n1_0_cm3 (INT(32,true));
	required int32 pm10_ug_m3 (DECIMAL(9,3));
	required int32 pm1_ug_m3 (INT(32,true));
	required int32 pm2_5_ug_m3 (DECIMAL(9,1));
	required int32 pm4_ug_m3 (DECIMAL(9,2));
	required int64 time_ms (INT(64,true));
}`, file.Schema().String())
	scale, _ := file.Lookup("scale.pm2_5_ug_m3")
	require.Equal(t, "0.1", scale)
}

func TestRefused(t *testing.T) {
	from, to := day.Bounds()
	for name, times := range map[string][]int64{
		"empty": {}, "twice": {from, from}, "back": {from + 1, from}, "before": {from - 1}, "after": {to},
	} {
		folder := filepath.Join(t.TempDir(), "new")
		_, err := sealed.Prepare(folder, "bench", day, &sealed.Table{MS: times, Flags: make([]dust.Flags, len(times))})
		require.Error(t, err, name)
		require.NoDirExists(t, folder)
	}
}

// TestDamage flips every bit that may matter and cuts the file at every length:
// whatever is read must be an error or the truth.
func TestDamage(t *testing.T) {
	table := typical(300)
	path, info := save(t, table)
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	broken := filepath.Join(t.TempDir(), "broken.parquet")
	try := func(content []byte, about string, at int) {
		t.Helper()
		require.NoError(t, os.WriteFile(broken, content, 0o600))
		f, err := sealed.Open(broken)
		if err == nil {
			var back sealed.Table
			if err = f.Read(nil, &back); err == nil && at < len(whole) {
				sum, _, err := sealed.Hash(broken)
				require.NoError(t, err)
				require.NotEqual(t, info.SHA256, sum, "%s at %d went unnoticed", about, at)
			}
			require.NoError(t, f.Close())
		}
		if err != nil {
			require.ErrorIs(t, err, sealed.ErrDamaged)
			require.ErrorContains(t, err, broken)
		}
	}
	for at := 0; at < len(whole); at += 23 {
		flipped := append([]byte(nil), whole...)
		flipped[at] ^= 1 << (at % 8)
		try(flipped, "bit", at)
		try(whole[:at], "cut", at)
	}
	_, err = sealed.Open(filepath.Join(t.TempDir(), "none.parquet"))
	require.ErrorIs(t, err, fs.ErrNotExist)
	require.False(t, errors.Is(err, sealed.ErrDamaged))
}

func TestClean(t *testing.T) {
	root := t.TempDir()
	p, err := sealed.Prepare(filepath.Join(root, "sensor=a"), "a", day, typical(10))
	require.NoError(t, err)
	q, err := sealed.Prepare(filepath.Join(root, "sensor=a"), "a", day, typical(20))
	require.NoError(t, err)
	require.NoError(t, q.Commit("kept.parquet"))
	require.NoError(t, sealed.Clean(root, time.Hour), "spared, for it is young")
	hidden, err := filepath.Glob(filepath.Join(root, "*", ".*"))
	require.NoError(t, err)
	require.Len(t, hidden, 1)
	require.NoError(t, sealed.Clean(root, 0))
	files, err := filepath.Glob(filepath.Join(root, "*", "*"))
	require.NoError(t, err)
	hidden, err = filepath.Glob(filepath.Join(root, "*", ".*"))
	require.NoError(t, err)
	require.Equal(t, []string{filepath.Join(root, "sensor=a", "kept.parquet")}, files)
	require.Empty(t, hidden)
	require.Error(t, p.Commit("late.parquet"))
	require.NoError(t, sealed.Clean(filepath.Join(root, "none"), 0))
}

func TestDay(t *testing.T) {
	require.Equal(t, "2025-03-10", day.String())
	require.Equal(t, sealed.Day(-1), sealed.DayOf(-1))
	require.Equal(t, "1969-12-31", sealed.DayOf(-1).String())
	require.Equal(t, sealed.Day(-1), sealed.DayOf(-86_400_000))
	require.Equal(t, sealed.Day(0), sealed.DayOf(0))
}

// BenchmarkPrepare writes, syncs and proves a day.
func BenchmarkPrepare(b *testing.B) {
	table := typical(86_400)
	folder := b.TempDir()
	for b.Loop() {
		p, err := sealed.Prepare(folder, "bench", day, table)
		require.NoError(b, err)
		require.NoError(b, p.Commit("x.parquet"))
	}
	b.ReportMetric(float64(table.Len())*float64(b.N)/b.Elapsed().Seconds(), "readings/s")
}

func BenchmarkRead(b *testing.B) {
	path, info := save(b, typical(86_400))
	for name, channels := range map[string][]dust.Channel{"one": {dust.PM25}, "all": nil} {
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			var table sealed.Table
			for b.Loop() {
				f, err := sealed.Open(path)
				require.NoError(b, err)
				require.NoError(b, f.Read(channels, &table))
				require.NoError(b, f.Close())
			}
			b.ReportMetric(float64(info.Rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}
