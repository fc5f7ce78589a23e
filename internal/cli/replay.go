package cli

import (
	"context"
	"fmt"
	"iter"
	"time"

	"github.com/spf13/cobra"

	"dustlog/internal/capture"
	"dustlog/internal/collect"
	"dustlog/internal/dust"
	"dustlog/internal/sensor"
)

func newReplay(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "replay FOLDER",
		Short: "Play captured raw bytes into the store, to the same readings",
		Long: `Play what "collect --capture FOLDER" kept: the raw bytes and the moments they
arrived go through the same decoder, clock, flags and store, to the same
readings. Readings that are in the store already are not taken twice.`,
		Example: "  dustlog replay capture --store again.db\n  dustlog replay /media/card/capture",
		Args:    exactArgs("FOLDER"),
		RunE:    func(cmd *cobra.Command, args []string) error { return runReplay(cmd.Context(), a, args[0]) },
	}
}

func runReplay(ctx context.Context, a *app, dir string) error {
	cfg, err := a.load(nil)
	if err != nil {
		return err
	}
	recordings, err := capture.Folder(dir)
	if err != nil {
		return err
	}
	records, err := a.writable(ctx, cfg)
	if err != nil {
		return err
	}
	defer records.Close()
	bar := a.progress(len(recordings), "playing")
	defer bar.done()
	for _, r := range recordings {
		if err := records.PutSensor(ctx, r.Sensor); err != nil {
			return err
		}
		summary, err := playRecording(ctx, records, r)
		if err != nil {
			return fmt.Errorf("%s: %w", r.File, err)
		}
		bar.step(r.Sensor.Name)
		a.remark("%s: %d readings of %s", r.File, summary.Readings(), r.Sensor.Name)
	}
	return nil
}

// playRecording runs the collector on one recording. What went wrong on the
// line then is part of the recording, not an error now.
func playRecording(ctx context.Context, sink collect.Sink, r capture.Recording) (collect.Summary, error) {
	input, stop, err := played(r.Sensor, r.WarmUp, r.Chunks())
	if err != nil {
		return collect.Summary{}, err
	}
	defer stop()
	summary, err := collect.Run(ctx, []collect.Input{input}, sink, collect.Options{CommitSize: 5000, Patient: true})
	if err == nil {
		err = ctx.Err()
	}
	return summary, err
}

// played is an input whose line is played. stop must be called in the end.
func played(s dust.Sensor, warmUp time.Duration, chunks iter.Seq2[capture.Chunk, error]) (input collect.Input, stop func(), err error) {
	model, err := sensor.ParseModel(s.Model)
	if err != nil {
		return input, nil, err
	}
	player, err := capture.NewPlayer(model, chunks)
	if err != nil {
		return input, nil, err
	}
	first := true
	return collect.Input{
		Sensor: s, WarmUp: warmUp, Clock: player,
		Open: func(context.Context) (collect.Source, error) {
			if first {
				first = false
				return player, nil
			}
			return player, player.Reopen()
		},
	}, player.Stop, nil
}
