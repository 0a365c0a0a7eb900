package labels

// Fonts gives the two embedded TrueType files, book and bold, for other
// printed papers. Their licence is in fonts/LICENSE.txt.
func Fonts() (book, bold []byte, err error) {
	if book, err = fontFiles.ReadFile("fonts/DejaVuSans.ttf"); err != nil {
		return nil, nil, err
	}
	bold, err = fontFiles.ReadFile("fonts/DejaVuSans-Bold.ttf")
	return book, bold, err
}
