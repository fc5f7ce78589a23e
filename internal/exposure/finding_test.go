package exposure

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// "2 mg/m³ is above 2 mg/m³" would puzzle anyone: digits are added as needed.
func TestApart(t *testing.T) {
	require.EqualValues(t, "2.5", apart(2.5, 2))
	require.EqualValues(t, "2.0004", apart(2.0004, 2))
	require.EqualValues(t, "2", apart(2, 2))
	require.EqualValues(t, "2", apart(2.0000000000000004, 2))
}

func TestFactorWithoutSourceSaysSo(t *testing.T) {
	c := calibrate([]Factor{{Factor: 2, Fraction: RespirableFraction, SpreadPercent: 10}}, factorUse{limit: mustLimit(t, "de-aswg-a"), materials: []string{"oak"}})
	require.True(t, c.use)
	require.Contains(t, c.note.String(), "source not stated, date not stated")
}
