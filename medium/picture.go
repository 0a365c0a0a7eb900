package medium

import "fmt"

// MaxPictures is how many pictures one step may refer to.
const MaxPictures = 6

// IsPicture says whether a text names a picture: the SHA-256 of its file in
// 64 lower-case hexadecimal digits. The ledger keeps the name only; the file
// lies beside it, and the name shows whether it is still the same one.
func IsPicture(name string) bool {
	if len(name) != 64 {
		return false
	}
	for _, r := range name {
		if (r < '0' || r > '9') && (r < 'a' || r > 'f') {
			return false
		}
	}
	return true
}

// PicturesOf gives the names of the pictures that a step refers to.
func PicturesOf(b Body) []string {
	row, _ := KindNamed(KindOf(b))
	for _, f := range row.Fields {
		if f.Of == OfPictures {
			return f.get(b).([]string)
		}
	}
	return nil
}

func checkPictures(names []string) error {
	if len(names) > MaxPictures {
		return &InputError{Field: "pictures", Value: fmt.Sprint(len(names)), Want: fmt.Sprintf("at most %d", MaxPictures)}
	}
	for _, n := range names {
		if !IsPicture(n) {
			return &InputError{Field: "picture", Value: n[:min(len(n), 70)], Want: "the SHA-256 of its file in hexadecimal"}
		}
	}
	return nil
}
