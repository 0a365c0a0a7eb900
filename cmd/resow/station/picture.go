package station

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"image"
	"image/jpeg"
	"io"
	"mime/multipart"
	"net/http"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strings"
	"sync"
	"time"

	"resow/cmd/resow/farm"
	"resow/medium"
)

// What is kept of a picture: its longer side and its quality.
const (
	keptSide    = 1600
	keptQuality = 82
)

// Pictures that are taken in a day. A farm of two hundred trays that
// photographs half of them with one phone, and has four such phones, stays
// below; at some 300 kB each the fullest day takes 120 MB. Each try counts,
// since it is the decoding that costs.
const (
	dayOfDevice = 100
	dayOfAll    = 400
)

// PictureError says why a picture was not kept. The step that it came with is
// recorded all the same.
type PictureError struct {
	Why string
	Do  string // empty: take it again
}

func (e *PictureError) Error() string {
	if e.Do != "" {
		return e.Why + "; " + e.Do
	}
	return e.Why + "; take it again with the phone's camera and send it with an inspection"
}

// photos keeps pictures beside the ledger, each under the SHA-256 of its bytes,
// which is what a step refers to.
type photos struct {
	folder string
	turn   chan struct{} // decoding takes memory and a processor: one at a time

	mu     sync.Mutex
	under  map[string]*underWay
	day    string
	all    int
	device map[string]int
}

// underWay is a picture whose steps are not on record yet.
type underWay struct {
	requests int
	fresh    bool // it was not there before
	named    bool // a step that was recorded names it
}

func newPhotos(folder string) *photos {
	return &photos{folder: folder, turn: make(chan struct{}, 1), under: map[string]*underWay{}}
}

// count counts a picture of a device and says whether the day's are used up.
func (p *photos) count(device string, now time.Time) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if day := now.Format(time.DateOnly); day != p.day {
		p.day, p.all, p.device = day, 0, map[string]int{}
	}
	switch {
	case p.device[device] >= dayOfDevice:
		return &PictureError{Why: fmt.Sprintf("this device has sent %d pictures today, which is its limit", dayOfDevice),
			Do: "send the next tomorrow, or from another device"}
	case p.all >= dayOfAll:
		return &PictureError{Why: fmt.Sprintf("the station has taken %d pictures today, which is its limit", dayOfAll),
			Do: "send the next tomorrow"}
	}
	p.all++
	p.device[device]++
	return nil
}

// uncount gives pictures back to a device's day: their step comes again.
func (p *photos) uncount(device string, n int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if n = min(n, p.device[device]); n > 0 {
		p.all, p.device[device] = p.all-n, p.device[device]-n
	}
}

// keepPictures keeps the pictures of an order, or notes why one is not kept.
func (s *Station) keepPictures(who session, o *order) {
	for _, h := range o.files {
		if h.Size == 0 {
			continue // a file field that was left empty
		}
		if err := s.keepPicture(who, o, h); err != nil {
			o.blind = append(o.blind, err.Error())
		}
	}
}

func (s *Station) keepPicture(who session, o *order, h *multipart.FileHeader) error {
	if len(o.photo) == medium.MaxPictures {
		return &PictureError{Why: fmt.Sprintf("at most %d pictures go with one step", medium.MaxPictures),
			Do: "send the others with an inspection"}
	}
	if err := s.photos.count(who.Hash, s.c.Now()); err != nil {
		return err
	}
	name, err := s.photos.keep(h)
	switch {
	case err == nil:
		o.photo = append(o.photo, name)
	case !as[*PictureError](err):
		s.log.Printf("a picture: %v", err)
		return &PictureError{Why: "the station could not store it; its terminal says why"}
	}
	return err
}

// settlePictures ends what keepPictures began, by what became of the steps.
// Where that is open, after a failed write or before a supervisor, the pictures stay.
func (s *Station) settlePictures(who session, o *order, done []medium.Step, err error) {
	again := err != nil && statusOf(err) == http.StatusServiceUnavailable
	open := err != nil && (statusOf(err) >= 500 && !again || as[*WaitingError](err))
	var named []string
	if err == nil {
		named = medium.PicturesOf(done[0].Body)
	}
	for _, name := range o.photo {
		kept := slices.Contains(named, name)
		s.photos.settle(name, kept || open)
		if err == nil && !kept {
			o.blind = append(o.blind, (&PictureError{Why: "the step was on record already, without this picture"}).Error())
		}
	}
	if again {
		s.photos.uncount(who.Hash, len(o.photo))
	}
}

// keep decodes an uploaded picture, draws it anew and stores it. What a camera
// writes beside the picture (place, time, serial number) is gone by that. It
// gives the name for the step; settle must follow when it is known what became
// of the step.
func (p *photos) keep(h *multipart.FileHeader) (string, error) {
	if h.Size > maxPicture {
		return "", &PictureError{Why: fmt.Sprintf("a picture of %d MB is too large: at most %d MB",
			h.Size>>20, maxPicture>>20)}
	}
	select {
	case p.turn <- struct{}{}:
	case <-time.After(turnFor):
		return "", &PictureError{Why: "the station is busy with other pictures"}
	}
	defer func() { <-p.turn }()
	f, err := h.Open()
	if err != nil {
		return "", err
	}
	defer f.Close()
	data, err := io.ReadAll(f)
	if err != nil {
		return "", err
	}
	clean, err := redraw(data)
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(clean)
	name := hex.EncodeToString(sum[:])
	return name, p.store(name, clean)
}

func redraw(data []byte) ([]byte, error) {
	c, err := weigh(data)
	if err != nil {
		return nil, err
	}
	if c.memory > maxDecoded/8 {
		defer debug.FreeOSMemory() // or two large ones in a row take twice as much
	}
	img, err := c.decode(until{bytes.NewReader(data), time.Now().Add(decodeFor)})
	if late := (*PictureError)(nil); errors.As(err, &late) {
		return nil, late
	}
	if err != nil {
		return nil, &PictureError{Why: "the picture is cut off or broken"}
	}
	var out bytes.Buffer
	err = jpeg.Encode(&out, upright(img.(image.RGBA64Image), orientation(data)), &jpeg.Options{Quality: keptQuality})
	return out.Bytes(), err
}

func (p *photos) path(name string) string { return filepath.Join(p.folder, name+".jpg") }

// store writes a picture under its name, whole or not at all.
func (p *photos) store(name string, data []byte) error {
	p.begin(name, false)
	if p.has(name) {
		return nil
	}
	err := writeWhole(p.path(name), data)
	if err != nil {
		p.settle(name, false)
	}
	return err
}

// begin notes that a request has a picture. One that is fresh, or was not there yet, is
// nobody else's.
func (p *photos) begin(name string, fresh bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	u := p.under[name]
	if u == nil {
		u = &underWay{fresh: !p.has(name)}
		p.under[name] = u
	}
	u.fresh = u.fresh || fresh
	u.requests++
}

func (p *photos) has(name string) bool {
	_, err := os.Stat(p.path(name))
	return err == nil
}

// settle ends what keep began. A picture that no recorded step names is
// removed, unless it was there before or another request still has it.
func (p *photos) settle(name string, named bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	u := p.under[name]
	if u == nil {
		return
	}
	u.named = u.named || named
	if u.requests--; u.requests > 0 {
		return
	}
	delete(p.under, name)
	if u.fresh && !u.named {
		_ = os.Remove(p.path(name)) // verify lists what is left
	}
}

// dropPictures removes the pictures of a step that was refused, but for those that
// another step has. Where that can't be said they stay.
func (s *Station) dropPictures(names []string) {
	if len(names) == 0 {
		return
	}
	for _, name := range names {
		s.photos.begin(name, true)
	}
	without := func(k medium.Kind) bool { return !says(k, medium.OfPictures) }
	kinds := slices.DeleteFunc(slices.Clone(farm.Recordable), without)
	named := map[string]bool{}
	err := s.door.long(func(f *farm.Farm) error {
		return f.Steps(func(step medium.Step) error {
			for _, name := range medium.PicturesOf(step.Body) {
				named[name] = true
			}
			return nil
		}, kinds...)
	})
	if err != nil {
		s.log.Printf("the pictures of a refused step stay: %v", err)
	}
	for _, name := range names {
		s.photos.settle(name, err != nil || named[name] || s.waiting.shows(name))
	}
}

// upright scales a picture down to keptSide, by the mean of the pixels that
// fall together, and turns it as its orientation says.
func upright(img image.RGBA64Image, turn int) image.Image {
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

// mean is the mean of a part of a picture: of all its pixels up to 3 x 3, of
// every second in each direction up to 6 x 6, and so on.
func mean(img image.RGBA64Image, x0, y0, w, h int) (r, g, b uint8) {
	var sr, sg, sb, n uint32
	dx, dy := (w+2)/3, (h+2)/3
	for y := y0; y < y0+h; y += dy {
		for x := x0; x < x0+w; x += dx {
			c := img.RGBA64At(x, y)
			sr, sg, sb, n = sr+uint32(c.R>>8), sg+uint32(c.G>>8), sb+uint32(c.B>>8), n+1
		}
	}
	return uint8(sr / n), uint8(sg / n), uint8(sb / n)
}

// turned gives where the pixel x, y of a w x h picture goes (TIFF 6.0, tag
// 274 Orientation: 1 upright, 3 upside down, 6 and 8 on a side, the others
// mirrored).
func turned(x, y, w, h, orientation int) (int, int) {
	if orientation >= 5 {
		x, y, w, h = y, x, h, w
	}
	if n := orientation % 4; n == 2 || n == 3 {
		x = w - 1 - x
	}
	if n := orientation % 4; n == 3 || n == 0 {
		y = h - 1 - y
	}
	return x, y
}

// orientation finds tag 274 in the Exif part of a JPEG; 1 where there is none.
func orientation(jpg []byte) int {
	if !bytes.HasPrefix(jpg, []byte{0xff, 0xd8}) {
		return 1
	}
	for at := 2; ; {
		marker, body, next, ok := segment(jpg, at)
		if !ok || marker == 0xda {
			return 1
		}
		if exif, is := bytes.CutPrefix(body, []byte("Exif\x00\x00")); is && marker == 0xe1 {
			return tiffOrientation(exif)
		}
		at = next
	}
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

// picture gives a picture that is kept.
func (v *visit) picture() error {
	name, ok := strings.CutSuffix(v.r.PathValue("name"), ".jpg")
	if !ok || !medium.IsPicture(name) {
		return v.noPage()
	}
	data, err := os.ReadFile(v.photos.path(name))
	if err != nil {
		return &NotFoundError{v.t.get("guard.nopicture")}
	}
	v.w.Header().Set("Content-Security-Policy", "default-src 'none'; sandbox")
	v.w.Header().Set("Cache-Control", "private, max-age=86400, immutable")
	return v.file("image/jpeg", data)
}
