package cli

import (
	"bufio"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"dustlog/internal/sensor"
)

func newDecode(a *app) *cobra.Command {
	var model string
	cmd := &cobra.Command{
		Use:   "decode --model MODEL [FILE]",
		Short: "Turn a sensor's raw bytes into one JSON object a frame",
		Long: `Turn a sensor's raw bytes, from a file or standard input, into one JSON object a
frame on standard output. A summary object follows on standard error: frames,
checksum errors, bytes skipped.

Sensors that send two mass scales give the one meant for industrial air (CF=1)
as pm…_ug_m3 and the other as pm…_atm_ug_m3. A value that the sensor itself marks
as missing has no key, and "missing_value" stands among the flags.`,
		Example: `  dustlog decode --model pms5003 < bytes.bin
  dustlog decode --model sps30 capture.bin > frames.jsonl`,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usage(cmd, fmt.Errorf("want at most one FILE, got %d", len(args)))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			in := a.Stdin
			if len(args) == 1 {
				f, err := os.Open(args[0])
				if err != nil {
					return err
				}
				defer f.Close()
				in = f
			}
			if model == "" {
				return usage(cmd, errors.New("--model is needed: "+modelList()))
			}
			return runDecode(a, model, in)
		},
	}
	cmd.Flags().StringVar(&model, "model", "", "sensor model: "+modelList())
	_ = cmd.RegisterFlagCompletionFunc("model", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return modelNames(), cobra.ShellCompDirectiveNoFileComp
	})
	return cmd
}

func runDecode(a *app, name string, in io.Reader) error {
	model, err := sensor.ParseModel(name)
	if err != nil {
		return err
	}
	reader, err := sensor.NewReader(model, in)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(a.Stdout)
	enc := json.NewEncoder(out)
	for {
		frame, err := reader.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return errors.Join(fmt.Errorf("reading bytes: %w", err), out.Flush())
		}
		if err := enc.Encode(frameObject(frame)); err != nil {
			return err
		}
	}
	if err := out.Flush(); err != nil {
		return err
	}
	c := reader.Counts()
	err = json.NewEncoder(a.Stderr).Encode(struct {
		Frames         int64 `json:"frames"`
		DataFrames     int64 `json:"data_frames"`
		ChecksumErrors int64 `json:"checksum_errors"`
		OtherErrors    int64 `json:"other_errors"`
		BytesSkipped   int64 `json:"bytes_skipped"`
	}{c.Frames, c.DataFrames, c.ChecksumErrors, c.OtherErrors, c.BytesSkipped})
	if err == nil && c.Frames == 0 {
		return fmt.Errorf("%w: no frame of %s among %d bytes; is it another model?", errIncomplete, model, c.BytesSkipped)
	}
	return err
}

// frameObject is a frame as JSON: data by channel, replies by their raw fields.
func frameObject(f *sensor.Frame) map[string]any {
	object := map[string]any{"model": string(f.Model), "kind": f.Kind, "flags": f.Flags.Names()}
	for c, x := range f.Values().All() {
		object[c.Key()] = x
	}
	if !f.IsData() {
		for field := range f.Fields() {
			object[field.Name] = fieldValue(field)
		}
	}
	return object
}

func fieldValue(f sensor.Field) any {
	switch {
	case f.Missing:
		return nil
	case f.Text != "":
		return f.Text
	}
	return f.Value
}

func modelNames() []string {
	var names []string
	for _, m := range sensor.Models() {
		names = append(names, string(m))
	}
	return names
}

func modelList() string { return strings.Join(modelNames(), ", ") }
