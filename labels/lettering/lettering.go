// Package lettering holds the embedded typeface of everything that is printed,
// and prepares text for a PDF writer that sets characters from left to right
// and joins nothing: [Join] before a line is measured, [Drawn] when it is set.
package lettering

import "embed"

// DejaVu Sans: free licence (LICENSE.txt), covers Latin, Greek, Cyrillic,
// Armenian, Georgian, Hebrew, Arabic and more; tells 1 from I, and 0 from O.
//
//go:embed DejaVuSans.ttf DejaVuSans-Bold.ttf
var files embed.FS

// Book and Bold are the names of the two faces.
const (
	Book = "DejaVuSans.ttf"
	Bold = "DejaVuSans-Bold.ttf"
)

// File gives a face's TrueType file. It panics on any other name: the files
// are part of the build.
func File(face string) []byte {
	data, err := files.ReadFile(face)
	if err != nil {
		panic(err)
	}
	return data
}
