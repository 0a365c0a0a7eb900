package station

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"fmt"
	"image"
	"image/jpeg"
	_ "image/png" // phones send screenshots too
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"sync"

	"resow/medium"
)

// Limits of a picture: pixels that are decoded (memory), and the longer side
// and the quality of what is kept.
const (
	maxPixels   = 50e6
	keptSide    = 1600
	keptQuality = 82
)

// PictureError refuses a picture.
type PictureError struct{ Why string }

func (e *PictureError) Error() string {
	return e.Why + "; take it again with the camera as a JPEG, or record the step without a picture"
}

// photos keeps pictures beside the ledger, each under the SHA-256 of its bytes,
// which is what a step refers to.
type photos struct {
	folder string
	one    sync.Mutex // decoding takes memory: one at a time
}

func newPhotos(folder string) *photos { return &photos{folder: folder} }

// keep decodes an uploaded picture, draws it anew and stores it. What a camera
// writes beside the picture (place, time, serial number) is gone by that. It
// gives the name for the step.
func (p *photos) keep(h *multipart.FileHeader) (string, error) {
	f, err := h.Open()
	if err != nil {
		return "", &PictureError{Why: "the picture did not arrive"}
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, maxUpload))
	if err != nil {
		return "", &PictureError{Why: "the picture did not arrive whole"}
	}
	clean, err := p.redraw(data)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(clean)
	name := hex.EncodeToString(sum[:])
	return name, p.store(name, clean)
}

func (p *photos) redraw(data []byte) ([]byte, error) {
	p.one.Lock()
	defer p.one.Unlock()
	c, format, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, &PictureError{Why: "this file is no JPEG or PNG picture"}
	}
	if c.Width < 1 || c.Height < 1 || float64(c.Width)*float64(c.Height) > maxPixels {
		return nil, &PictureError{Why: fmt.Sprintf("a picture of %d x %d is too large", c.Width, c.Height)}
	}
	img, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, &PictureError{Why: "the picture is cut off"}
	}
	turn := 1
	if format == "jpeg" {
		turn = orientation(data)
	}
	var out bytes.Buffer
	if err := jpeg.Encode(&out, upright(img, turn), &jpeg.Options{Quality: keptQuality}); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

// store writes a picture under its name, whole or not at all.
func (p *photos) store(name string, data []byte) error {
	path := filepath.Join(p.folder, name+".jpg")
	if _, err := os.Stat(path); err == nil {
		return nil
	}
	return writeWhole(path, data)
}

// upright scales a picture down to keptSide, by the mean of the pixels that
// fall together, and turns it as its orientation says.
func upright(img image.Image, turn int) image.Image {
	b := img.Bounds()
	w, h := b.Dx(), b.Dy()
	step := max(1, (max(w, h)+keptSide-1)/keptSide)
	sw, sh := max(1, w/step), max(1, h/step)
	dw, dh := sw, sh
	if turn >= 5 {
		dw, dh = sh, sw
	}
	out := image.NewRGBA(image.Rect(0, 0, dw, dh))
	for y := range sh {
		for x := range sw {
			dx, dy := turned(x, y, sw, sh, turn)
			i := out.PixOffset(dx, dy)
			r, g, bl := mean(img, b.Min.X+x*step, b.Min.Y+y*step, min(step, w-x*step), min(step, h-y*step))
			out.Pix[i], out.Pix[i+1], out.Pix[i+2], out.Pix[i+3] = r, g, bl, 255
		}
	}
	return out
}

func mean(img image.Image, x0, y0, w, h int) (r, g, b uint8) {
	var sr, sg, sb uint32
	for y := y0; y < y0+h; y++ {
		for x := x0; x < x0+w; x++ {
			pr, pg, pb, _ := img.At(x, y).RGBA()
			sr, sg, sb = sr+pr>>8, sg+pg>>8, sb+pb>>8
		}
	}
	n := uint32(w * h)
	return uint8(sr / n), uint8(sg / n), uint8(sb / n)
}

// turned gives where the pixel x, y of a w x h picture goes (TIFF 6.0, tag
// 274 Orientation: 1 upright, 3 upside down, 6 and 8 on a side, the others
// mirrored).
func turned(x, y, w, h, orientation int) (int, int) {
	switch orientation {
	case 2:
		return w - 1 - x, y
	case 3:
		return w - 1 - x, h - 1 - y
	case 4:
		return x, h - 1 - y
	case 5:
		return y, x
	case 6:
		return h - 1 - y, x
	case 7:
		return h - 1 - y, w - 1 - x
	case 8:
		return y, w - 1 - x
	}
	return x, y
}

// orientation finds tag 274 in the Exif part of a JPEG; 1 where there is none.
func orientation(jpg []byte) int {
	for at := 2; at+4 <= len(jpg) && jpg[at] == 0xff; {
		length := int(binary.BigEndian.Uint16(jpg[at+2:]))
		if jpg[at+1] == 0xda || length < 2 || at+2+length > len(jpg) {
			return 1
		}
		if part := jpg[at+4 : at+2+length]; jpg[at+1] == 0xe1 && bytes.HasPrefix(part, []byte("Exif\x00\x00")) {
			return tiffOrientation(part[6:])
		}
		at += 2 + length
	}
	return 1
}

func tiffOrientation(tiff []byte) int {
	if len(tiff) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.BigEndian
	if tiff[0] == 'I' {
		order = binary.LittleEndian
	}
	at := int64(order.Uint32(tiff[4:]))
	if at+2 > int64(len(tiff)) {
		return 1
	}
	n := int64(order.Uint16(tiff[at:]))
	for i := range n {
		e := at + 2 + 12*i
		if e+12 > int64(len(tiff)) {
			return 1
		}
		if order.Uint16(tiff[e:]) == 274 {
			if v := int(order.Uint16(tiff[e+8:])); v >= 1 && v <= 8 {
				return v
			}
		}
	}
	return 1
}

func (s *Station) picture(w http.ResponseWriter, r *http.Request, who session) {
	name := r.PathValue("name")
	if len(name) != 68 || name[64:] != ".jpg" || !medium.IsPicture(name[:64]) {
		s.fail(w, r, who, http.StatusNotFound, &RequestError{s.t.get("guard.nopage")})
		return
	}
	data, err := os.ReadFile(filepath.Join(s.photos.folder, name))
	if err != nil {
		s.fail(w, r, who, http.StatusNotFound, &RequestError{s.t.get("guard.nopicture")})
		return
	}
	w.Header().Set("Content-Type", "image/jpeg")
	w.Header().Set("Content-Security-Policy", "default-src 'none'; sandbox")
	w.Header().Set("Cache-Control", "private, max-age=86400, immutable")
	_, _ = w.Write(data)
}
