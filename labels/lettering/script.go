package lettering

import (
	"bytes"
	"compress/gzip"
	"embed"
	"io"
	"sync"
	"unicode"

	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/language"
)

// Fonts for the scripts that DejaVu lacks or can't stack, compressed, as Debian
// ships them. Licences: scripts/LICENSE-noto.txt and scripts/LICENSE-droid.txt.
//
//go:embed scripts/*.gz
var packed embed.FS

// east has Han, kana, bopomofo and hangul in one style: Chinese and Japanese
// names share the shapes of their common characters.
const east = "DroidSansFallback"

// ownFont names the font of each script that has one.
var ownFont = map[language.Script]string{
	language.Adlam:        "NotoSansAdlam-Regular",
	language.Arabic:       "NotoSansArabic-Regular",
	language.Bengali:      "NotoSansBengali-Regular",
	language.Bopomofo:     east,
	language.Cherokee:     "NotoSansCherokee-Regular",
	language.Devanagari:   "NotoSansDevanagari-Regular",
	language.Ethiopic:     "NotoSansEthiopic-Regular",
	language.Gujarati:     "NotoSansGujarati-Regular",
	language.Gurmukhi:     "NotoSansGurmukhi-Regular",
	language.Han:          east,
	language.Hangul:       east,
	language.Hiragana:     east,
	language.Kannada:      "NotoSansKannada-Regular",
	language.Katakana:     east,
	language.Khmer:        "NotoSansKhmer-Regular",
	language.Lao:          "NotoSansLao-Regular",
	language.Malayalam:    "NotoSansMalayalam-Regular",
	language.Meetei_Mayek: "NotoSansMeeteiMayek-Regular",
	language.Myanmar:      "NotoSansMyanmar-Regular",
	language.Ol_Chiki:     "NotoSansOlChiki-Regular",
	language.Oriya:        "NotoSansOriya-Regular",
	language.Sinhala:      "NotoSansSinhala-Regular",
	language.Syriac:       "NotoSansSyriac-Regular",
	language.Tamil:        "NotoSansTamil-Regular",
	language.Telugu:       "NotoSansTelugu-Regular",
	language.Thaana:       "NotoSansThaana-Regular",
	language.Thai:         "NotoSansThai-Regular",
	language.Tibetan:      "NotoSerifTibetan-Regular",
}

// shelf keeps the fonts that were unpacked. It has its own lock, as every
// other use of a face has: a font.Face must not be used by two goroutines.
type shelf struct {
	sync.Mutex
	faces map[string]*font.Face
}

var opened = shelf{faces: map[string]*font.Face{}}

// face unpacks a font when it is first needed. A broken one is a fault of the
// build, and a test opens them all, hence no error.
func (s *shelf) face(name string) *font.Face {
	if f, ok := s.faces[name]; ok {
		return f
	}
	f := must(font.ParseTTF(bytes.NewReader(unpack(name))))
	s.faces[name] = f
	return f
}

func unpack(name string) []byte {
	if name == Book || name == Bold {
		return File(name)
	}
	data := must(packed.ReadFile("scripts/" + name + ".ttf.gz"))
	return must(io.ReadAll(must(gzip.NewReader(bytes.NewReader(data)))))
}

// choice picks the font of each character for the shaper: the font of its
// script, then DejaVu, then the large font of East Asia for its punctuation.
type choice struct {
	*shelf
	bold   bool
	script language.Script
}

func (c *choice) SetScript(s language.Script) { c.script = s }

func (c *choice) ResolveFace(r rune) *font.Face {
	own := ownFont[language.LookupScript(r)]
	if own == "" && r > unicode.MaxASCII { // digits and brackets look the same in all names
		own = ownFont[c.script]
	}
	names := []string{own, Book, east}
	if c.bold {
		names = []string{own, Bold, Book, east}
	}
	for _, name := range names {
		if name == "" {
			continue
		}
		if f := c.face(name); has(f, r) {
			return f
		}
	}
	return c.face(names[1])
}

func has(f *font.Face, r rune) bool {
	g, ok := f.NominalGlyph(r)
	return ok && g != 0
}
