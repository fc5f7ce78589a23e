package calibrate

import (
	"fmt"
	"slices"
	"strings"

	"dustlog/internal/dust"
)

// Choice says which filter samples make a factor. Empty fields are open.
type Choice struct {
	Samples                  []int64 // by number; none: all that fit
	Material, Task, Fraction string
}

// kin is what the samples of one factor have in common.
type kin struct{ fraction, metric, material, task string }

func kinOf(c dust.Calibration) kin {
	lower := func(s string) string { return strings.ToLower(strings.TrimSpace(s)) }
	return kin{lower(c.Fraction), c.Metric, lower(c.Material), lower(c.Task)}
}

func (k kin) String() string {
	parts := []string{k.fraction + " beside " + k.metric, "any material", "any task"}
	if k.material != "" {
		parts[1] = k.material
	}
	if k.task != "" {
		parts[2] = k.task
	}
	return strings.Join(parts, ", ")
}

// Choose finds the filter samples of a sensor that make one factor. Without
// numbers it takes all that are in use and fit; if they are of several dusts, the
// error, which wraps ErrMixed, lists them. It wraps ErrTooFew if none fits, and
// dust.ErrUnknownCalibration if a number is not that of a usable sample.
func Choose(records []dust.Calibration, sensor string, choice Choice) ([]dust.Calibration, error) {
	var found []dust.Calibration
	for _, c := range records {
		if c.Kind == dust.FilterCalibration && c.Sensor == sensor && c.InUse() && choice.fits(c) {
			found = append(found, c)
		}
	}
	for _, id := range choice.Samples {
		if !slices.ContainsFunc(found, func(c dust.Calibration) bool { return c.ID == id }) {
			return nil, fmt.Errorf("%w: %d is no filter sample of sensor %q that is in use and fits", dust.ErrUnknownCalibration, id, sensor)
		}
	}
	if len(found) == 0 {
		return nil, fmt.Errorf("%w: no filter sample of sensor %q fits", ErrTooFew, sensor)
	}
	var kinds []kin
	members := map[kin][]string{}
	for _, c := range found {
		k := kinOf(c)
		if len(members[k]) == 0 {
			kinds = append(kinds, k)
		}
		members[k] = append(members[k], fmt.Sprint(c.ID))
	}
	if len(kinds) == 1 {
		return found, nil
	}
	var lines []string
	for _, k := range kinds {
		lines = append(lines, fmt.Sprintf("%s (%s)", k, strings.Join(members[k], ", ")))
	}
	return nil, fmt.Errorf("%w: a factor holds for one dust; there are %s", ErrMixed, strings.Join(lines, "; "))
}

func (choice Choice) fits(c dust.Calibration) bool {
	one := func(wanted, is string) bool { return wanted == "" || SameDust(wanted, is) }
	return (len(choice.Samples) == 0 || slices.Contains(choice.Samples, c.ID)) &&
		one(choice.Material, c.Material) && one(choice.Task, c.Task) && one(choice.Fraction, c.Fraction)
}

// FromSamples fits the factor of chosen samples.
func FromSamples(samples []dust.Calibration) (Fit, error) {
	var list []Pairable
	for _, c := range samples {
		s, err := Read[FilterSample](c, dust.FilterCalibration)
		if err != nil {
			return Fit{}, err
		}
		list = append(list, Pairable{c.ID, s})
	}
	return FitFactor(list)
}
