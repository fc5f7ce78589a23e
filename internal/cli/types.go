package cli

import (
	"context"
	"io"
	"iter"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/plots"
)

// comparePainter draws one picture of a comparison.
type comparePainter = func(io.Writer, compare.Result, plots.Options) error

// importer is what an import writes to, inside one transaction.
type importer interface {
	Append(ctx context.Context, batch []dust.Reading) (added int, err error)
	PutSensor(ctx context.Context, s dust.Sensor) error
}

// readingSeq yields readings until the first error.
type readingSeq = iter.Seq2[dust.Reading, error]
