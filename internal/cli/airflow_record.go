package cli

import (
	"fmt"

	"dustlog/internal/airflow"
	"dustlog/internal/config"
)

// collectorRecords turns the tables of the configuration into records.
func collectorRecords(cfg config.Config) ([]airflow.Collector, error) {
	var list []airflow.Collector
	for _, c := range cfg.Collectors {
		r := airflow.Collector{
			Setup: c.Setup, Arrangement: c.BlowersArranged, Separator: c.Separator, Gates: c.OpenGates,
			Room: c.Room, Altitude: c.Altitude, Temperature: c.Temperature,
		}
		for _, b := range c.Blowers {
			blower := airflow.Blower{Name: b.Name, RatedFlow: b.RatedFlow, RatedCurrent: b.RatedCurrent}
			for _, p := range b.Curve {
				blower.Curve = append(blower.Curve, airflow.FanPoint{Flow: p.Flow, Static: p.Static})
			}
			r.Blowers = append(r.Blowers, blower)
		}
		for _, d := range c.Ducts {
			r.Ducts = append(r.Ducts, airflow.DuctRecord(d))
		}
		if h := c.Hood; h != nil {
			hood := airflow.HoodRecord(*h)
			r.Hood = &hood
		}
		if f := c.Filter; f != nil {
			cleaned, err := f.CleanedAt(cfg.Shop.Zone)
			if err != nil {
				return nil, fmt.Errorf("%w %s: [collector.%q]: %w", config.ErrFile, cfg.Path, c.Setup, err)
			}
			r.Filter = airflow.FilterRecord{Class: f.Class, Area: f.Area, Hours: f.Hours, Limit: f.PressureLimit, Cleaned: cleaned, BeforeBlower: f.BeforeBlower}
		}
		if err := r.Check(); err != nil {
			return nil, fmt.Errorf("%w %s: [collector.%q]: %w", config.ErrFile, cfg.Path, c.Setup, err)
		}
		list = append(list, r)
	}
	return list, nil
}
