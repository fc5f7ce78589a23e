package cli

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"dustlog/internal/config"
	"dustlog/internal/exposure"
)

// limitTable is the built-in limits and those of the configuration.
func limitTable(cfg config.Config) (exposure.LimitTable, error) {
	table, err := exposure.BuiltInLimits()
	if err != nil {
		return table, err
	}
	var own []exposure.OwnLimit
	for _, l := range cfg.Limits {
		own = append(own, exposure.OwnLimit(l))
	}
	if table, err = table.With(own); err != nil {
		return table, fmt.Errorf("%w %s: %w", config.ErrFile, cfg.Path, err)
	}
	return table, nil
}

// chosenLimits are the limit that findings are about, and those judged beside it.
func chosenLimits(cfg config.Config) (limit exposure.Limit, also []exposure.Limit, err error) {
	table, err := limitTable(cfg)
	if err != nil {
		return limit, nil, err
	}
	if limit, err = table.Choose(cfg.Shop.Limit); err != nil {
		return limit, nil, fmt.Errorf("shop.limit (from %s): %w", cfg.Origin("shop.limit"), err)
	}
	for _, id := range cfg.Shop.AlsoLimits {
		l, err := table.Choose(id)
		if err != nil {
			return limit, nil, fmt.Errorf("shop.also_limits (from %s): %w", cfg.Origin("shop.also_limits"), err)
		}
		if l.ID != limit.ID && !slices.ContainsFunc(also, func(other exposure.Limit) bool { return other.ID == l.ID }) {
			also = append(also, l)
		}
	}
	return limit, also, checkMaterials(cfg)
}

func checkMaterials(cfg config.Config) error {
	for _, material := range slices.Sorted(maps.Keys(cfg.Materials)) {
		if group := cfg.Materials[material]; !slices.Contains(exposure.MaterialGroups(), group) {
			return fmt.Errorf("%w %s: [materials] %q is %q: use one of %s", config.ErrFile, cfg.Path, material, group, strings.Join(exposure.MaterialGroups(), ", "))
		}
	}
	return nil
}
