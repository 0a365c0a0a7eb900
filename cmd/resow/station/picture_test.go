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
	"net/http"
	"net/url"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"resow/medium"
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

func TestPicturesThatAreRefused(t *testing.T) {
	s, _ := start(t, nil)
	p := s.paired(t, Operator, "MK")
	mat := s.inStage(t, medium.Growing)[0]
	path := "/m/" + string(mat) + "/mold"
	before := len(s.thread(t, mat))
	whole := photo(t, 60, 40, 1)
	bomb := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\x00\x00\xff\xff\x00\x00\xff\xff\x08\x02\x00\x00\x00\x9e\x4c\xf1\x2a")
	for name, data := range map[string][]byte{"page": []byte("<html><script>alert(1)</script>"), "cut": whole[:len(whole)/2], "svg": []byte(`<svg xmlns="http://www.w3.org/2000/svg"/>`), "bomb": bomb} {
		got := p.upload(path, url.Values{"token": {s.newToken()}, "where": {"crop"}}, data)
		require.Equal(t, http.StatusUnprocessableEntity, got.status, name)
	}
	got := p.upload(path, url.Values{"token": {s.newToken()}, "where": {"crop"}}, bytes.Repeat([]byte{0}, maxUpload+1))
	require.Equal(t, http.StatusRequestEntityTooLarge, got.status)
	require.Len(t, s.thread(t, mat), before)
	files, err := os.ReadDir(s.path + ".station/pictures")
	require.NoError(t, err)
	require.Empty(t, files, "nothing is left behind")
	got = p.upload(path, url.Values{"token": {s.newToken()}, "where": {"crop"}}, nil)
	require.Equal(t, http.StatusSeeOther, got.status, "an empty file field is no picture")
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
