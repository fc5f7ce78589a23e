package words

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	tmpl "text/template/parse"
	"unicode"

	"github.com/stretchr/testify/require"
)

// said is what the source of the program asks a catalogue for.
type said struct {
	keys    map[string]string // to the place of one that asks
	plurals map[string]string // the format for one of such a key
	layouts map[string]string
	faults  []string
}

// constants of a package whose value is a string, by name.
func constants(files []*ast.File) map[string]ast.Expr {
	found := map[string]ast.Expr{}
	for _, f := range files {
		for _, d := range f.Decls {
			g, ok := d.(*ast.GenDecl)
			if !ok || g.Tok != token.CONST {
				continue
			}
			for _, s := range g.Specs {
				v := s.(*ast.ValueSpec)
				for i, name := range v.Names {
					if i < len(v.Values) {
						found[name.Name] = v.Values[i]
					}
				}
			}
		}
	}
	return found
}

// text is the value of a constant expression.
func text(e ast.Expr, known map[string]ast.Expr) (string, bool) {
	switch e := e.(type) {
	case *ast.BasicLit:
		s, err := strconv.Unquote(e.Value)
		return s, err == nil && e.Kind == token.STRING
	case *ast.BinaryExpr:
		a, ok1 := text(e.X, known)
		b, ok2 := text(e.Y, known)
		return a + b, ok1 && ok2 && e.Op == token.ADD
	case *ast.ParenExpr:
		return text(e.X, known)
	case *ast.Ident:
		if value, ok := known[e.Name]; ok {
			return text(value, known)
		}
	}
	return "", false
}

// readSource walks the program's packages, without their tests.
func readSource(t *testing.T, root string) said {
	t.Helper()
	all := said{map[string]string{}, map[string]string{}, map[string]string{}, nil}
	packages := map[string][]*ast.File{}
	set := token.NewFileSet()
	require.NoError(t, filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err == nil && strings.HasSuffix(path, ".html") {
			data, err := os.ReadFile(path)
			if err == nil {
				err = all.template(path, data)
			}
			return err
		}
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".go") || strings.HasSuffix(path, "_test.go") || filepath.Base(filepath.Dir(path)) == "words" {
			return err
		}
		f, err := parser.ParseFile(set, path, nil, parser.SkipObjectResolution)
		packages[filepath.Dir(path)] = append(packages[filepath.Dir(path)], f)
		return err
	}))
	for _, files := range packages {
		known := constants(files)
		for _, f := range files {
			ast.Inspect(f, func(n ast.Node) bool {
				if call, ok := n.(*ast.CallExpr); ok {
					all.call(call, known, set)
				}
				return true
			})
		}
	}
	return all
}

// call looks at a call that makes something to say.
func (s *said) call(call *ast.CallExpr, known map[string]ast.Expr, set *token.FileSet) {
	fun, ok := call.Fun.(*ast.SelectorExpr)
	if !ok {
		return
	}
	if of, ok := fun.X.(*ast.Ident); fun.Sel.Name != "Say" && (!ok || of.Name != "words") || len(call.Args) == 0 {
		return
	}
	place := set.Position(call.Pos()).String()
	constant := func(i int) string {
		key, ok := text(call.Args[i], known)
		if !ok {
			s.faults = append(s.faults, place+": words."+fun.Sel.Name+" wants a constant")
		}
		return key
	}
	asks := func(key string, args int) { s.asks(place, key, args, call.Ellipsis.IsValid()) }
	switch fun.Sel.Name {
	case "Of", "Say":
		key := constant(0)
		asks(key, len(call.Args)-1)
		if hasLetters(key) {
			s.keys[key] = place
		}
	case "Plural":
		one, many := constant(1), constant(2)
		asks(one, len(call.Args)-3)
		asks(many, len(call.Args)-3)
		s.keys[many], s.plurals[many] = place, one
	case "Time":
		s.layouts[constant(1)] = place
	}
}

// asks compares a format with the arguments it gets.
func (s *said) asks(place, key string, args int, more bool) {
	if n := len(arguments(key)); n != args && !more {
		s.faults = append(s.faults, fmt.Sprintf("%s: %q asks for %d arguments and gets %d", place, key, n, args))
	}
	if said := fmt.Sprintf(key, []any{}...); len(arguments(key)) == 0 && strings.Contains(said, "%!") {
		s.faults = append(s.faults, fmt.Sprintf("%s: %q prints %q: write %%%%", place, key, said))
	}
}

// template looks at what a page's template says.
func (s *said) template(path string, data []byte) error {
	tree := tmpl.New(path)
	tree.Mode = tmpl.SkipFuncCheck
	trees := map[string]*tmpl.Tree{}
	if _, err := tree.Parse(string(data), "", "", trees); err != nil {
		return err
	}
	for _, t := range trees {
		s.node(path, t, reflect.ValueOf(t.Root))
	}
	return nil
}

// node looks for commands under a node, whatever its kind.
func (s *said) node(path string, tree *tmpl.Tree, v reflect.Value) {
	switch v.Kind() {
	case reflect.Interface, reflect.Pointer:
		if v.IsNil() {
			return
		}
		switch n := v.Interface().(type) {
		case *tmpl.Tree:
			return
		case *tmpl.CommandNode:
			s.command(path, tree, n)
		}
		s.node(path, tree, v.Elem())
	case reflect.Slice:
		for i := range v.Len() {
			s.node(path, tree, v.Index(i))
		}
	case reflect.Struct:
		for i := range v.NumField() {
			if v.Type().Field(i).IsExported() {
				s.node(path, tree, v.Field(i))
			}
		}
	}
}

func (s *said) command(path string, tree *tmpl.Tree, c *tmpl.CommandNode) {
	name, ok := c.Args[0].(*tmpl.IdentifierNode)
	if !ok || name.Ident != "say" || len(c.Args) < 2 {
		return
	}
	key, ok := c.Args[1].(*tmpl.StringNode)
	if !ok {
		return // a text made elsewhere
	}
	place, _ := tree.ErrorContext(c)
	s.asks(place, key.Text, len(c.Args)-2, false)
	if hasLetters(key.Text) {
		s.keys[key.Text] = place
	}
}

// hasLetters reports whether anything but its arguments is said by a format.
func hasLetters(key string) bool {
	return strings.IndexFunc(directive.ReplaceAllString(key, ""), unicode.IsLetter) >= 0
}

// Every key of the source has a translation, every translation a key in the source.
func TestCataloguesHoldWhatTheProgramSays(t *testing.T) {
	source := readSource(t, "..")
	require.Empty(t, source.faults)
	require.NotEmpty(t, source.keys, "nothing found: is the source still where the test looks?")
	source.layouts["2006-01-02"], source.layouts["15:04"] = "quantity.go", "quantity.go"
	for _, name := range Languages()[1:] {
		t.Run(name, func(t *testing.T) {
			c, err := load(name)
			require.NoError(t, err)
			tables, err := readTables(name)
			require.NoError(t, err)
			wanted := maps.Clone(source.keys)
			for many, one := range source.plurals {
				_, forms := table(tables, many).(map[string]any)
				if !forms {
					wanted[one] = wanted[many]
				}
			}
			for _, key := range slices.Sorted(maps.Keys(wanted)) {
				if !c.known[key] {
					t.Errorf("%s: no translation of %q", wanted[key], key)
				}
			}
			for _, key := range slices.Sorted(maps.Keys(c.known)) {
				if wanted[key] == "" {
					t.Errorf("nothing says %q any more", key)
				}
			}
			for layout, place := range source.layouts {
				if c.layouts[layout] == "" {
					t.Errorf("%s: no layout for %q", place, layout)
				}
			}
			require.Len(t, c.layouts, len(source.layouts))
			t.Logf("%d messages", len(c.known))
		})
	}
}

func table(tables messages, key string) any {
	for _, t := range tables {
		if value, ok := t[key]; ok {
			return value
		}
	}
	return nil
}

// Nothing may say that air is harmless or that a limit is kept.
func TestTranslationsClaimNoMoreThanTheKeys(t *testing.T) {
	tables, err := readTables("de")
	require.NoError(t, err)
	for _, entries := range tables {
		for key, value := range entries {
			said := strings.ToLower(fmt.Sprint(value))
			for _, word := range []string{"sicher ", "sichere", "konform", "unbedenklich", "ungefährlich", "harmlos", "grenzwert eingehalten"} {
				require.NotContains(t, said+" ", word, key)
			}
		}
	}
}
