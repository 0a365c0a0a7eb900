package labels

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"sync"

	qrcode "github.com/skip2/go-qrcode"
)

const (
	// QuietModules is the clear margin on every side of a QR symbol, in modules
	// (ISO/IEC 18004; the symbol inventor's printing guide says the same).
	QuietModules = 4
	// RecommendedModule is the module size that this package aims for. At
	// 203 dpi it is four printer dots, the least that the symbol inventor's
	// printing guide allows.
	RecommendedModule = 0.5
	// SmallestModule is the least module that is ever printed: the lower end of
	// the GS1 General Specifications range for QR codes at retail (0.396 to
	// 0.990 mm, section 5.12.3.1).
	SmallestModule = 0.396
)

// Symbol is one QR symbol: its modules and the size they are printed at.
type Symbol struct {
	Payload string
	Version int
	Level   string  // error correction: L, M, Q or H
	Module  float64 // side of one module, mm
	dark    [][]bool
}

// SymbolError reports a payload that cannot be printed legibly in the room
// given. SmallestSide is 0 when no size would do.
type SymbolError struct {
	Payload            string
	Side, SmallestSide float64 // mm, with the quiet zone
}

func (e *SymbolError) Error() string {
	if e.SmallestSide == 0 {
		return fmt.Sprintf("%q cannot be put in a QR symbol; use a payload of 1 to some hundred characters",
			shorten(e.Payload, 60))
	}
	return fmt.Sprintf("a symbol for %q in %.1f mm could not be scanned; it needs %.1f mm with its quiet "+
		"zone, or a shorter payload", shorten(e.Payload, 60), e.Side, e.SmallestSide)
}

// level is one error correction level that a payload can be encoded at.
type level struct {
	name    string
	version int
}

// The encoder's names mislead: its High is level Q, and its Highest level H.
var recoveryOf = map[string]qrcode.RecoveryLevel{
	"L": qrcode.Low, "M": qrcode.Medium, "Q": qrcode.High, "H": qrcode.Highest,
}

// side is the number of modules from edge to edge of the quiet zone.
func (l level) side() float64 { return float64(17+4*l.version) + 2*QuietModules }

// levels lists the levels worth using for a payload, strongest first: a weaker
// level is listed only if it makes the symbol smaller. The list is empty when
// the payload does not fit any symbol.
func levels(payload string) []level {
	key := classes(payload)
	if known, ok := levelsKnown.Load(key); ok {
		return known.([]level)
	}
	var useful []level
	for _, name := range []string{"H", "Q", "M", "L"} {
		l, err := newLevel(payload, name)
		if err != nil {
			continue
		}
		if n := len(useful); n == 0 || useful[n-1].version > l.version {
			useful = append(useful, l)
		}
	}
	if len(key) < 100 {
		levelsKnown.Store(key, useful)
	}
	return useful
}

func newLevel(payload, name string) (level, error) {
	q, err := qrcode.New(payload, recoveryOf[name])
	if err != nil {
		return level{}, err
	}
	return level{name, q.VersionNumber}, nil
}

// levelsKnown remembers the levels for payloads of one build: all bare codes
// take the same, and finding them costs four times what a symbol does.
var levelsKnown sync.Map

// classes gives the mode that each byte asks for, which is all that the size of
// a symbol depends on (ISO/IEC 18004, 7.3): numeric, alphanumeric or byte.
func classes(payload string) string {
	out := []byte(payload)
	for i, c := range out {
		switch {
		case c >= '0' && c <= '9':
			out[i] = 'n'
		case c >= 'A' && c <= 'Z' || strings.IndexByte(" $%*+-./:", c) >= 0:
			out[i] = 'a'
		default:
			out[i] = 'b'
		}
	}
	return string(out)
}

// NewSymbol encodes the payload for a square of side mm, quiet zone included.
// It takes the strongest error correction whose modules stay at or above
// RecommendedModule, and failing that SmallestModule; below that it refuses
// with a *SymbolError which tells the smallest side that works.
func NewSymbol(payload string, side float64) (Symbol, error) {
	usable := levels(payload)
	if len(usable) == 0 || math.IsNaN(side) || math.IsInf(side, 0) {
		return Symbol{}, &SymbolError{Payload: payload, Side: side}
	}
	for _, least := range []float64{RecommendedModule, SmallestModule} {
		for _, l := range usable {
			if module := side / l.side(); module >= least-1e-9 {
				return encode(payload, l, module)
			}
		}
	}
	last := usable[len(usable)-1]
	return Symbol{}, &SymbolError{Payload: payload, Side: side,
		SmallestSide: math.Ceil(last.side()*SmallestModule*10) / 10}
}

func encode(payload string, l level, module float64) (Symbol, error) {
	q, err := qrcode.New(payload, recoveryOf[l.name])
	if err != nil {
		return Symbol{}, &SymbolError{Payload: payload}
	}
	// Before the first Bitmap, or the encoder ignores it. The result is kept:
	// each Bitmap call encodes all eight masks again.
	q.DisableBorder = true
	return Symbol{Payload: payload, Version: q.VersionNumber, Level: l.name, Module: module, dark: q.Bitmap()}, nil
}

// Modules is the number of modules along one side, without the quiet zone.
func (s Symbol) Modules() int { return len(s.dark) }

// Dark reports whether the module in column x and row y is dark; both count
// from 0 at the top left. Outside the symbol everything is light.
func (s Symbol) Dark(x, y int) bool {
	return y >= 0 && y < len(s.dark) && x >= 0 && x < len(s.dark) && s.dark[y][x]
}

// Side is the printed side in mm with the quiet zone.
func (s Symbol) Side() float64 { return float64(s.Modules()+2*QuietModules) * s.Module }

// Explain says in one sentence why the symbol is as it is.
func (s Symbol) Explain() string {
	share := map[string]string{"L": "7", "M": "15", "Q": "25", "H": "30"}[s.Level]
	size := fmt.Sprintf("at or above the recommended %.1f mm", RecommendedModule)
	if s.Module < RecommendedModule-1e-9 {
		size = fmt.Sprintf("below the recommended %.1f mm but not below the published minimum of %.3f mm: use a larger "+
			"label or a shorter payload for wet work", RecommendedModule, SmallestModule)
	}
	return fmt.Sprintf("QR version %d (%d x %d modules), error correction %s (about %s %% of the codewords can be "+
		"lost), module %.3f mm, %s; %.1f mm square with a quiet zone of %d modules.",
		s.Version, s.Modules(), s.Modules(), s.Level, share, s.Module, size, s.Side(), QuietModules)
}

// run is a row of dark modules side by side.
type run struct{ x, y, n int }

func (s Symbol) runs() []run {
	var out []run
	for y, row := range s.dark {
		for x := 0; x < len(row); x++ {
			start := x
			for x < len(row) && row[x] {
				x++
			}
			if x > start {
				out = append(out, run{start, y, x - start})
			}
		}
	}
	return out
}

// path writes the PDF operators that draw the symbol with the corner of its
// quiet zone at (x, y) mm from the top left of a page pageH mm high. It is one
// path in whole module units under a matrix, so that no renderer can round
// neighbouring modules apart; separate rectangles leave hairlines.
func (s Symbol) path(x, y, pageH float64) []byte {
	var b bytes.Buffer
	scale := s.Module * pointsPerMM
	quiet := QuietModules * s.Module
	fmt.Fprintf(&b, "q 0 g %s 0 0 -%s %s %s cm\n", number(scale), number(scale),
		number((x+quiet)*pointsPerMM), number((pageH-y-quiet)*pointsPerMM))
	line := make([]byte, 0, 16)
	for _, r := range s.runs() {
		line = strconv.AppendInt(line[:0], int64(r.x), 10)
		line = append(line, ' ')
		line = strconv.AppendInt(line, int64(r.y), 10)
		line = append(line, ' ')
		line = strconv.AppendInt(line, int64(r.n), 10)
		b.Write(append(line, " 1 re\n"...))
	}
	b.WriteString("f Q")
	return b.Bytes()
}

func number(v float64) string { return strconv.FormatFloat(v, 'f', 4, 64) }
