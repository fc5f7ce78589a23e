package main

import (
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

func TestRender(t *testing.T) {
	records := []validation.Record{
		{Section: "internal/exposure/group", Method: "K, n = 10", Source: "a | book", Values: 1, Published: 2.911, Highest: 2.911, Ours: 2.910963, Difference: -3.7e-5, Relative: 1.3e-5},
		{Section: "internal/exposure/group", Method: "K, n = 9", Source: "a book", Values: 1, Published: 3.031, Highest: 3.031, Ours: 3.031, Difference: 1e-12, Relative: 3e-13},
		{Section: "internal/compare", Method: "a table", Source: "a book", Values: 3, Published: 1, Highest: 8, Ours: 1, Difference: -0.04, Relative: 0.04},
		{Section: "internal/new", Method: "a set: a, b", Source: "a book", Values: 2, Ours: 1, Difference: 1, Relative: 0.01, Mixed: true},
	}
	page, err := render(records, map[string][]validation.Simulation{
		"internal/compare": {{What: "says reduced", Setting: "5 v 5", Studies: 2000, Seed: 7, Intended: "2.5 %", Found: 0.024, SE: 0.0034}},
	})
	require.NoError(t, err)
	require.Equal(t, intro+`
## Before and after

`+"`internal/compare`"+`

| method | source | published | ours | difference |
|---|---|---|---|---|
| a table | a book | 3 values, 1 to 8 | 3 agree | at most 0.04 |

## Several shifts together

`+"`internal/exposure/group`"+`

| method | source | published | ours | difference |
|---|---|---|---|---|
| K, n = 9 | a book | 3.031 | 3.031 | none |
| K, n = 10 | a \| book | 2.911 | 2.910963 | −4 × 10⁻⁵ |

## internal/new

`+"`internal/new`"+`

| method | source | published | ours | difference |
|---|---|---|---|---|
| a set: a, b | a book | 2 values | 2 agree | at most 0.01 of it |

# Simulations

Invented studies whose truth is known: how often the method is right about them. Too slow for every run; the seed repeats them.

## Before and after: simulations

`+"`internal/compare`"+`

| what | setting | intended | found | studies | seed |
|---|---|---|---|---|---|
| says reduced | 5 v 5 | 2.5 % | 2.4 % ± 0.3 | 2000 | 7 |
`, string(page))

	_, err = render(append(records, records[0]), nil)
	require.ErrorContains(t, err, "names of their own")
}

func TestFirstDifference(t *testing.T) {
	require.Contains(t, firstDifference([]byte("a\nb\nc"), []byte("a\nx\nc")), "line 2 (x")
	require.Equal(t, "line 3", firstDifference([]byte("a\nb\nc"), []byte("a\nb")))
}
