package export_test

import (
	"bytes"
	"errors"
	"iter"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/csvfile"
	"dustlog/internal/dust"
	"dustlog/internal/export"
	"dustlog/internal/store/sealed"
	"dustlog/internal/store/storetest"
)

var start = time.Date(2026, time.March, 2, 23, 59, 30, 0, time.UTC)

func seq(list []dust.Reading) iter.Seq2[dust.Reading, error] {
	return func(yield func(dust.Reading, error) bool) {
		for _, r := range list {
			if !yield(r, nil) {
				return
			}
		}
	}
}

func sample() []dust.Reading {
	var list []dust.Reading
	a, b := storetest.Readings("bench", start, 60), storetest.Readings("../room, \"2\"", start, 60)
	for i := range a {
		list = append(list, b[i], a[i]) // by name within a moment
	}
	list[3].Flags = dust.Humid | dust.Saturated
	list[4].Values.Unset(dust.PM25)
	list[5].Values.Set(dust.Temperature, -3.25)
	return list
}

func TestCSVRoundTrip(t *testing.T) {
	var b bytes.Buffer
	n, err := export.Write(&b, export.CSV, "", seq(sample()))
	require.NoError(t, err)
	require.Equal(t, int64(120), n)
	var back []dust.Reading
	for r, err := range csvfile.Read(&b, "export.csv", csvfile.Options{}) {
		require.NoError(t, err)
		back = append(back, r)
	}
	storetest.Same(t, sample(), back)
}

// TestLineProtocol: the text is written out by the rules of InfluxDB's line
// protocol reference: measurement,tags fields timestamp; in tags, commas, equals
// signs and spaces are escaped by a backslash.
func TestLineProtocol(t *testing.T) {
	r := dust.Reading{Time: time.UnixMilli(1772438400123), Sensor: "bench, left=1", Flags: dust.Saturated}
	r.Values.Set(dust.PM25, 12.5)
	r.Values.Set(dust.Humidity, 40)
	var b bytes.Buffer
	_, err := export.Write(&b, export.LineProtocol, "North shop", seq([]dust.Reading{r}))
	require.NoError(t, err)
	require.Equal(t, `dust_reading,sensor=bench\,\ left\=1,shop=North\ shop flags=2,pm2_5_ug_m3=12.5,rh_percent=40 1772438400123`+"\n", b.String())
}

func TestParquetByDay(t *testing.T) {
	dir := t.TempDir()
	n, files, err := export.WriteDays(filepath.Join(dir, "out"), seq(sample()))
	require.NoError(t, err)
	require.Equal(t, int64(120), n)
	require.Equal(t, 4, files, "two sensors, either side of midnight")
	found, err := filepath.Glob(filepath.Join(dir, "out", "*", "*.parquet"))
	require.NoError(t, err)
	require.Len(t, found, 4, "nothing outside the folder")
	var back []dust.Reading
	for _, path := range found {
		f, err := sealed.Open(path)
		require.NoError(t, err)
		var table sealed.Table
		require.NoError(t, f.Read(nil, &table))
		for i := range table.Len() {
			back = append(back, table.Reading(i, f.Sensor))
		}
		require.NoError(t, f.Close())
	}
	require.ElementsMatch(t, sample(), back)
}

func TestErrorsOfTheStoreEndIt(t *testing.T) {
	broken := errors.New("broken")
	for _, format := range []export.Format{export.CSV, export.LineProtocol} {
		_, err := export.Write(&strings.Builder{}, format, "", func(yield func(dust.Reading, error) bool) { yield(dust.Reading{}, broken) })
		require.ErrorIs(t, err, broken)
	}
	_, err := export.ParseFormat("xls")
	require.ErrorContains(t, err, "csv, lineprotocol or parquet")
}
