package cli

import (
	"bytes"
	_ "embed"
	"strconv"
	"text/template"
)

//go:embed init.toml.tmpl
var firstFile string

// tomlString quotes a basic string of TOML 1.0. Of strconv's escapes only those that
// TOML knows too are left, for answers are printable.
func tomlString(s string) string { return strconv.QuoteToGraphic(s) }

var firstTemplate = template.Must(template.New("init").Funcs(template.FuncMap{"q": tomlString}).Parse(firstFile))

// file is the configuration file.
func (f *firstAnswers) file() string {
	var b bytes.Buffer
	if err := firstTemplate.Execute(&b, f); err != nil {
		panic(err) // a template that does not fit its own data
	}
	return b.String()
}
