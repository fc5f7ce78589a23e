package exposure

import (
	"encoding/json"
	"math"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"dustlog/internal/dust"
)

// Whatever the readings, flags, hours, diary and factor: no panic, JSON can be
// written, every missing number has a reason, and shares add up to 1.
func FuzzAssess(f *testing.F) {
	f.Add([]byte{1, 20, 0, 200, 90, 3, 9, 1, 255}, int64(0), int64(480), 3.45, 20.0, uint8(0))
	f.Add([]byte{}, int64(5), int64(5), 0.0, 0.0, uint8(7))
	f.Add([]byte{0, 0, 0, 255, 255, 255}, int64(-100), int64(1<<40), math.Inf(1), math.NaN(), uint8(77))
	usable := slices.DeleteFunc(Limits(), func(l Limit) bool { return l.Assessable() != nil })
	f.Fuzz(func(t *testing.T, data []byte, from, to int64, factor, spread float64, choice uint8) {
		s := dust.NewSeries(dust.Sensor{Name: "collar", Position: dust.Positions()[int(choice)%len(dust.Positions())]}, dust.Channel(choice%7))
		now := start
		for chunk := range slices.Chunk(data, 3) {
			if len(chunk) < 3 {
				break
			}
			now = now.Add(time.Duration(1+int(chunk[0])) * 700 * time.Millisecond)
			value := math.Exp(float64(chunk[1])*6 - 600)
			if chunk[1]%17 == 0 {
				value = math.Log(float64(chunk[1]) - 100) // NaN now and then
			}
			require.NoError(t, s.Append(now, value, dust.Flags(chunk[2])))
		}
		day := time.Duration(1+len(data)) * time.Second
		r, err := Assess(Input{
			Shifts: []dust.Shift{{Start: start.Add(time.Duration(from) * time.Minute), End: start.Add(time.Duration(to) * time.Minute)}, {Start: start, End: start.Add(day)}},
			Series: []*dust.Series{s}, Limit: usable[int(choice)%len(usable)],
			Tasks:   []dust.Task{{Name: "a", Start: start, Stop: start.Add(day / 2)}, {Name: "b", Start: start.Add(day / 3)}, {Start: now}},
			Factors: map[string][]Factor{"collar": {{Factor: factor, SpreadPercent: spread, Fraction: Fractions()[int(choice)%7]}}},
		})
		if err != nil {
			return
		}
		_, err = json.Marshal(r)
		require.NoError(t, err)
		for _, shift := range r.Shifts {
			require.NotEmpty(t, shift.Why)
			sum := 0.0
			for _, d := range shift.TaskDoseShares {
				sum += d.Share
			}
			if len(shift.TaskDoseShares) > 0 {
				require.InDelta(t, 1, sum, 1e-9)
			}
		}
		for _, task := range r.Tasks {
			require.True(t, task.DoseMgMinM3 != nil || !task.Why.IsZero())
		}
		for _, mask := range r.Masks {
			require.NotEmpty(t, mask.Why)
		}
	})
}
