package cli

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	"dustlog/internal/config"
	"dustlog/internal/dust"
	"dustlog/internal/exposure"
	"dustlog/internal/store/sqlite"
	"dustlog/internal/study"
	"dustlog/internal/words"
)

// writable opens the store for writing and makes it if it is not there.
func (a *app) writable(ctx context.Context, cfg config.Config) (*sqlite.Store, error) {
	if err := localOnly(cfg); err != nil {
		return nil, err
	}
	return sqlite.Open(ctx, cfg.Store, sqlite.Options{Create: true})
}

// editable opens a store for writing that must exist.
func (a *app) editable(ctx context.Context, cfg config.Config) (*sqlite.Store, error) {
	if err := localOnly(cfg); err != nil {
		return nil, err
	}
	return sqlite.Open(ctx, cfg.Store, sqlite.Options{})
}

// readable opens the shop's own store, which must exist; see records.
func (a *app) readable(ctx context.Context, cfg config.Config) (*sqlite.Store, error) {
	if err := localOnly(cfg); err != nil {
		return nil, err
	}
	return sqlite.Open(ctx, cfg.Store, sqlite.Options{ReadOnly: true})
}

// openStudy opens the store and a study of it by the user's settings. The
// caller closes the store.
func (a *app) openStudy(ctx context.Context, cfg config.Config) (*study.Study, records, error) {
	settings, err := studySettings(cfg)
	if err != nil {
		return nil, nil, err
	}
	records, err := a.records(ctx, cfg)
	if err != nil {
		return nil, nil, err
	}
	s, err := study.Open(ctx, records, settings)
	if err != nil {
		records.Close()
		return nil, nil, err
	}
	return s, records, nil
}

// inStudy loads the settings with a command's own flags on top, opens the study,
// and runs ask on the window asked about.
func (a *app) inStudy(cmd *cobra.Command, flags map[string]string, win windowFlags, ask func(*study.Study, config.Config, study.Window) error) error {
	cfg, err := a.load(given(flags))
	if err != nil {
		return err
	}
	w, err := win.window(cmd, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return err
	}
	s, records, err := a.openStudy(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	return ask(s, cfg, w)
}

// inRecords opens the records, wherever they are, and lets ask have them.
func (a *app) inRecords(cmd *cobra.Command, win windowFlags, ask func(records, config.Config, study.Window) error) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	w, err := win.window(cmd, a.Now(), cfg.Shop.Zone)
	if err != nil {
		return err
	}
	records, err := a.records(cmd.Context(), cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	return ask(records, cfg, w)
}

// exposureOf assesses the window. Where the user has chosen no limit, it says so.
func exposureOf(ctx context.Context, s *study.Study, cfg config.Config, metric dust.Channel, w study.Window) (exposure.Result, error) {
	result, err := s.Exposure(ctx, metric, w)
	if err == nil && cfg.Origin("shop.limit") == "default" {
		result.Warnings = append(result.Warnings, noLimitChosen(cfg))
	}
	return result, err
}

func noLimitChosen(cfg config.Config) words.Text {
	return words.Of("you have chosen no limit, so %s is used, a recommendation: set shop.limit to the one that holds where you work (`dustlog limits`)", cfg.Shop.Limit)
}

func studySettings(cfg config.Config) (study.Settings, error) {
	limit, also, err := chosenLimits(cfg)
	if err != nil {
		return study.Settings{}, err
	}
	longShifts, err := exposure.ParseShiftAdjustment(cfg.Shop.LongShifts)
	if err != nil {
		return study.Settings{}, fmt.Errorf("%w: shop.long_shifts (from %s): %w", config.ErrSetting, cfg.Origin("shop.long_shifts"), err)
	}
	s := study.Settings{
		Zone: cfg.Shop.Zone, Limit: limit, Also: also, Materials: cfg.Materials, LongShifts: longShifts,
		Atmospheric:    cfg.Shop.MassScale == config.Atmospheric,
		SmallestChange: cfg.Shop.SmallestChange,
		Factors:        map[string][]exposure.Factor{}, Kappa: map[string]float64{},
	}
	if s.Collectors, err = collectorRecords(cfg); err != nil {
		return s, err
	}
	if cfg.Shop.Shift != "" {
		hours, err := dust.ParseShiftHours(cfg.Shop.Shift, cfg.Shop.Zone)
		if err != nil {
			return s, fmt.Errorf("%w: shop.shift (from %s): %w", config.ErrSetting, cfg.Origin("shop.shift"), err)
		}
		s.Hours = &hours
	}
	for _, sensor := range cfg.Sensors {
		if sensor.HumidityKappa != nil {
			s.Kappa[sensor.Name] = *sensor.HumidityKappa
		}
		if sensor.Factor == nil {
			continue
		}
		f, err := configuredFactor(*sensor.Factor)
		if err != nil {
			return s, fmt.Errorf("%w %s: sensor %q: %w", config.ErrFile, cfg.Path, sensor.Name, err)
		}
		s.Factors[sensor.Name] = []exposure.Factor{f}
	}
	return s, nil
}
