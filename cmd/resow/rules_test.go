package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

const root = "../.."

// mayImport is the design's table of rooms: what a folder's code (not its
// tests) may import beside the standard library. Arrows run downward only.
var mayImport = map[string][]string{
	"medium":           {},
	"medium/sanitizer": {"resow/medium"},
	"medium/sunlight":  {},
	"medium/trace":     {"resow/medium"},
	"medium/lifetime":  {"gonum.org/v1/gonum"},
	"medium/pool":      {"resow/medium", "gonum.org/v1/gonum"},
	"medium/cutting":   {"gonum.org/v1/gonum"},
	"store":            {"resow/medium", "go.etcd.io/bbolt", "github.com/fxamacker/cbor/v2", "golang.org/x/sys"},
	"labels":           {"resow/labels/lettering", "github.com/skip2/go-qrcode", "github.com/jung-kurt/gofpdf", "golang.org/x/image"},
	"labels/lettering": {"github.com/go-text/typesetting", "github.com/jung-kurt/gofpdf", "golang.org/x/image"},
	"labels/report":    {"resow/medium", "resow/medium/lifetime", "resow/medium/pool", "resow/medium/cutting", "resow/medium/trace", "resow/labels/lettering", "github.com/jung-kurt/gofpdf", "golang.org/x/text"},
	"cmd/resow": {"resow/medium", "resow/medium/lifetime", "resow/medium/pool", "resow/medium/cutting", "resow/medium/sanitizer", "resow/medium/sunlight", "resow/medium/trace", "resow/store", "resow/labels", "resow/labels/report",
		"resow/cmd/resow/amount", "resow/cmd/resow/demo", "resow/cmd/resow/farm", "resow/cmd/resow/moving", "resow/cmd/resow/station", "resow/cmd/resow/ui", "github.com/spf13/cobra", "github.com/spf13/pflag", "golang.org/x/term", "golang.org/x/text"},
	"cmd/resow/farm": {"resow/medium", "resow/medium/pool", "resow/medium/sanitizer", "resow/medium/sunlight", "resow/medium/trace",
		"resow/store", "resow/labels", "resow/cmd/resow/amount"},
	"cmd/resow/ui":      {"resow/medium", "resow/cmd/resow/farm", "resow/store", "golang.org/x/term", "golang.org/x/text"},
	"cmd/resow/amount":  {"resow/medium/sanitizer"},
	"cmd/resow/moving":  {"resow/medium", "resow/store", "resow/cmd/resow/amount", "resow/cmd/resow/farm", "golang.org/x/text"},
	"cmd/resow/station": {"resow/medium", "resow/medium/sanitizer", "resow/store", "resow/labels", "resow/labels/report", "resow/cmd/resow/amount", "resow/cmd/resow/farm", "github.com/hashicorp/mdns"},
	"cmd/resow/demo":    {"resow/medium", "resow/store", "resow/labels", "resow/cmd/resow/farm"},
}

func TestFoldersImportDownward(t *testing.T) {
	for dir, imports := range importsByFolder(t) {
		allowed, ok := mayImport[dir]
		if !ok {
			t.Errorf("folder %s has no rule in mayImport; say what it may import", dir)
			continue
		}
		for path := range imports {
			first, _, _ := strings.Cut(path, "/")
			ours := first == "resow"
			if !ours && !strings.Contains(first, ".") {
				continue // standard library
			}
			if !anyPrefix(path, allowed) {
				t.Errorf("%s imports %s, which the design does not allow", dir, path)
			}
		}
	}
}

func anyPrefix(path string, allowed []string) bool {
	for _, a := range allowed {
		if path == a || strings.HasPrefix(path, a+"/") && a != "resow/medium" {
			return true
		}
	}
	return false
}

// TestEveryErrorHasARow fails when a room exports an error type that the table
// of exit codes does not know.
func TestEveryErrorHasARow(t *testing.T) {
	table, err := os.ReadFile("exit.go")
	require.NoError(t, err)
	for dir := range mayImport {
		pkg := filepath.Base(dir) + "."
		if dir == "cmd/resow" {
			pkg = ""
		}
		for _, name := range errorTypes(t, dir) {
			if !strings.Contains(string(table), "as[*"+pkg+name+"]") {
				t.Errorf("%s%s has no row in failures", pkg, name)
			}
		}
	}
}

// TestEveryWayOut holds the table of ways against what can ask for one: each case of an
// error and each name that can be missing has a hint, and no hint is for nothing.
func TestEveryWayOut(t *testing.T) {
	asked := map[string]bool{}
	for dir := range mayImport {
		for _, f := range parseFolder(t, dir, 0) {
			ast.Inspect(f, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.ValueSpec:
					if typ, ok := n.Type.(*ast.Ident); ok && typ.Name == "Case" {
						asked[text(t, n.Values[0])] = true
					}
				case *ast.KeyValueExpr:
					if key, ok := n.Key.(*ast.Ident); ok && key.Name == "What" {
						if lit, ok := n.Value.(*ast.BasicLit); ok && unknown(dir, f, n) {
							asked["no "+text(t, lit)] = true
						}
					}
				}
				return true
			})
		}
	}
	for _, k := range traceKinds {
		asked["no "+k.from] = true
	}
	asked["no "+traceAny] = true
	require.Greater(t, len(asked), 24)
	for key := range asked {
		if ways[key] == "" {
			t.Errorf("no hint for the case %q", key)
		}
	}
	rules := map[string]bool{}
	for _, dir := range []string{"medium", "labels/report"} {
		for _, f := range parseFolder(t, dir, 0) {
			for _, said := range literals(t, f) {
				rules[said], rules["lacks "+said] = true, true
			}
		}
	}
	for key, hint := range ways {
		require.NotEmpty(t, hint, key)
		if !asked[key] && !rules[key] {
			t.Errorf("nothing asks for the hint %q", key)
		}
	}
}

// unknown says whether a field of a composite literal is one of an UnknownError.
func unknown(dir string, f *ast.File, field *ast.KeyValueExpr) (is bool) {
	ast.Inspect(f, func(n ast.Node) bool {
		if lit, ok := n.(*ast.CompositeLit); ok && slices.Contains(lit.Elts, ast.Expr(field)) {
			switch typ := lit.Type.(type) {
			case *ast.Ident:
				is = typ.Name == "UnknownError" && dir == "medium"
			case *ast.SelectorExpr:
				is = typ.Sel.Name == "UnknownError"
			}
		}
		return !is
	})
	return is
}

// Rooms that every face shares name no flag, command or place to tap: nobody types a
// flag on a phone, and nobody taps on a terminal.
func TestSharedRoomsNameNoFace(t *testing.T) {
	face := regexp.MustCompile("(^|[\\s(`])--[a-z]|RESOW_|`resow|\\b(?i:taps?|phone|terminal|command line)\\b")
	command := regexp.MustCompile(`resow ([a-z]+)`)
	root := newRoot(&app{world: testWorld()})
	looked := 0
	for dir := range mayImport {
		room, _, _ := strings.Cut(dir, "/")
		shared := room == "medium" || room == "labels" || room == "store" || dir == "cmd/resow/amount" || dir == "cmd/resow/farm"
		if !shared {
			continue
		}
		for _, f := range parseFolder(t, dir, 0) {
			for _, said := range literals(t, f) {
				looked++
				require.NotRegexp(t, face, said, dir)
				for _, m := range command.FindAllStringSubmatch(said, -1) {
					if c, _, err := root.Find(m[1:]); err == nil && c != root {
						t.Errorf("%s names the command %q: %s", dir, m[0], said)
					}
				}
			}
		}
	}
	require.Greater(t, looked, 3000)
	for _, bad := range []string{"rinse it (--rinsed)", "--at is when", "see `resow verify`", "set RESOW_BY", "tap it"} {
		require.Regexp(t, face, bad)
	}
}

// literals are the texts of a file.
func literals(t *testing.T, f *ast.File) (texts []string) {
	ast.Inspect(f, func(n ast.Node) bool {
		if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
			texts = append(texts, text(t, lit))
		}
		return true
	})
	return texts
}

func text(t *testing.T, literal ast.Expr) string {
	said, err := strconv.Unquote(literal.(*ast.BasicLit).Value)
	require.NoError(t, err)
	return said
}

// errorTypes lists the exported types of a folder that have an Error method.
func errorTypes(t *testing.T, dir string) []string {
	var names []string
	for _, f := range parseFolder(t, dir, 0) {
		for _, d := range f.Decls {
			fn, ok := d.(*ast.FuncDecl)
			if !ok || fn.Name.Name != "Error" || fn.Recv == nil {
				continue
			}
			star, ok := fn.Recv.List[0].Type.(*ast.StarExpr)
			require.True(t, ok, "%s: error types have pointer receivers", dir)
			if name := star.X.(*ast.Ident).Name; ast.IsExported(name) {
				names = append(names, name)
			}
		}
	}
	return names
}

func importsByFolder(t *testing.T) map[string]map[string]bool {
	out := map[string]map[string]bool{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		if name := d.Name(); name == "testdata" || strings.HasPrefix(name, ".") && path != root {
			return filepath.SkipDir
		}
		dir, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		for _, f := range parseFolder(t, filepath.ToSlash(dir), parser.ImportsOnly) {
			if out[filepath.ToSlash(dir)] == nil {
				out[filepath.ToSlash(dir)] = map[string]bool{}
			}
			for _, spec := range f.Imports {
				out[filepath.ToSlash(dir)][strings.Trim(spec.Path.Value, `"`)] = true
			}
		}
		return nil
	})
	require.NoError(t, err)
	require.NotEmpty(t, out)
	return out
}

func parseFolder(t *testing.T, dir string, mode parser.Mode) []*ast.File {
	paths, err := filepath.Glob(filepath.Join(root, dir, "*.go"))
	require.NoError(t, err)
	var files []*ast.File
	for _, p := range paths {
		if strings.HasSuffix(p, "_test.go") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), p, nil, mode)
		require.NoError(t, err)
		files = append(files, f)
	}
	return files
}
