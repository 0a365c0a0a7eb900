package farm

import (
	"strings"

	"resow/labels"
	"resow/medium"
)

// PrintedCode is the code that goes on a mat's label: the newest it was given.
func PrintedCode(c medium.Condition) medium.Code {
	if n := len(c.Tags); n > 0 {
		return c.Tags[n-1]
	}
	return c.Code
}

// Label is the label of a mat; of an empty payload the symbol holds the bare code.
func (f *Farm) Label(c medium.Condition, payload, note string) (labels.Label, error) {
	code := strings.Clone(string(PrintedCode(c))) // else all the mat's texts stay in memory
	size := c.Mat.Size()
	if c.Mat.Unidentified != "" { // where a small label has room for it too
		size = "SET APART"
	}
	reprint, err := f.reprints(c)
	return labels.Label{Code: code, Payload: payload, Size: size, Farm: f.Settings.Name, Note: note, Reprint: reprint}, err
}

// reprints counts how often the newest code of a mat was printed again.
func (f *Farm) reprints(c medium.Condition) (int, error) {
	if c.Labels == 0 {
		return 0, nil
	}
	thread, err := f.Thread(c.Code)
	if err != nil {
		return 0, err
	}
	n := 0
	for _, s := range thread {
		if b, ok := s.Body.(*medium.Relabel); ok {
			n++
			if b.NewCode != "" {
				n = 0
			}
		}
	}
	return n, nil
}
