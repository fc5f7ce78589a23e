package storetest

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
	"dustlog/internal/store"
)

// Calibrations are some to try a store with: every field set, hardly any, awkward
// text, and one that is retired. Their numbers are 1, 2, …
func Calibrations() []dust.Calibration {
	const awkward = "Säge, \"Süd\" = 50%\n$(x)\\"
	at := func(h int) time.Time { return start.Add(time.Duration(h)*time.Hour + 7*time.Millisecond) }
	return []dust.Calibration{
		{ID: 1, Kind: dust.ZeroCalibration, Sensor: "bench", Made: at(2), From: at(0), To: at(1), Metric: "pm2_5",
			Numbers: `{"mean_ug_m3":0.1,"floor_ug_m3":1.2345678901234567}`},
		{ID: 2, Kind: dust.FactorCalibration, Sensor: awkward, Made: at(5), From: at(0), To: at(4), Metric: "pm2_5", Fraction: "respirable",
			Material: awkward, Task: awkward, Season: "winter", Valid: at(-24), Expires: at(24 * 365), Numbers: `{"a":"\"µ\\n","b":[1,2]}`, Note: awkward},
		{ID: 3, Kind: dust.FilterCalibration, Sensor: "bench", Made: at(2), From: at(0), To: at(0), Numbers: `{}`,
			Retired: at(9), RetiredWhy: "the pump " + awkward},
		{ID: 4, Kind: dust.SideBySide, Sensor: "bench", Made: at(2), From: at(0), To: at(1), Metric: "pm10", Numbers: `{"others":[]}`},
	}
}

// RunCalibrations checks that a back end gives calibrations back as they are. open
// makes a store that holds those given.
func RunCalibrations(t *testing.T, open func(t *testing.T, held []dust.Calibration) store.Calibrations) {
	for _, test := range []struct {
		name string
		held []dust.Calibration
	}{
		{"None", nil},
		{"One", Calibrations()[:1]},
		{"AllFields", Calibrations()},
	} {
		t.Run(test.name, func(t *testing.T) {
			got, err := open(t, test.held).Calibrations(t.Context())
			require.NoError(t, err)
			require.Len(t, got, len(test.held))
			for i := range got {
				require.Equal(t, test.held[i], got[i])
			}
		})
	}
}
