// Package study answers questions from what was recorded: it fetches readings
// and diary, chooses sensors and channels by the user's settings, and hands
// them to the statistics in exposure and compare. Terminal, report and page all
// ask here, so they cannot disagree.
package study

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"dustlog/internal/airflow"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
)

// Records is where readings and diary are kept.
type Records interface {
	Sensors(ctx context.Context) ([]dust.Sensor, error)
	Series(ctx context.Context, sensor dust.Sensor, channels []dust.Channel, from, to time.Time) (map[dust.Channel]*dust.Series, error)
	Tasks(ctx context.Context, from, to time.Time) ([]dust.Task, error)
	SetupPeriods(ctx context.Context) ([]dust.SetupPeriod, error)
	Calibrations(ctx context.Context) ([]dust.Calibration, error)
}

// Settings are the user's choices.
type Settings struct {
	Zone           *time.Location
	Hours          *dust.ShiftHours // nil: shifts are taken from the readings
	Limit          exposure.Limit
	Also           []exposure.Limit // judged beside Limit
	Materials      map[string]string
	LongShifts     exposure.ShiftAdjustment
	Atmospheric    bool                         // use the atmospheric mass field of sensors that send two
	Factors        map[string][]exposure.Factor // beside those on record
	Kappa          map[string]float64           // by sensor: how strongly its dust takes up water
	SmallestChange float64                      // percent
	Collectors     []airflow.Collector          // records of the dust collector, by setup
}

// Window is the stretch of time asked about; zero ends are open.
type Window struct{ From, To time.Time }

// Study asks one set of records under one set of settings.
type Study struct {
	records  Records
	settings Settings
	sensors  []dust.Sensor
	setups   []dust.SetupPeriod

	calibrations []dust.Calibration
	factors      map[string][]exposure.Factor // from the settings and on record
}

// Open reads the lists of sensors, setups and calibrations. It returns
// dust.ErrNoReadings if no sensor was ever recorded.
func Open(ctx context.Context, records Records, settings Settings) (*Study, error) {
	sensors, err := records.Sensors(ctx)
	if err != nil {
		return nil, err
	}
	if len(sensors) == 0 {
		return nil, fmt.Errorf("the store is empty: %w yet; start with `dustlog collect` or `dustlog import`", dust.ErrNoReadings)
	}
	setups, err := records.SetupPeriods(ctx)
	if err != nil {
		return nil, err
	}
	s := &Study{records: records, settings: settings, sensors: sensors, setups: setups}
	if err := s.loadCalibrations(ctx); err != nil {
		return nil, err
	}
	return s, nil
}

// Sensors lists the sensors that readings came from.
func (s *Study) Sensors() []dust.Sensor { return s.sensors }

// Limit is the exposure limit in use.
func (s *Study) Limit() exposure.Limit { return s.settings.Limit }

// Sensor finds a sensor by name. The error lists those there are.
func (s *Study) Sensor(name string) (dust.Sensor, error) {
	var names []string
	for _, sensor := range s.sensors {
		if sensor.Name == name {
			return sensor, nil
		}
		names = append(names, sensor.Name)
	}
	return dust.Sensor{}, fmt.Errorf("%w %q: there are %s", dust.ErrUnknownSensor, name, strings.Join(names, ", "))
}

// at returns the sensors at a position.
func (s *Study) at(p dust.Position) []dust.Sensor {
	var found []dust.Sensor
	for _, sensor := range s.sensors {
		if sensor.Position == p {
			found = append(found, sensor)
		}
	}
	return found
}

// Series returns one channel of a sensor, by the mass scale that the settings
// ask for. A sensor that never sent it gives an empty series.
func (s *Study) Series(ctx context.Context, sensor dust.Sensor, c dust.Channel, w Window) (*dust.Series, error) {
	all, err := s.series(ctx, sensor, []dust.Channel{c}, w)
	if err != nil {
		return nil, err
	}
	if all[c] == nil {
		return dust.NewSeries(sensor, c), nil
	}
	return all[c], nil
}

var atmospheric = map[dust.Channel]dust.Channel{
	dust.PM1: dust.PM1Atm, dust.PM25: dust.PM25Atm, dust.PM10: dust.PM10Atm,
}

// series fetches several channels; those with no reading are absent. With the
// atmospheric scale, a mass channel holds that field where the sensor sends it.
func (s *Study) series(ctx context.Context, sensor dust.Sensor, channels []dust.Channel, w Window) (map[dust.Channel]*dust.Series, error) {
	ask := slices.Clone(channels)
	if s.settings.Atmospheric {
		for _, c := range channels {
			if second, ok := atmospheric[c]; ok {
				ask = append(ask, second)
			}
		}
	}
	got, err := s.records.Series(ctx, sensor, ask, w.From, w.To)
	if err != nil {
		return nil, err
	}
	for _, c := range channels {
		if other, has := atmospheric[c]; s.settings.Atmospheric && has && got[other] != nil && got[other].Len() > 0 {
			got[c] = got[other]
		}
		if got[c] == nil || got[c].Len() == 0 {
			delete(got, c)
			continue
		}
		got[c].FitHold()
	}
	return got, nil
}

// SetupPeriods lists when each setup was in use.
func (s *Study) SetupPeriods() []dust.SetupPeriod { return s.setups }

// SetupsInOrder names the setups in the order of their first use.
func (s *Study) SetupsInOrder() []string {
	var names []string
	for _, p := range s.setups {
		if !slices.Contains(names, p.Setup) {
			names = append(names, p.Setup)
		}
	}
	return names
}
