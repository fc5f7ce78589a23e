package words

import (
	"embed"
	"fmt"
	"io/fs"
	"maps"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/feature/plural"
	tag "golang.org/x/text/language"
	"golang.org/x/text/message/catalog"
)

//go:embed */*.toml
var files embed.FS

// Languages lists the tags of the languages there are, English first.
func Languages() []string {
	names := []string{"en"}
	folders, _ := fs.ReadDir(files, ".") // built in: it can be read
	for _, f := range folders {
		names = append(names, f.Name())
	}
	return names
}

// translations are one language's files, read and checked.
type translations struct {
	catalog catalog.Catalog
	known   map[string]bool
	layouts map[string]string
}

// layoutsTable is the part of a file that holds layouts of dates and times.
const layoutsTable = "dates and times"

var (
	loading sync.Mutex
	loaded  = map[string]*translations{}
)

// load reads a language's files once.
func load(name string) (*translations, error) {
	loading.Lock()
	defer loading.Unlock()
	if c := loaded[name]; c != nil {
		return c, nil
	}
	tables, err := readTables(name)
	if err != nil {
		return nil, err
	}
	c, err := parse(name, tables)
	if err != nil {
		return nil, fmt.Errorf("read the catalogue %q: %w", name, err)
	}
	loaded[name] = c
	return c, nil
}

// messages are tables of translations by the English format.
type messages map[string]map[string]any

// readTables reads the files of a language's folder, one for each part of the
// program.
func readTables(name string) (messages, error) {
	found, err := fs.Glob(files, name+"/*.toml")
	if err != nil || len(found) == 0 {
		return nil, unknown(name)
	}
	all := messages{}
	for _, file := range found {
		data, err := files.ReadFile(file)
		if err != nil {
			return nil, err
		}
		var tables messages
		if err := toml.Unmarshal(data, &tables); err != nil {
			return nil, fmt.Errorf("read the catalogue %s: %w", file, err)
		}
		for table, entries := range tables {
			all[file+": "+table] = entries
			if table == layoutsTable {
				all[layoutsTable] = entries
				delete(all, file+": "+table)
			}
		}
	}
	return all, nil
}

// parse reads a catalogue: tables by part of the program, in each the English
// format with its translation, or with one translation for every plural form of the
// first argument. Formats must ask for the same arguments.
func parse(name string, tables messages) (*translations, error) {
	language, err := tag.Parse(name)
	if err != nil {
		return nil, err
	}
	c := &translations{known: map[string]bool{}, layouts: map[string]string{}}
	build := catalog.NewBuilder(catalog.Fallback(tag.English))
	c.catalog = build
	for _, table := range slices.Sorted(maps.Keys(tables)) {
		for _, key := range slices.Sorted(maps.Keys(tables[table])) {
			value := tables[table][key]
			if table == layoutsTable {
				c.layouts[key] = fmt.Sprint(value)
				continue
			}
			if c.known[key] {
				return nil, fmt.Errorf("%s: %q is there twice", table, key)
			}
			c.known[key] = true
			m, err := translation(key, value)
			if err != nil {
				return nil, err
			}
			if err := build.Set(language, key, m); err != nil {
				return nil, fmt.Errorf("%q: %w", key, err)
			}
		}
	}
	return c, nil
}

// translation checks what stands for a key.
func translation(key string, value any) (catalog.Message, error) {
	switch value := value.(type) {
	case string:
		return catalog.String(value), sameArguments(key, value)
	case map[string]any:
		var forms []any
		for _, name := range []string{"zero", "one", "two", "few", "many", "other"} {
			if text, ok := value[name].(string); ok {
				if err := sameArguments(key, text); err != nil {
					return nil, err
				}
				forms = append(forms, name, text)
			}
		}
		if len(forms) != 2*len(value) || value["other"] == nil {
			return nil, fmt.Errorf("%q: give texts for zero, one, two, few, many as the language needs, and other", key)
		}
		return plural.Selectf(1, "%d", forms...), nil
	}
	return nil, fmt.Errorf("%q: the translation must be a text", key)
}

var directive = regexp.MustCompile(`%[-+# 0]*[0-9]*(?:\.[0-9]+)?(?:\[([0-9]+)\])?[-+# 0]*[0-9]*(?:\.[0-9]+)?([a-zA-Z%])`)

// arguments lists, for each argument that a format asks for, how it is printed.
func arguments(format string) map[int][]string {
	asked, next := map[int][]string{}, 1
	for _, m := range directive.FindAllStringSubmatch(format, -1) {
		if m[2] == "%" {
			continue
		}
		if m[1] != "" {
			next, _ = strconv.Atoi(m[1]) // digits only
		}
		verb := strings.Replace(m[0], "["+m[1]+"]", "", 1)
		if verb == "%q" { // other languages have quotes of their own
			verb = "%s"
		}
		asked[next] = append(asked[next], verb)
		next++
	}
	return asked
}

// sameArguments reports a translation that asks for other arguments than its key,
// or prints them another way. Whichever order it asks in, none may be left out.
func sameArguments(key, text string) error {
	want, got := arguments(key), arguments(text)
	for i := range max(len(want), len(got)) {
		if a, b := once(want[i+1]), once(got[i+1]); !slices.Equal(a, b) {
			return fmt.Errorf("%q: argument %d is printed with %q, in the translation %q with %q", key, i+1, a, text, b)
		}
	}
	if strings.TrimSpace(text) == "" {
		return fmt.Errorf("%q: the translation is empty", key)
	}
	return nil
}

func once(verbs []string) []string { return slices.Compact(slices.Sorted(slices.Values(verbs))) }
