package cli

import (
	"iter"

	"dustlog/internal/dust"
)

// readingSeq yields readings until the first error.
type readingSeq = iter.Seq2[dust.Reading, error]
