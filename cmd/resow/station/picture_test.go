package station

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"image"
	"image/color"
	"image/jpeg"
	"math/big"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
	"resow/store"
)

// photo is a picture whose left half is red, with an Exif part that holds an
// orientation and a place, as a phone writes it.
func photo(t testing.TB, w, h, orientation int) []byte {
	img := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			c := color.RGBA{B: 200, A: 255}
			if x < w/2 {
				c = color.RGBA{R: 200, A: 255}
			}
			img.Set(x, y, c)
		}
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, img, nil))
	tiff := []byte("MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00" + string(rune(orientation)) + "\x00\x00\x00\x00\x00\x00GPSLatitude 53.3498")
	part := append([]byte("Exif\x00\x00"), tiff...)
	n := len(part) + 2
	out := append([]byte{0xff, 0xd8, 0xff, 0xe1, byte(n >> 8), byte(n)}, part...)
	return append(out, b.Bytes()[2:]...)
}

func TestPictureIsStrippedAndUpright(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	path := "/m/" + string(mat) + "/mold"
	sent := photo(t, 3200, 1200, 6)
	require.Contains(t, string(sent), "GPSLatitude")
	done := p.upload(path, url.Values{"token": {p.token(path)}, "where": {"crop, middle"}}, sent)
	require.Equal(t, http.StatusSeeOther, done.status, textOf(done.body))
	thread := s.thread(t, mat)
	names := thread[len(thread)-1].Body.(*medium.Mold).Pictures
	require.Len(t, names, 1)
	got := p.get("/pictures/" + names[0] + ".jpg")
	require.Equal(t, http.StatusOK, got.status)
	require.NotContains(t, got.body, "GPS")
	require.NotContains(t, got.body, "Exif")
	img, err := jpeg.Decode(strings.NewReader(got.body))
	require.NoError(t, err)
	require.Equal(t, image.Pt(600, 1600), img.Bounds().Size(), "turned upright and made smaller")
	r, _, b, _ := img.At(300, 100).RGBA()
	require.Greater(t, r, b, "the left half is at the top after a turn to the right")
	has(t, p.get("/m/"+string(mat)+"/history").body, "/pictures/"+names[0]+".jpg")
	require.Equal(t, "/pair", s.phone(t).get("/pictures/"+names[0]+".jpg").header.Get("Location"), "pictures are for paired devices")
}

const lacksPicture = "<strong>The step is recorded, but its picture is not:</strong>"

// A picture never keeps a step from being recorded, and its absence is said.
func TestStepWithoutItsPicture(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	path := "/m/" + string(mat) + "/mold"
	whole := photo(t, 60, 40, 1)
	big := bytes.Repeat([]byte{0}, maxPicture+1)
	for why, data := range map[string][]byte{"neither a JPEG nor a PNG": []byte("<html>"), "cut off": whole[:len(whole)/2], "at most 12 MB": big} {
		before := len(s.thread(t, mat))
		done := p.upload(path, url.Values{"token": {s.newToken()}, "where": {"crop"}}, data)
		require.Equal(t, http.StatusSeeOther, done.status, "%s: %s", why, textOf(done.body))
		page := p.get(done.header.Get("Location"))
		has(t, page.body, lacksPicture)
		has(t, page.body, why)
		thread := s.thread(t, mat)
		require.Len(t, thread, before+1)
		require.Empty(t, medium.PicturesOf(last(thread).Body))
	}
	require.Empty(t, s.pictures(t), "nothing is left behind")

	done := p.upload("/many/mold", url.Values{"token": {s.newToken()}, "where": {"crop"}, "codes": {string(mat)}}, []byte("<html>"))
	has(t, p.get(done.header.Get("Location")).body, lacksPicture)
	got := p.uploadFor("application/json", path, url.Values{"token": {s.newToken()}, "where": {"crop"}}, []byte("<html>"))
	has(t, got.body, `"no_picture"`)
	has(t, got.body, `"next": "/m/`+string(mat)+`?step=`)
	got = p.upload(path, url.Values{"token": {s.newToken()}, "where": {"crop"}}, nil)
	require.NotContains(t, got.header.Get("Location"), "sent=", "an empty file field is no picture")

	s.photos.folder = filepath.Join(s.photos.folder, "gone")
	done = p.upload(path, url.Values{"token": {s.newToken()}, "where": {"crop"}}, whole)
	has(t, p.get(done.header.Get("Location")).body, "could not store it")
}

// More than an upload may have is refused before it is read.
func TestUploadLimit(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	before := s.anchor(t)
	got := p.upload("/m/"+string(mat)+"/mold", url.Values{"token": {s.newToken()}, "where": {"crop"}}, make([]byte, maxUpload+1))
	require.Equal(t, http.StatusRequestEntityTooLarge, got.status)
	has(t, got.body, "Leave the picture out")
	require.Equal(t, before, s.anchor(t))
}

func (r *running) pictures(t testing.TB) (names []string) {
	files, err := os.ReadDir(r.photos.folder)
	require.NoError(t, err)
	for _, f := range files {
		names = append(names, f.Name())
	}
	return names
}

// The picture of a step that was refused is removed, unless another step has it.
func TestPictureOfRefusedStep(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	path := "/m/" + string(mat) + "/mold"
	one, two := photo(t, 60, 40, 1), photo(t, 64, 40, 1)
	send := func(picture []byte, token, where string) answer {
		return p.upload(path, url.Values{"token": {token}, "where": {where}}, picture)
	}
	refused := func() answer {
		return p.upload("/m/"+string(mat)+"/inspect", url.Values{"token": {s.newToken()}, "holes": {"a few"}}, one)
	}
	require.Equal(t, http.StatusUnprocessableEntity, refused().status)
	require.Equal(t, http.StatusBadRequest, send(one, "short", "crop").status)
	require.Empty(t, s.pictures(t))
	require.Equal(t, http.StatusSeeOther, p.post("/shift/end", nil).status)
	counted := s.photos.all
	look := url.Values{"token": {s.newToken()}} // no report of danger: that is taken as the device's
	require.Equal(t, http.StatusForbidden, p.upload("/m/"+string(mat)+"/inspect", look, one).status)
	require.Equal(t, counted, s.photos.all, "without a shift nothing is decoded")
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"MK"}}).status)
	token := s.newToken()
	require.Equal(t, http.StatusSeeOther, send(one, token, "crop").status)
	require.Len(t, s.pictures(t), 1)
	require.Equal(t, http.StatusUnprocessableEntity, refused().status)
	require.Len(t, s.pictures(t), 1, "a step on record has it")

	require.Equal(t, http.StatusSeeOther, send(one, token, "crop").status, "sent once more")
	got := send(two, token, "crop")
	require.Equal(t, http.StatusSeeOther, got.status, "the step is on record")
	has(t, p.get(got.header.Get("Location")).body, "already, without this picture")
	require.Len(t, s.pictures(t), 1)

	// what is sent again later, or may be on record, is settled then
	for err, n := range map[error]int{&BusyError{}: 1, &store.WriteError{}: 2, &medium.InputError{}: 1} {
		o := order{files: files(t, photo(t, 80, 40, 1))}
		s.keepPictures(session{Hash: "x"}, &o)
		require.Len(t, s.pictures(t), 2)
		s.settlePictures(session{Hash: "x"}, &o, nil, err)
		require.Len(t, s.pictures(t), n, "%T", err)
		if n == 2 {
			require.NoError(t, os.Remove(s.photos.path(o.photo[0])))
		}
	}
	require.Equal(t, 2, s.photos.device["x"], "busy costs nothing")

	// two requests with one picture: the one that is refused leaves it to the other
	name := "aa"
	require.NoError(t, s.photos.store(name, []byte("x")))
	require.NoError(t, s.photos.store(name, []byte("x")))
	s.photos.settle(name, false)
	require.FileExists(t, s.photos.path(name))
	s.photos.settle(name, false)
	require.NoFileExists(t, s.photos.path(name))
	require.Empty(t, s.photos.under)
}

// files are pictures as a form brings them.
func files(t testing.TB, pictures ...[]byte) []*multipart.FileHeader {
	var b bytes.Buffer
	w := multipart.NewWriter(&b)
	for _, data := range pictures {
		part, err := w.CreateFormFile("picture", "x.jpg")
		require.NoError(t, err)
		_, err = part.Write(data)
		require.NoError(t, err)
	}
	require.NoError(t, w.Close())
	form, err := multipart.NewReader(&b, w.Boundary()).ReadForm(1 << 20)
	require.NoError(t, err)
	return form.File["picture"]
}

func TestPicturesOfADay(t *testing.T) {
	s, _ := start(t, nil)
	p, q := s.paired(t, Operator, "MK"), s.paired(t, Operator, "AB")
	mat := s.inStage(t, medium.Growing)[0]
	mold := func(p *phone) string {
		done := p.upload("/m/"+string(mat)+"/mold", url.Values{"token": {s.newToken()}, "where": {"crop"}}, photo(t, 60, 40, 1))
		require.Equal(t, http.StatusSeeOther, done.status)
		return p.get(done.header.Get("Location")).body
	}
	hash := func(initials string) string {
		for _, one := range s.people.list() {
			if one.Initials == initials {
				return one.Hash
			}
		}
		return ""
	}
	s.settlePictures(session{Hash: "x"}, &order{}, nil, &BusyError{}) // before the first picture of all
	for range dayOfDevice {
		require.NoError(t, s.photos.count(hash("MK"), s.clock.Now()))
	}
	has(t, mold(p), "this device has sent 100 pictures today")
	hasNot(t, mold(q), lacksPicture)
	for range dayOfAll - dayOfDevice - 1 {
		require.NoError(t, s.photos.count(s.newToken(), s.clock.Now()))
	}
	has(t, mold(q), "the station has taken 400 pictures today")
	s.clock.forward(24 * time.Hour)
	require.Equal(t, http.StatusSeeOther, p.post("/shift", url.Values{"initials": {"MK"}}).status)
	hasNot(t, mold(p), lacksPicture)
}

// TestOrientation turns a picture of two marked pixels each way (TIFF 6.0, tag
// 274): the pixel that was at the top left must come to its place.
func TestOrientation(t *testing.T) {
	for orientation, want := range map[int][2]int{1: {0, 0}, 2: {2, 0}, 3: {2, 1}, 4: {0, 1}, 5: {0, 0}, 6: {1, 0}, 7: {1, 2}, 8: {0, 2}} {
		x, y := turned(0, 0, 3, 2, orientation)
		require.Equal(t, want, [2]int{x, y}, orientation)
	}
	require.Equal(t, 6, orientation(photo(t, 10, 10, 6)))
	require.Equal(t, 1, orientation([]byte("\xff\xd8")))
}

// Colors stay what they were, and a broken Exif part turns nothing.
func TestPictureKeepsItsColors(t *testing.T) {
	for _, size := range []int{60, 4000, 9000} { // as it is, of 3 x 3 pixels and of every second
		clean, err := redraw(photo(t, size, 300, 1))
		require.NoError(t, err)
		img, err := jpeg.Decode(bytes.NewReader(clean))
		require.NoError(t, err)
		w, h := img.Bounds().Dx(), img.Bounds().Dy()
		for x, want := range map[int][3]float64{w / 4: {200, 0, 0}, 3 * w / 4: {0, 0, 200}} {
			r, g, b, _ := img.At(x, h/2).RGBA()
			require.InDeltaSlice(t, want[:], []float64{float64(r >> 8), float64(g >> 8), float64(b >> 8)}, 4, "%d at %d", size, x)
		}
	}
	for _, tiff := range []string{"", "MM", "MM\x00*\x00\x00\xff\xff", "MM\x00*\x00\x00\x00\x08\x00\x09", "MM\x00*\x00\x00\x00\x08\x00\x01\x01\x12\x00\x03\x00\x00\x00\x01\x00\x09\x00\x00"} {
		require.Equal(t, 1, tiffOrientation([]byte(tiff)), "%q", tiff)
	}
	require.Equal(t, 8, tiffOrientation([]byte("II*\x00\x08\x00\x00\x00\x01\x00\x12\x01\x03\x00\x01\x00\x00\x00\x08\x00\x00\x00")))
}

func FuzzOrientation(f *testing.F) {
	f.Add(photo(f, 8, 8, 3))
	f.Add([]byte("\xff\xd8\xff\xe1\x00\x10Exif\x00\x00II*\x00\xff\xff\xff\xff"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if o := orientation(data); o < 1 || o > 8 {
			t.Fatal(o)
		}
	})
}

func writeCertificate(t *testing.T, certPath, keyPath string) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	require.NoError(t, err)
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), DNSNames: []string{"localhost"}}
	der, err := x509.CreateCertificate(rand.Reader, template, template, &key.PublicKey, key)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(certPath, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600))
	raw, err := x509.MarshalECPrivateKey(key)
	require.NoError(t, err)
	require.NoError(t, os.WriteFile(keyPath, pem.EncodeToMemory(&pem.Block{Type: "EC PRIVATE KEY", Bytes: raw}), 0o600))
}
