// Package plots draws result values as SVG, PNG or PDF on an io.Writer.
//
// It computes no statistic: every number in a picture was handed in. What it
// does decide is drawing: where things stand, which colour they have, and how a
// million readings become a line that a screen can show without losing a peak.
//
// Every picture is made of gonum plots: its axes, scales, ticks, grids and marks
// where it has them, and plotters of our own where it has none: lines that keep
// peaks and gaps, bands of tasks, intervals, hatched bars. Plots, titles, legends
// and captions are blocks of a figure, stacked on one of gonum's canvases. Words
// decide the height: a picture grows downwards where titles or legends need more
// lines than the height asked for has room for.
//
// Three rules hold in every picture:
//
//   - Nothing is told by colour alone: shape, line style, hatching or a number
//     says it too.
//   - A gap is drawn as a gap, a missing number as a missing number with its
//     reason.
//   - The same data give the same bytes.
package plots
