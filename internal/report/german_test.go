package report

import (
	"bytes"
	stdhtml "html"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"dustlog/internal/words"
)

var (
	tags = regexp.MustCompile(`(?s)<style.*?</style>|<script.*?</script>|<small class="id">.*?</small>|<[^>]*>`)
	// Words that no German sentence has, and a decimal point before a unit.
	englishWords = regexp.MustCompile(`\b(the|of|and|with|from|is|are|at|for|no|not|session|sessions|shift|before|after|reading|readings|or)\b|[0-9]\.[0-9]+ ?(µg|mg|h\b|%|Pa\b|m/s)`)
	// What is quoted from a source, recorded, or written by people stays as it is.
	quoted = regexp.MustCompile(`NIOSH|HSE|HSG53|ACGIH|claimed; in the lab|mask, |Carcinogenicity|Quantifying|shop\.|wrong filter|air-purifying`)
)

// A whole German report has nothing left in English but what it says is quoted.
func TestAWholeReportInGerman(t *testing.T) {
	in := wholeReport(t)
	var err error
	in.Words, err = words.In("de")
	require.NoError(t, err)
	var page bytes.Buffer
	require.NoError(t, WriteHTML(&page, in))
	lines := tags.Split(page.String(), -1)
	require.Greater(t, len(lines), 500)
	for _, line := range lines {
		if line = strings.TrimSpace(stdhtml.UnescapeString(line)); !quoted.MatchString(line) {
			require.Empty(t, englishWords.FindString(line), line)
		}
	}
}

// However much there is to say, answers and what to do next leave the contents on page 2.
func TestTheAnswersStandOnOnePage(t *testing.T) {
	v, err := buildView(wholeReport(t))
	require.NoError(t, err)
	for range 9 {
		v.Next = append(v.Next, words.Of("Ask an occupational hygienist for filter samples in the breathing zone: only they can be held against a limit for inhalable dust."))
	}
	p := &paper{view: v}
	require.NoError(t, p.drawPictures())
	require.NoError(t, p.lay(nil))
	require.Equal(t, 2, p.headings[0].page)
}
