package words

import (
	"encoding/json"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/require"
	tag "golang.org/x/text/language"
	"golang.org/x/text/message"
)

// german prints with a catalogue made for the test.
func german(t *testing.T, catalogue string) *Printer { return printer(t, "de", catalogue) }

func parsed(name, catalogue string) (*translations, error) {
	var tables messages
	if err := toml.Unmarshal([]byte(catalogue), &tables); err != nil {
		return nil, err
	}
	return parse(name, tables)
}

func printer(t *testing.T, name, catalogue string) *Printer {
	t.Helper()
	c, err := parsed(name, catalogue)
	require.NoError(t, err)
	language := tag.MustParse(name)
	return &Printer{tag: language, printer: message.NewPrinter(language, message.Catalog(c.catalog)), known: c.known, layouts: c.layouts, decimal: decimalSign(language)}
}

func TestEnglishIsWhatFmtPrints(t *testing.T) {
	x, n := 1234.5678, 12345
	for _, text := range []Text{
		Of("%s: %.3g mg/m³, %.0f %%, %d of %q, %v", "oak", x, x, n, "a \"b\"", true),
		Of("%6.2f|%-8s|%+d|%05d", x, "left", n, n),
		Of("75 %%"),
	} {
		require.Equal(t, fmt.Sprintf(text.key, text.args...), text.String())
		require.Equal(t, text.String(), English().Text(text))
	}
	inner := Of("at least %s", Significant(0.012345, 3))
	require.Equal(t, "planing: at least 0.0123 mg/m³", Of("%s: %s mg/m³", "planing", inner).String())
	require.Equal(t, `"at least 0.0123"`, fmt.Sprintf("%q", inner))
	require.Equal(t, "1 decay", Plural(1, "%d decay", "%d decays", 1).String())
	require.Equal(t, "0 decays", Plural(0, "%d decay", "%d decays", 0).String())
	require.Equal(t, "2026-03-02 at 07:05", Of("%s at %s", Date(time.Date(2026, 3, 2, 7, 5, 0, 0, time.UTC)), Clock(time.Date(2026, 3, 2, 7, 5, 0, 0, time.UTC))).String())
	require.Equal(t, "a; b", Join("; ", Of("a"), Of("b")).String())
	require.Equal(t, "a; b", JoinSaid("; ", Of("a"), Text{}, Of("b")).String())
	require.True(t, JoinSaid(", ", Text{}, Text{}).IsZero())
	require.Equal(t, "a", Join("; ", Of("a"), Of("b")).Until(";").String())
	require.Empty(t, Text{}.String())
	require.True(t, Text{}.IsZero())
	require.True(t, Join(", ").IsZero())
	require.Len(t, Once([]Text{Of("a"), Literal("a"), Of("b")}), 2)
}

// Decimal comma and dates with points: DIN 5008 and DIN 1333 (from memory), and
// the Unicode locale data that x/text carries.
func TestAnotherLanguageHasItsOwnNumbersDatesAndOrder(t *testing.T) {
	p := german(t, `
["dates and times"]
"2006-01-02" = "02.01.2006"
[test]
"%s of %s is %.1f %% (%d readings, %s)" = "%[2]s, davon %[1]s: %.1[3]f %% (%[4]d Messwerte, %[5]s)"
"half" = "die Hälfte"
"%d decay" = "%d Abklingkurve"
"%d decays" = "%d Abklingkurven"
`)
	text := Of("%s of %s is %.1f %% (%d readings, %s)", Of("half"), "oak", 1234.56, 31000, Significant(0.0625, 2))
	require.Equal(t, "oak, davon die Hälfte: 1234,6 % (31000 Messwerte, 0,062)", p.Text(text))
	require.Equal(t, "half of oak is 1234.6 % (31000 readings, 0.062)", text.String())
	require.Equal(t, "02.03.2026", p.Text(Of("%s", Date(time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC)))))
	require.Equal(t, "02.03.2026 / kein Tag", p.Text(Of("%s / %s", Day("2026-03-02"), Day("kein Tag"))))
	require.Equal(t, "1 Abklingkurve", p.Text(Plural(1, "%d decay", "%d decays", 1)))
	require.Equal(t, "3 Abklingkurven", p.Text(Plural(3, "%d decay", "%d decays", 3)))
	require.Equal(t, "die Hälfte; die", p.Text(Join("; ", Of("half"), Of("half").Until(" "))))
	require.Equal(t, "not in the catalogue 0,5", p.Text(Of("not in the catalogue %g", 0.5)))
	require.Equal(t, "half", p.Text(Literal("half")))
}

// Polish has three forms for whole numbers: one for 1, few for 2 to 4, 22 to 24 …,
// many for the others (Unicode plural rules, which x/text carries).
func TestPluralFormsFollowTheLanguage(t *testing.T) {
	p := printer(t, "pl", `
[test]
"%d days" = { one = "%d dzień", few = "%d dni (few)", many = "%d dni (many)", other = "%d dnia" }
`)
	for n, want := range map[int]string{1: "1 dzień", 2: "2 dni (few)", 5: "5 dni (many)", 12: "12 dni (many)", 22: "22 dni (few)"} {
		require.Equal(t, want, p.Text(Plural(n, "%d day", "%d days", n)))
	}
}

func TestAFaultyCatalogueIsRefused(t *testing.T) {
	for text, want := range map[string]string{
		"[a]\n\"at least %s\" = \"mindestens\"":                           "argument 1",
		"[a]\n\"at least %s\" = \"mindestens %s %s\"":                     "argument 2",
		"[a]\n\"%s and %.1f\" = \"%.1f und %s\"":                          "argument 1",
		"[a]\n\"%.1f\" = \"%.2f\"":                                        "argument 1",
		"[a]\n\"a\" = \"\"":                                               "empty",
		"[a]\n\"a\" = 1":                                                  "must be a text",
		"[a]\n\"a\" = \"b\"\n[b]\n\"a\" = \"c\"":                          "twice",
		"[a]\n\"%d days\" = { one = \"%d Tag\" }":                         "other",
		"[a]\n\"%d days\" = { single = \"%d Tag\", other = \"%d Tage\" }": "other",
		"[a]\n\"%d days\" = { few = \"%d Tag\", other = \"%d Tage\" }":    "not supported",
	} {
		_, err := parsed("de", text)
		require.ErrorContains(t, err, want, text)
	}
	_, err := In("xx")
	require.EqualError(t, err, `unknown language "xx": use one of en, de`)
	_, err = In("not a tag")
	require.Error(t, err)
	p, err := In("en-GB")
	require.NoError(t, err)
	require.Equal(t, "en", p.Tag())
}

func TestJSONHasEnglish(t *testing.T) {
	type result struct {
		Why  Text   `json:"why"`
		None Text   `json:"none,omitzero"`
		All  []Text `json:"all"`
	}
	data, err := json.Marshal(result{Why: Of("at least %s <mg/m³>", Significant(0.5, 2)), All: []Text{Of("a")}})
	require.NoError(t, err)
	asString, err := json.Marshal("at least 0.5 <mg/m³>")
	require.NoError(t, err)
	require.Equal(t, `{"why":`+string(asString)+`,"all":["a"]}`, string(data))
	var back result
	require.NoError(t, json.Unmarshal(data, &back))
	require.Equal(t, Literal("at least 0.5 <mg/m³>"), back.Why)
	require.True(t, back.None.IsZero())
}

func TestErrorsKeepTheirWords(t *testing.T) {
	err := Error(Of("the shift is shorter than 15 minutes"))
	require.EqualError(t, err, "the shift is shorter than 15 minutes")
	require.Equal(t, Of("the shift is shorter than 15 minutes"), OfError(err))
	wrapped := fmt.Errorf("day 1: %w", err)
	require.Equal(t, Literal("day 1: the shift is shorter than 15 minutes"), OfError(wrapped))
	require.ErrorIs(t, wrapped, err)
	require.Equal(t, Literal("x"), OfError(errors.New("x")))
}

func TestSignificantIsReadByPeople(t *testing.T) {
	for want, x := range map[string]float64{"0": 0, "0.00005": 0.00005, "0.0123": 0.01234, "0.1": 0.1, "3.46": 3.456, "12.3": 12.34, "100": 99.96, "123": 123.4, "1235": 1234.6} {
		require.Equal(t, Number(want), Significant(x, 3), "%g", x)
	}
}

// A figure's options or a page's view may hold no printer at all.
func TestNoPrinterSpeaksEnglish(t *testing.T) {
	var p *Printer
	require.Equal(t, "half of it: 1.5 on 2026-03-02", p.Say("half of it: %s on %s", Fixed(1.5, 1), Date(time.Date(2026, 3, 2, 0, 0, 0, 0, time.UTC))))
	require.Equal(t, "en", p.Tag())
	require.Equal(t, "0.25", p.Number(Significant(0.25, 3)))
	require.Equal(t, "07:05", p.Moment(Clock(time.Date(2026, 3, 2, 7, 5, 0, 0, time.UTC))))
	require.Equal(t, "3", p.Text(Count(3).Text()))
}
