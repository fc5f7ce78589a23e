package exposure_test

import (
	"errors"
	"fmt"
	"time"

	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

func ExampleAssess() {
	limit, err := exposure.ChooseLimit("eu-cmrd")
	if err != nil {
		fmt.Println(err)
		return
	}
	morning := time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)
	collar := dust.NewSeries(dust.Sensor{Name: "collar", Position: dust.BreathingZone}, dust.PM25)
	for i := range 8 * 3600 {
		// 50 µg/m³ all day but for an hour at 800 from nine o'clock.
		value := 50.0
		if i/3600 == 1 {
			value = 800
		}
		if err := collar.Append(morning.Add(time.Duration(i)*time.Second), value, 0); err != nil {
			fmt.Println(err)
			return
		}
	}
	result, err := exposure.Assess(exposure.Input{
		Shifts:        []dust.Shift{{Date: "2026-03-02", Start: morning, End: morning.Add(8 * time.Hour)}},
		Series:        []*dust.Series{collar},
		Tasks:         []dust.Task{{Name: "routing", Start: morning.Add(time.Hour), Stop: morning.Add(2 * time.Hour)}},
		Limit:         limit,
		DeclaredShift: true,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	shift := result.Shifts[0]
	fmt.Printf("8-h TWA %.3f mg/m³, highest 15 min %.3f mg/m³, %s\n", *shift.TWA8h, *shift.Max15min, shift.Finding)
	for _, d := range shift.TaskDoseShares {
		fmt.Printf("%q: %.0f min, %.0f %% of the dose\n", d.Task, d.Minutes, 100*d.Share)
	}
	fmt.Println("respirator while routing:", result.Masks[0].State)
	// Output:
	// 8-h TWA 0.144 mg/m³, highest 15 min 0.800 mg/m³, cannot tell
	// "routing": 60 min, 70 % of the dose
	// "": 420 min, 30 % of the dose
	// respirator while routing: cannot tell
}

func ExampleChooseLimit() {
	limit, _ := exposure.ChooseLimit("us-osha-pnor-total")
	fmt.Println(limit.MgM3, limit.Fraction, limit.Averaging)
	_, err := exposure.ChooseLimit("us-osha-pnor")
	fmt.Println(errors.Is(err, dust.ErrUnknownLimit))
	// Output:
	// 15 total 8 h
	// true
}
