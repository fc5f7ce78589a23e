package web

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// luminance is the relative luminance of a colour as #rrggbb or #rgb (WCAG 2.2, its
// definition of relative luminance).
func luminance(t *testing.T, colour string) float64 {
	t.Helper()
	hex := strings.TrimPrefix(colour, "#")
	if len(hex) == 3 {
		hex = strings.Repeat(hex[:1], 2) + strings.Repeat(hex[1:2], 2) + strings.Repeat(hex[2:], 2)
	}
	n, err := strconv.ParseUint(hex, 16, 32)
	require.NoError(t, err, colour)
	channel := func(shift uint) float64 {
		v := float64(n>>shift&255) / 255
		if v <= 0.04045 {
			return v / 12.92
		}
		return math.Pow((v+0.055)/1.055, 2.4)
	}
	return 0.2126*channel(16) + 0.7152*channel(8) + 0.0722*channel(0)
}

// contrast is the contrast ratio (WCAG 2.2, its definition).
func contrast(t *testing.T, a, b string) float64 {
	t.Helper()
	x, y := luminance(t, a), luminance(t, b)
	return (math.Max(x, y) + 0.05) / (math.Min(x, y) + 0.05)
}

// Black on white has 21, by the definition's arithmetic: (1 + 0.05)/(0 + 0.05).
// #767676 on white is the lightest grey that WebAIM's checker passes at 4.5, at 4.54
// (from memory).
func TestContrastIsThatOfTheStandard(t *testing.T) {
	require.InDelta(t, 21, contrast(t, "#000", "#ffffff"), 1e-9)
	require.InDelta(t, 4.54, contrast(t, "#767676", "#fff"), 0.005)
}

// palettes reads the colours of the style sheet: light, dark, and on paper.
func palettes(t *testing.T) map[string]map[string]string {
	t.Helper()
	sheet, err := files.ReadFile("static/page.css")
	require.NoError(t, err)
	blocks := regexp.MustCompile(`:root \{([^}]*)\}`).FindAllStringSubmatch(string(sheet), -1)
	require.Len(t, blocks, 3)
	out := map[string]map[string]string{}
	for i, name := range []string{"light", "dark", "paper"} {
		out[name] = map[string]string{}
		for key, value := range out["light"] {
			out[name][key] = value
		}
		for _, m := range regexp.MustCompile(`--([a-z]+): (#[0-9a-f]+)`).FindAllStringSubmatch(blocks[i][1], -1) {
			out[name][m[1]] = m[2]
		}
	}
	return out
}

// Text needs 4.5 (WCAG 2.2, success criterion 1.4.3), the edges of what is tapped and
// the focus 3 (1.4.11).
func TestThePaletteHasContrast(t *testing.T) {
	for theme, colour := range palettes(t) {
		require.Greater(t, len(colour), 12, theme)
		for _, pair := range []string{
			"ink paper", "soft paper", "yes paper", "no paper", "open paper", "ink leaf", "tick wood", "paper ink",
			"chalk slate", "chalksoft slate", "slate chalk",
		} {
			name := strings.Fields(pair)
			require.GreaterOrEqual(t, contrast(t, colour[name[0]], colour[name[1]]), 4.5, "%s: %s", theme, pair)
		}
		for _, edge := range []string{"yes paper", "ink wood", "ink leaf", "chalk slate"} {
			name := strings.Fields(edge)
			require.GreaterOrEqual(t, contrast(t, colour[name[0]], colour[name[1]]), 3.0, "%s: %s", theme, edge)
		}
	}
}

// What docs/design.md says of the palette is what the style sheet has.
func TestEveryColourIsOneOfThePalette(t *testing.T) {
	sheet, err := files.ReadFile("static/page.css")
	require.NoError(t, err)
	rules := regexp.MustCompile(`:root \{[^}]*\}`).ReplaceAllString(string(sheet), "")
	require.Empty(t, regexp.MustCompile(`#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(`).FindAllString(rules, -1), "a colour beside the palette has no dark form")
}
