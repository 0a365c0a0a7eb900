// Package lettering holds the embedded typefaces of everything that is printed,
// measures text and sets it on a PDF.
//
// Text in Latin, Greek, Cyrillic, Armenian and Georgian letters is [Plain]: the
// PDF writer sets it, one character after the other. Everything else goes
// through a shaper, which orders, joins and stacks its letters, and is drawn
// as outlines, with the text held beside them for programs that search.
package lettering

import "embed"

// DejaVu Sans: free licence (LICENSE.txt), covers Latin, Greek, Cyrillic,
// Armenian, Georgian, Hebrew and more; tells 1 from I, and 0 from O. The fonts
// of other scripts are in script.go.
//
//go:embed DejaVuSans.ttf DejaVuSans-Bold.ttf
var files embed.FS

// Book and Bold are the names of the two faces.
const (
	Book = "DejaVuSans.ttf"
	Bold = "DejaVuSans-Bold.ttf"
)

// The line box of both faces, in em above and below the base line: ascender
// and descender of their hhea tables. All ink of a line stays in it.
const (
	Ascent  = 0.928
	Descent = 0.236
)

// File gives a face's TrueType file. It panics on any other name: the files
// are part of the build.
func File(face string) []byte { return must(files.ReadFile(face)) }

// must gives what can't be missing but by a fault of the build.
func must[T any](value T, err error) T {
	if err != nil {
		panic(err)
	}
	return value
}
