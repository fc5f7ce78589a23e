package influx_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store/influx"
	"dustlog/internal/store/storetest"
)

// TestFarServer: over a network everything is compressed both ways.
func TestFarServer(t *testing.T) {
	s := open(t)
	s.Far()
	want := storetest.Readings("bench", start, 2000)
	added, err := s.Append(t.Context(), want)
	require.NoError(t, err)
	require.Equal(t, len(want), added)
	storetest.Same(t, want, storetest.All(t, s, dust.Query{}))
	n := 0
	for d, err := range s.Days(t.Context(), "bench", dust.PM25, time.Time{}, time.Time{}) {
		require.NoError(t, err)
		n += len(d.MS)
	}
	require.Equal(t, len(want), n)
}

// TestDays: UTC days, also of a sensor that went over midnight and that slept.
func TestDays(t *testing.T) {
	s := open(t)
	midnight := start.Truncate(24 * time.Hour).Add(24 * time.Hour)
	list := storetest.Readings("bench", midnight.Add(-3*time.Second), 5)
	list = append(list, storetest.Readings("bench", midnight.AddDate(0, 0, 9), 2)...)
	list[1].Flags = dust.Humid | dust.WarmUp
	list[4].Values.Unset(dust.PM25)
	_, err := s.Append(t.Context(), list)
	require.NoError(t, err)
	var days []influx.Day
	for d, err := range s.Days(t.Context(), "bench", dust.PM25, time.Time{}, time.Time{}) {
		require.NoError(t, err)
		days = append(days, d)
	}
	ms := func(i ...int) (all []int64) {
		for _, k := range i {
			all = append(all, list[k].Time.UnixMilli())
		}
		return all
	}
	require.Equal(t, []influx.Day{
		{MS: ms(0, 1, 2), Values: []float64{1, 1.1, 1.2}, Flags: []dust.Flags{0, dust.Humid | dust.WarmUp, 0}},
		{MS: ms(3), Values: []float64{1.3}, Flags: []dust.Flags{0}},
		{MS: ms(5, 6), Values: []float64{1, 1.1}, Flags: []dust.Flags{0, 0}},
	}, days)
	for d, err := range s.Days(t.Context(), "bench", dust.PM25, list[1].Time, list[3].Time) {
		require.NoError(t, err)
		require.Equal(t, ms(1, 2), d.MS, "the end is left out")
	}
	for range s.Days(t.Context(), "bench", dust.Formaldehyde, time.Time{}, time.Time{}) {
		require.Fail(t, "a channel never sent")
	}
}

// Answers as the manuals of 1.8 and 2 show them: tables of several columns in any
// order, each under a row of names; a mistake is a table of its own.
func TestAnswersOfTimesAndValues(t *testing.T) {
	ms, values, err := influx.ReadColumn(strings.NewReader(",result,table,_time,_value\r\n" +
		",v,0,1970-01-01T00:00:02Z,2.5\r\n,v,0,1970-01-01T00:00:03.004Z,1e-3\r\n\r\n" +
		",result,table,_value,_time\r\n,v,1,7,1970-01-01T00:00:01.5Z\r\n\r\n"))
	require.NoError(t, err)
	require.Equal(t, []int64{1500, 2000, 3004}, ms)
	require.Equal(t, []float64{7, 2.5, 0.001}, values)
	ms, _, err = influx.ReadColumn(strings.NewReader("\r\n"))
	require.NoError(t, err)
	require.Empty(t, ms)
	for text, want := range map[string]string{
		"error,reference\r\n,\r\nFailed to parse query,897\r\n":                                     "Failed to parse query",
		",result,table,_time,_value\r\n,v,0,yesterday,1\r\n":                                        "yesterday",
		",result,table,_time,_value\r\n,v,0,1970-01-01T00:00:02Z,much\r\n":                          "not a float",
		",result,table,_time,_value\r\n,v,0,1970-01-01T00:00:02Z,2\r\n\r\nerror,reference\r\nlate,": "late",
		",result,table,_time,_value\r\n,v,0,1970-01-01T00:00:02Z\r\n":                               "not a float",
	} {
		_, _, err := influx.ReadColumn(strings.NewReader(text))
		require.ErrorContains(t, err, want)
	}
}
