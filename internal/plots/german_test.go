package plots

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/words"
)

func german(t *testing.T) *words.Printer {
	t.Helper()
	p, err := words.In("de")
	require.NoError(t, err)
	return p
}

// Words that no German sentence has, and a decimal point.
var english = regexp.MustCompile(`\b(the|of|with|from|is|at|session|sessions|shift|before|after|reading|readings)\b|[0-9]\.[0-9]+ ?(µg|mg|h\b|%)`)

// written is what people wrote in the made-up data.
var written = strings.NewReplacer("limit for wood dust", "", "Limit for wood dust", "", "separator and fine filter", "")

// German pictures are as readable as English ones, in every width, and nothing in
// them is left in English, but for what people wrote.
func TestPicturesInGerman(t *testing.T) {
	printer := german(t)
	for _, p := range allPictures() {
		for _, size := range []string{"narrowest", "phone", "page"} {
			t.Run(p.name+"/"+size, func(t *testing.T) {
				o := sizes[size]
				o.Words = printer
				o, err := o.complete()
				require.NoError(t, err)
				f, err := p.draw(o)
				require.NoError(t, err)
				d := record(f)
				checkTexts(t, d)
				lines := []string{d.alt}
				for _, text := range d.texts {
					lines = append(lines, text.text)
				}
				if p.name == "factor/one pair" {
					return // a calibration's reasons are kept as they were written
				}
				for _, line := range lines {
					require.Empty(t, english.FindString(written.Replace(line)), line)
				}
			})
		}
	}
}

func TestAltTextsInGerman(t *testing.T) {
	o := Options{Words: german(t), Zone: zone}
	require.Equal(t, "PM2,5, 6 Arbeitsabschnitte unter hose on blower (vorher) und 7 Arbeitsabschnitte unter separator and fine filter (nachher)", strings.SplitN(AltTextBeforeAfter(madeUpComparison(), o), ":", 2)[0])
	require.Contains(t, AltTextTaskDose(madeUpDoses(), o), "2.3. vor allem sanding (42 %)")
	require.Contains(t, AltTextClearance(madeUpFalls(50), o), "Klingt ab mit 4,04 je Stunde (95-%-Intervall 3,84 bis 4,23)")
}
