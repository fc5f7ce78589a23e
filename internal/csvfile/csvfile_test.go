package csvfile_test

import (
	"errors"
	"io"
	"iter"
	"strings"
	"testing"
	"testing/iotest"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/csvfile"
	"dustlog/internal/dust"
)

var start = time.Date(2025, 3, 10, 8, 0, 0, 0, time.UTC)

// readAll returns the readings before the first error, and that error.
func readAll(r io.Reader, o csvfile.Options) (list []dust.Reading, err error) {
	for reading, err := range csvfile.Read(r, "week.csv", o) {
		if err != nil {
			return list, err
		}
		list = append(list, reading)
	}
	return list, nil
}

func reading(sensor string, after time.Duration, flags dust.Flags, values map[dust.Channel]float64) dust.Reading {
	r := dust.Reading{Time: start.Add(after), Sensor: sensor, Flags: flags}
	for c, x := range values {
		r.Values.Set(c, x)
	}
	return r
}

func TestRead(t *testing.T) {
	one := []dust.Reading{reading("bench", 0, 0, map[dust.Channel]float64{dust.PM25: 12.5})}
	bench := csvfile.Options{Sensor: "bench"}
	for _, test := range []struct {
		name, text string
		o          csvfile.Options
		want       []dust.Reading
	}{
		{"plain", "time,pm2_5_ug_m3\n2025-03-10T08:00:00Z,12.5\n", bench, one},
		{"no last line end", "time,pm2_5_ug_m3\n2025-03-10T08:00:00Z,12.5", bench, one},
		{"byte order mark and Windows line ends", "\ufefftime,pm2_5_ug_m3\r\n2025-03-10T08:00:00Z,12.5\r\n", bench, one},
		{"spaces and empty lines", "\ntime, pm2_5_ug_m3\n\n 2025-03-10T08:00:00Z , 12.5 \n\n", bench, one},
		{"quotes", "\"time\",\"pm2_5_ug_m3\"\n\"2025-03-10T08:00:00Z\",\"12.5\"\n", bench, one},
		{"other zone", "time,pm2_5_ug_m3\n2025-03-10T13:30:00+05:30,12.5\n", bench, one},
		{"other order", "pm2_5_ug_m3,sensor,time\n12.5,bench,2025-03-10T08:00:00Z\n", csvfile.Options{}, one},
		{"the row's sensor wins", "time,sensor,pm2_5_ug_m3\n2025-03-10T08:00:00Z,bench,12.5\n", csvfile.Options{Sensor: "x"}, one},
		{"an empty sensor cell", "time,sensor,pm2_5_ug_m3\n2025-03-10T08:00:00Z,,12.5\n", bench, one},
		{"finer than a millisecond", "time,pm2_5_ug_m3\n2025-03-10T08:00:00.0009999Z,12.5\n", bench, one},
		{"exponent", "time,pm2_5_ug_m3\n2025-03-10T08:00:00Z,+1.25E1\n", bench, one},
		{"mg/m³", "time,pm2_5_mg_m3\n2025-03-10T08:00:00Z,0.0125\n", bench, one},
		{"mapped", "when,mPM2.5,note\n2025-03-10T08:00:00Z,12.5,abc\n", csvfile.Options{Sensor: "bench",
			Columns: map[string]string{"when": "time", "mPM2.5": "pm2_5_ug_m3"}, Ignore: []string{"note", "not there"}}, one},
		{"mapped with a unit", "time,fine dust\n2025-03-10T08:00:00Z,0.0125\n", csvfile.Options{Sensor: "bench",
			Columns: map[string]string{"fine dust": "pm2_5_mg_m3"}}, one},
		{"header only", "time,pm2_5_ug_m3\n", bench, nil},
		{"particles per 0.1 L", "time,n0_3_per_0_1l,nPM0_5_per_0_1l\n2025-03-10T08:00:00Z,1850,0\n", bench,
			[]dust.Reading{reading("bench", 0, 0, map[dust.Channel]float64{dust.N03: 18.5, dust.NPM05: 0})}},
		{"missing", "time,pm2_5_ug_m3,rh_percent\n2025-03-10T08:00:00Z,,40\n2025-03-10T08:00:01Z,0,\n2025-03-10T08:00:02Z,,\n", bench,
			[]dust.Reading{
				reading("bench", 0, 0, map[dust.Channel]float64{dust.Humidity: 40}),
				reading("bench", time.Second, 0, map[dust.Channel]float64{dust.PM25: 0}),
				reading("bench", 2*time.Second, 0, nil),
			}},
		{"elapsed", "elapsed_s,pm2_5_ug_m3\n0,1\n1.001,2\n2.5,3\n86400.0,4\n", csvfile.Options{Sensor: "bench", Start: start},
			[]dust.Reading{
				reading("bench", 0, 0, map[dust.Channel]float64{dust.PM25: 1}),
				reading("bench", 1001*time.Millisecond, 0, map[dust.Channel]float64{dust.PM25: 2}),
				reading("bench", 2500*time.Millisecond, 0, map[dust.Channel]float64{dust.PM25: 3}),
				reading("bench", 24*time.Hour, 0, map[dust.Channel]float64{dust.PM25: 4}),
			}},
		{"time_s", "time_s,pm2_5_ug_m3\n0,12.5\n", csvfile.Options{Sensor: "bench", Start: start}, one},
		{"two sensors, each with its own times", "time,sensor,pm2_5_ug_m3\n2025-03-10T08:00:01Z,a,1\n2025-03-10T08:00:00Z,b,2\n2025-03-10T08:00:01Z,b,3\n", csvfile.Options{},
			[]dust.Reading{
				reading("a", time.Second, 0, map[dust.Channel]float64{dust.PM25: 1}),
				reading("b", 0, 0, map[dust.Channel]float64{dust.PM25: 2}),
				reading("b", time.Second, 0, map[dust.Channel]float64{dust.PM25: 3}),
			}},
		{"flags", "time,flags,pm2_5_ug_m3\n2025-03-10T08:00:00Z,\"saturated,humid\",1\n2025-03-10T08:00:01Z,,1\n", bench,
			[]dust.Reading{
				reading("bench", 0, dust.Saturated|dust.Humid, map[dust.Channel]float64{dust.PM25: 1}),
				reading("bench", time.Second, 0, map[dust.Channel]float64{dust.PM25: 1}),
			}},
		{"below zero", "time,flags,pm2_5_mg_m3,temperature_c\n2025-03-10T08:00:00Z,humid,-0.001,-5\n2025-03-10T08:00:01Z,,0,-5\n", bench,
			[]dust.Reading{
				reading("bench", 0, dust.Humid|dust.NegativeMass, map[dust.Channel]float64{dust.PM25: -1, dust.Temperature: -5}),
				reading("bench", time.Second, 0, map[dust.Channel]float64{dust.PM25: 0, dust.Temperature: -5}),
			}},
		{"quotes as in RFC 4180, 2.7", "time,sensor,pm2_5_ug_m3\n2025-03-10T08:00:00Z,\"b\"\"bb, x\",1\n", csvfile.Options{},
			[]dust.Reading{reading(`b"bb, x`, 0, 0, map[dust.Channel]float64{dust.PM25: 1})}},
	} {
		t.Run(test.name, func(t *testing.T) {
			got, err := readAll(strings.NewReader(test.text), test.o)
			require.NoError(t, err)
			require.Equal(t, test.want, got)
			got, err = readAll(iotest.OneByteReader(strings.NewReader(test.text)), test.o)
			require.NoError(t, err)
			require.Equal(t, test.want, got, "byte by byte")
		})
	}
}

// TestTimes reads the examples of RFC 3339, section 5.8.
func TestTimes(t *testing.T) {
	for text, want := range map[string]time.Time{
		"1985-04-12T23:20:50.52Z":   time.Date(1985, 4, 12, 23, 20, 50, 520e6, time.UTC),
		"1996-12-19T16:39:57-08:00": time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC),
	} {
		got, err := readAll(strings.NewReader("time,pm1_ug_m3\n"+text+",1\n"), csvfile.Options{Sensor: "bench"})
		require.NoError(t, err)
		require.Equal(t, want, got[0].Time, text)
	}
	// The section's other examples are a leap second, which cannot be told from
	// the second after it, and a year that no sensor here has seen.
	for text, reason := range map[string]string{
		"1990-12-31T23:59:60Z":         "is not a time",
		"1937-01-01T12:00:27.87+00:20": "lies outside the years",
	} {
		_, err := readAll(strings.NewReader("time,pm1_ug_m3\n"+text+",1\n"), csvfile.Options{Sensor: "bench"})
		require.ErrorContains(t, err, reason)
	}
}

func TestReadRefuses(t *testing.T) {
	const head = "time,pm2_5_ug_m3\n2025-03-10T08:00:00Z,1\n"
	row := func(cells string) string { return head + cells + "\n" }
	for _, test := range []struct {
		name, text, want string
	}{
		{"word", row("2025-03-10T08:00:01Z,abc"), `week.csv line 3, column pm2_5_ug_m3: "abc" is not a number`},
		{"NaN", row("2025-03-10T08:00:01Z,NaN"), `line 3, column pm2_5_ug_m3: "NaN" is not a number`},
		{"infinity", row("2025-03-10T08:00:01Z,-Inf"), `"-Inf" is not a number`},
		{"hexadecimal", row("2025-03-10T08:00:01Z,0x1p4"), `"0x1p4" is not a number`},
		{"underscore", row("2025-03-10T08:00:01Z,1_000"), `"1_000" is not a number`},
		{"two points", row("2025-03-10T08:00:01Z,1.2.3"), `"1.2.3" is not a number`},
		{"quoted decimal comma", row(`2025-03-10T08:00:01Z,"12,5"`), `"12,5" is not a number: write a decimal point`},
		{"unquoted decimal comma", row("2025-03-10T08:00:01Z,12,5"), "week.csv line 3: the header has 2 columns, the row 3; a decimal comma makes two cells"},
		{"too large", row("2025-03-10T08:00:01Z,1e999"), `"1e999" is too large`},
		{"too large in µg", "time,pm1_mg_m3\n2025-03-10T08:00:00Z,1e307\n", `"1e307" is too large`},
		{"short row", row("2025-03-10T08:00:01Z"), "week.csv line 3: the header has 2 columns, the row 1"},
		{"line is counted over empty ones", head + "\n\n2025-03-10T08:00:01Z,x\n", "line 5, column"},
		{"open quote", row("\"2025-03-10T08:00:01Z,1"), "week.csv line 3: "},
		{"stray quote", row("2025-03-10T08:00:01Z,1\"2"), "week.csv line 3: "},
		{"space behind a quote", row("\"2025-03-10T08:00:01Z\" ,1"), "week.csv line 3: "},
		{"no zone", row("2025-03-10T08:00:01,1"), `column time: "2025-03-10T08:00:01" has no time zone: write it as in 2025`},
		{"no zone, space", row("2025-03-10 08:00:01.5,1"), `has no time zone`},
		{"day first", row("10.03.2025 08:00,1"), `"10.03.2025 08:00" is not a time as in 2025`},
		{"no such day", row("2025-02-30T08:00:01Z,1"), `"2025-02-30T08:00:01Z" is not a time`},
		{"no time", row(",1"), "week.csv line 3, column time: is empty"},
		{"clock never set", "time,pm1_ug_m3\n0001-01-01T00:00:00Z,1\n", "lies outside the years 1970 to 9999"},
		{"backwards", row("2025-03-10T07:59:59Z,1"), `"2025-03-10T07:59:59Z" goes back behind 2025-03-10T08:00:00Z in the row before of sensor "bench"`},
		{"twice", row("2025-03-10T08:00:00Z,1"), `is the same millisecond as in the row before of sensor "bench"`},
		{"same millisecond", row("2025-03-10T08:00:00.0004Z,1"), "is the same millisecond"},
		{"flag", "time,flags,pm1_ug_m3\n2025-03-10T08:00:00Z,odd,1\n", `line 2, column flags: "odd" is no list of flags: unknown flag "odd": use one of warm_up`},

		{"empty file", "", "week.csv line 1: the file is empty"},
		{"semicolons", "time;pm2_5_ug_m3\n2025-03-10T08:00:00Z;12,5\n", "week.csv line 1: cells are separated by semicolons or tabs"},
		{"semicolons and commas", "time;pm2,5;x\n", "cells are separated by semicolons or tabs"},
		{"tabs", "time\tpm2_5_ug_m3\n", "cells are separated by semicolons or tabs"},
		{"UTF-16", "\xff\xfet\x00i\x00m\x00e\x00", "week.csv line 1: the file is UTF-16 text: save it as UTF-8"},
		{"unknown column", "time,pm2_5\n", "week.csv line 1, column pm2_5: is not known; map it or ignore it; known are time, elapsed_s, sensor, flags, pm1_ug_m3, pm2_5_ug_m3, "},
		{"unknown odd column", "time,\"pm,2.5\x1b[2J\"\n", `column "pm,2.5\x1b[2J": is not known`},
		{"unit of another quantity", "time,rh_mg_m3\n", "column rh_mg_m3: is not known"},
		{"no header", "2025-03-10T08:00:00Z,1\n", "column 2025-03-10T08:00:00Z: is not known"},
		{"column without header", "time,pm1_ug_m3,\n", "a column has no header"},
		{"same column twice", "time,pm1_ug_m3,pm1_ug_m3\n", "column pm1_ug_m3: stands twice in the header"},
		{"same channel twice", "time,pm1_ug_m3,pm1_mg_m3\n", "column pm1_mg_m3: says the same as column pm1_ug_m3"},
		{"two times", "time,elapsed_s,pm1_ug_m3\n", "column elapsed_s: says the same as column time"},
		{"no time column", "sensor,pm1_ug_m3\n", "the header has no column time or elapsed_s"},
		{"no values", "time,sensor\n", "the header has no column with values"},
		{"elapsed without start", "elapsed_s,pm1_ug_m3\n", "column elapsed_s counts from a start that was not given"},
	} {
		t.Run(test.name, func(t *testing.T) {
			list, err := readAll(strings.NewReader(test.text), csvfile.Options{Sensor: "bench"})
			require.ErrorContains(t, err, test.want)
			var row *csvfile.RowError
			require.ErrorAs(t, err, &row)
			require.Equal(t, "week.csv", row.File)
			if strings.HasPrefix(test.text, head) {
				require.Len(t, list, 1, "the row before the bad one comes first")
			} else {
				require.Empty(t, list)
			}
		})
	}
}

func TestReadRefusesByOptions(t *testing.T) {
	for _, test := range []struct {
		name, text string
		o          csvfile.Options
		want       string
	}{
		{"no sensor", "time,pm1_ug_m3\n", csvfile.Options{}, "the header has no column sensor, and no name was given"},
		{"empty sensor", "time,sensor,pm1_ug_m3\n2025-03-10T08:00:00Z,,1\n", csvfile.Options{}, "week.csv line 2, column sensor: is empty"},
		{"mapped to nothing known", "time,x\n", csvfile.Options{Sensor: "b", Columns: map[string]string{"x": "pm2_5"}}, "column x: is mapped to pm2_5, which is no column; known are"},
		{"mapped column not there", "time,pm1_ug_m3\n", csvfile.Options{Sensor: "b", Columns: map[string]string{"x": "pm10_ug_m3"}}, "column x: is mapped, but the header has no such column"},
		{"mapped to what is there", "time,pm1_ug_m3,x\n", csvfile.Options{Sensor: "b", Columns: map[string]string{"x": "pm1_ug_m3"}}, "column x: says the same as column pm1_ug_m3"},
		{"before the start", "elapsed_s,pm1_ug_m3\n-1,1\n", csvfile.Options{Sensor: "b", Start: start}, `"-1" lies before the start`},
		{"endless", "elapsed_s,pm1_ug_m3\n1e10,1\n", csvfile.Options{Sensor: "b", Start: start}, `"1e10" is too large`},
		{"elapsed empty", "elapsed_s,pm1_ug_m3\n,1\n", csvfile.Options{Sensor: "b", Start: start}, "column elapsed_s: is empty"},
		{"elapsed backwards", "elapsed_s,pm1_ug_m3\n2,1\n1,1\n", csvfile.Options{Sensor: "b", Start: start}, `line 3, column elapsed_s: "1" goes back behind`},
	} {
		_, err := readAll(strings.NewReader(test.text), test.o)
		require.ErrorContains(t, err, test.want, test.name)
	}
}

func TestTimeBackwardsIsASentinel(t *testing.T) {
	_, err := readAll(strings.NewReader("time,pm1_ug_m3\n2025-03-10T08:00:00Z,1\n2025-03-10T08:00:00Z,1\n"), csvfile.Options{Sensor: "b"})
	require.ErrorIs(t, err, dust.ErrTimeBackwards)
	_, err = readAll(strings.NewReader("time,pm1_ug_m3\nx,1\n"), csvfile.Options{Sensor: "b"})
	require.NotErrorIs(t, err, dust.ErrTimeBackwards)
}

func TestReaderFails(t *testing.T) {
	broken := errors.New("cable pulled")
	text := "time,pm1_ug_m3\n2025-03-10T08:00:00Z,1\n"
	list, err := readAll(io.MultiReader(strings.NewReader(text), iotest.ErrReader(broken)), csvfile.Options{Sensor: "b"})
	require.ErrorIs(t, err, broken)
	require.ErrorContains(t, err, "read week.csv")
	require.Len(t, list, 1)
	_, err = readAll(iotest.ErrReader(broken), csvfile.Options{Sensor: "b"})
	require.ErrorIs(t, err, broken)
}

func TestStopEarly(t *testing.T) {
	n := 0
	for range csvfile.Read(strings.NewReader("elapsed_s,pm1_ug_m3\n1,1\n2,1\nx,1\n"), "week.csv", csvfile.Options{Sensor: "b", Start: start}) {
		n++
		break
	}
	require.Equal(t, 1, n)
}

func seq(list []dust.Reading, err error) iter.Seq2[dust.Reading, error] {
	return func(yield func(dust.Reading, error) bool) {
		for _, r := range list {
			if !yield(r, nil) {
				return
			}
		}
		if err != nil {
			yield(dust.Reading{}, err)
		}
	}
}

func TestWrite(t *testing.T) {
	list := []dust.Reading{
		reading("bench", 0, dust.Humid|dust.Saturated, map[dust.Channel]float64{dust.PM25: 1e6, dust.Humidity: 80}),
		reading(`b"bb, x`, 1500*time.Millisecond, 0, map[dust.Channel]float64{dust.PM1: 5}),
	}
	var b strings.Builder
	require.NoError(t, csvfile.Write(&b, seq(list, nil), dust.PM25, dust.Humidity))
	require.Equal(t, `time,sensor,flags,pm2_5_ug_m3,rh_percent
2025-03-10T08:00:00.000Z,bench,"saturated,humid",1000000,80
2025-03-10T08:00:01.500Z,"b""bb, x",,,
`, b.String())
}

func TestWriteFails(t *testing.T) {
	broken := errors.New("disk full")
	list := make([]dust.Reading, 1000)
	require.ErrorIs(t, csvfile.Write(io.Discard, seq(list, broken)), broken)
	require.ErrorIs(t, csvfile.Write(failing{broken}, seq(list, nil)), broken)
	require.ErrorIs(t, csvfile.Write(failing{broken}, seq(nil, nil)), broken)
}

type failing struct{ err error }

func (f failing) Write([]byte) (int, error) { return 0, f.err }

func TestRoundTrip(t *testing.T) {
	var list []dust.Reading
	for i, x := range []float64{0, 0.1, 1.0 / 3, 1e-300, 5e-324, 1e9, 1e9 - 1, 65535} {
		r := reading("Säge, \"µ\"\n木", time.Duration(i)*time.Millisecond, dust.Flags(i), nil)
		for c := range dust.ChannelCount {
			if int(c)%3 != i%3 {
				r.Values.Set(c, x)
			}
		}
		list = append(list, r)
	}
	var b strings.Builder
	require.NoError(t, csvfile.Write(&b, seq(list, nil)))
	got, err := readAll(strings.NewReader(b.String()), csvfile.Options{})
	require.NoError(t, err)
	require.Equal(t, list, got)
}

// FuzzRead checks that nothing makes Read panic or repeat itself, and that what
// it accepts is written and read again as the same.
func FuzzRead(f *testing.F) {
	for _, seed := range []string{
		"time,pm2_5_ug_m3\n2025-03-10T08:00:00Z,12.5\n",
		"\ufefftime,sensor,flags,pm2_5_mg_m3\r\n2025-03-10T08:00:00+01:00,\"a\"\"b\",\"humid,stuck\",-1e-3\r\n",
		"elapsed_s,n0_3_per_0_1l,x,mapped\n0,1,,3\n1.5,,z,\n",
		"time;pm2_5_ug_m3\n", "\xff\xfe", "time,pm1_ug_m3\n\"", "",
	} {
		f.Add([]byte(seed))
	}
	o := csvfile.Options{Sensor: "bench", Start: start, Columns: map[string]string{}, Ignore: []string{"x"}}
	mapped := o
	mapped.Columns = map[string]string{"mapped": "pm10_ug_m3"}
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, o := range []csvfile.Options{o, mapped} {
			var list []dust.Reading
			var failed error
			for r, err := range csvfile.Read(strings.NewReader(string(text)), "week.csv", o) {
				require.NoError(t, failed, "nothing may follow an error")
				if failed = err; err == nil {
					list = append(list, r)
				}
			}
			if failed != nil {
				var row *csvfile.RowError
				require.ErrorAs(t, failed, &row)
				require.Positive(t, row.Line)
			}
			var b strings.Builder
			require.NoError(t, csvfile.Write(&b, seq(list, nil)))
			again, err := readAll(strings.NewReader(b.String()), csvfile.Options{})
			require.NoError(t, err)
			require.Equal(t, list, again)
		}
	})
}

func BenchmarkRead(b *testing.B) {
	var list []dust.Reading
	for i := range 10_000 {
		list = append(list, reading("bench", time.Duration(i)*time.Second, 0, map[dust.Channel]float64{dust.PM1: 1.5, dust.PM25: float64(i), dust.PM10: 7, dust.N03: 1234.56}))
	}
	var text strings.Builder
	require.NoError(b, csvfile.Write(&text, seq(list, nil), dust.PM1, dust.PM25, dust.PM10, dust.N03))
	for b.Loop() {
		n := 0
		for _, err := range csvfile.Read(strings.NewReader(text.String()), "week.csv", csvfile.Options{}) {
			require.NoError(b, err)
			n++
		}
		require.Equal(b, len(list), n)
	}
	b.ReportMetric(float64(len(list)*b.N)/b.Elapsed().Seconds(), "rows/s")
}
