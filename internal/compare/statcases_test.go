package compare

import (
	"encoding/json"
	"maps"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"dustlog/internal/validation"
)

// statCase is one reference case; testdata/README.md says where they come from.
type statCase struct {
	ID, Method, Name, Source string
	Inputs, Expected         map[string]json.RawMessage
	Tolerance                tolerance
	Computed                 struct{ R, SciPy string }
}

// tolerance may be given for single keys.
type tolerance struct {
	Rel, Abs float64
	ByKey    map[string]tolerance
}

// within is how far a value may be off: either passing is enough.
func (c tolerance) within(want float64) float64 {
	return max(c.Abs, c.Rel*math.Abs(want))
}

func (c *tolerance) UnmarshalJSON(raw []byte) error {
	var keys map[string]json.RawMessage
	if err := json.Unmarshal(raw, &keys); err != nil {
		return err
	}
	c.ByKey = map[string]tolerance{}
	for key, value := range keys {
		var err error
		switch key {
		case "rel":
			err = json.Unmarshal(value, &c.Rel)
		case "abs":
			err = json.Unmarshal(value, &c.Abs)
		default:
			var own tolerance
			err = json.Unmarshal(value, &own)
			c.ByKey[key] = own
		}
		if err != nil {
			return err
		}
	}
	return nil
}

func (c statCase) in(t *testing.T, key string, into any) {
	t.Helper()
	require.Contains(t, c.Inputs, key)
	require.NoError(t, json.Unmarshal(c.Inputs[key], into))
}

func (c statCase) floats(t *testing.T, key string) (x []float64) {
	t.Helper()
	c.in(t, key, &x)
	return x
}

func (c statCase) float(t *testing.T, key string) (x float64) {
	t.Helper()
	c.in(t, key, &x)
	return x
}

// origin is the source as the validation page shows it.
func (c statCase) origin() string {
	switch {
	case c.Computed.R != "":
		return c.Source + " (computed with R)"
	case c.Computed.SciPy != "":
		return c.Source + " (computed with SciPy)"
	}
	return c.Source
}

// expect checks that got holds every expected key, and its value.
func (c statCase) expect(t *testing.T, got map[string]any) {
	t.Helper()
	require.NotEmpty(t, c.Expected)
	published, ours := map[string]float64{}, map[string]float64{}
	for _, key := range slices.Sorted(maps.Keys(c.Expected)) {
		require.Contains(t, got, key)
		name := c.Name + " (" + c.ID + "): " + key
		switch value := got[key].(type) {
		case float64:
			var want float64
			require.NoError(t, json.Unmarshal(c.Expected[key], &want))
			if limit, own := c.Tolerance.ByKey[key]; own {
				validation.Check(t, name, c.origin(), want, value, limit.within(want))
			} else {
				published[key], ours[key] = want, value
			}
		case []float64:
			var want []float64
			require.NoError(t, json.Unmarshal(c.Expected[key], &want))
			validation.CheckAll(t, name, c.origin(), want, value, c.Tolerance.within(slices.Min(want)))
		case []Verdict:
			var want []Verdict
			require.NoError(t, json.Unmarshal(c.Expected[key], &want))
			assert.Equal(t, want, value)
		default:
			t.Fatalf("%s has type %T", key, value)
		}
	}
	if len(published) > 0 {
		validation.CheckSet(t, c.Name+" ("+c.ID+")", c.origin(), published, ours, c.Tolerance.Rel, c.Tolerance.Abs)
	}
}

func (r LogRatio) values() map[string]any {
	return map[string]any{"ratio": r.Ratio, "lo": r.Low, "hi": r.High, "t": r.T, "df": r.DF, "p": r.P}
}

func (p Permutation) values() map[string]any {
	return map[string]any{"p_two": p.P, "p_less": p.PLess, "arrangements": float64(p.Arrangements)}
}

var statMethods = map[string]func(*testing.T, statCase) map[string]any{
	"welch_log_ratio": func(t *testing.T, c statCase) map[string]any {
		r, err := WelchLogRatio(c.floats(t, "old"), c.floats(t, "new"), 0.95)
		require.NoError(t, err)
		return r.values()
	},
	"paired_log_ratio": func(t *testing.T, c statCase) map[string]any {
		r, err := PairedLogRatio(c.floats(t, "old"), c.floats(t, "new"), 0.95)
		require.NoError(t, err)
		return r.values()
	},
	"session_effects_welch": func(t *testing.T, c statCase) map[string]any {
		var task, sess, setup []string
		c.in(t, "task", &task)
		c.in(t, "sess", &sess)
		c.in(t, "setup", &setup)
		var runs []TaskRun
		setupOf := map[string]string{}
		for i, x := range c.floats(t, "conc") {
			runs = append(runs, TaskRun{Session: sess[i], Task: task[i], Mean: x})
			setupOf[sess[i]] = setup[i]
		}
		effects, err := SessionEffects(runs)
		require.NoError(t, err)
		var old, new []float64
		for s, x := range effects {
			if setupOf[s] == "A" {
				old = append(old, x)
			} else {
				new = append(new, x)
			}
		}
		r, err := WelchLogRatio(old, new, 0.95)
		require.NoError(t, err)
		return r.values()
	},
	"perm_two_sample": func(t *testing.T, c statCase) map[string]any {
		p, err := PermutationTwoSample(c.floats(t, "a"), c.floats(t, "b"))
		require.NoError(t, err)
		require.False(t, p.Sampled)
		return p.values()
	},
	"perm_signflip": func(t *testing.T, c statCase) map[string]any {
		p, err := PermutationSignFlip(c.floats(t, "d"))
		require.NoError(t, err)
		return p.values()
	},
	"fieller": func(t *testing.T, c statCase) map[string]any {
		r, err := FiellerRatio(c.floats(t, "a"), c.floats(t, "b"), 0.95)
		require.NoError(t, err)
		return map[string]any{"ratio": r.Ratio, "lo": r.Low, "hi": r.High, "g": r.G}
	},
	"sessions_needed": func(t *testing.T, c statCase) map[string]any {
		var kind string
		c.in(t, "type", &kind)
		var n []float64
		for _, reduction := range c.floats(t, "reduction") {
			x, err := SessionsNeeded(reduction, c.float(t, "sd"), kind == "paired", 0.80, 0.95)
			require.NoError(t, err)
			n = append(n, x)
		}
		return map[string]any{"n": n}
	},
	"carry_over": func(t *testing.T, c statCase) map[string]any {
		d, err := CarryOver(c.floats(t, "c"), c.float(t, "cbg"), c.float(t, "lam"), c.float(t, "dt"))
		require.NoError(t, err)
		return map[string]any{"raw_net": d.Raw, "corrected": d.Corrected, "mean": d.Mean}
	},
	"verdict": func(t *testing.T, c statCase) map[string]any {
		lo, hi := c.floats(t, "lo"), c.floats(t, "hi")
		var words []Verdict
		for i := range lo {
			words = append(words, VerdictFor(lo[i], hi[i], c.float(t, "smallest")))
		}
		return map[string]any{"word": words}
	},
	"widen_for_drift": func(t *testing.T, c statCase) map[string]any {
		r, err := WidenForDrift(c.float(t, "ratio"), c.float(t, "se"), c.float(t, "df"), c.float(t, "u"), c.float(t, "nu"), 0.95)
		require.NoError(t, err)
		return map[string]any{"df_total": r.DF, "lo": r.Low, "hi": r.High}
	},
	"holm": func(t *testing.T, c statCase) map[string]any {
		return map[string]any{"adjusted": Holm(c.floats(t, "p"))}
	},
}

func TestPublishedReferenceCases(t *testing.T) {
	raw, err := os.ReadFile("testdata/statcases.json")
	require.NoError(t, err)
	var file struct{ Cases []statCase }
	require.NoError(t, json.Unmarshal(raw, &file))
	seen := map[string]bool{}
	for _, c := range file.Cases {
		seen[c.Method] = true
		t.Run(c.ID, func(t *testing.T) {
			require.Contains(t, statMethods, c.Method)
			c.expect(t, statMethods[c.Method](t, c))
		})
	}
	for method := range statMethods {
		require.True(t, seen[method], "no case of %s", method)
	}
}
