package cli

import (
	"io"

	"dustlog/internal/compare"
	"dustlog/internal/plots"
)

// comparedPicture is a picture of a comparison.
type comparedPicture = func(compare.Result) picture

// pictureOf joins what package plots has for one kind of result.
func pictureOf[R any](r R, paint func(io.Writer, R, plots.Options) error, csv func(io.Writer, R) error, alt func(R, plots.Options) string) picture {
	return picture{
		paint: func(w io.Writer, o plots.Options) error { return paint(w, r, o) },
		csv:   func(w io.Writer, _ plots.Options) error { return csv(w, r) },
		alt:   func(o plots.Options) string { return alt(r, o) },
	}
}

func sessionsPicture(r compare.Result) picture {
	return pictureOf(r, plots.BeforeAfter, plots.CSVBeforeAfter, plots.AltTextBeforeAfter)
}

func ratioPicture(r compare.Result) picture {
	return pictureOf(r, plots.SizeRatio, plots.CSVSizeRatio, plots.AltTextSizeRatio)
}

func sizesPicture(r compare.Result) picture {
	return pictureOf(r, plots.SizeDistribution, plots.CSVSizeDistribution, plots.AltTextSizeDistribution)
}
