package cli

import (
	"io"
	"iter"

	"dustlog/internal/compare"
	"dustlog/internal/dust"
	"dustlog/internal/plots"
)

// comparePainter draws one picture of a comparison.
type comparePainter = func(io.Writer, compare.Result, plots.Options) error

// readingSeq yields readings until the first error.
type readingSeq = iter.Seq2[dust.Reading, error]
