package labels

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"io"

	"golang.org/x/image/vector"

	"resow/labels/lettering"
)

// single is a symbol in a file of its own, with the code in two lines below
// its quiet zone; lengths are modules.
type single struct {
	Symbol
	lines []string
	em    float64
}

// mostEm keeps the code below a large symbol from growing with it, modules.
const mostEm = 7.0

func (s Symbol) single(code string) (single, error) {
	if code == "" {
		return single{Symbol: s}, nil
	}
	code, err := Parse(code)
	if err != nil {
		return single{}, err
	}
	return single{s, []string{code[:4], code[4:]}, min(mostEm, float64(s.Modules())/halfCode)}, nil
}

func (s single) width() int { return s.Modules() + 2*QuietModules }

func (s single) height() int {
	if len(s.lines) == 0 {
		return s.width()
	}
	return s.width() + int((float64(len(s.lines))*codePitch)*s.em) + 1
}

// letters calls draw with the outline of each line, and where its base line
// begins.
func (s single) letters(draw func(outline []lettering.Segment, x, y float64)) {
	for i, line := range s.lines {
		x := (float64(s.width()) - lettering.Width(line, true)*s.em) / 2
		draw(lettering.Outline(line, true), x, float64(s.width())+(float64(i)*codePitch+capHeight)*s.em)
	}
}

// WriteSVG draws the symbol with its quiet zone as an SVG image in millimetres.
// The code stands below it as outlines, so that an engraver's program needs no
// font; an empty code leaves it out.
func (s Symbol) WriteSVG(w io.Writer, code string) error {
	f, err := s.single(code)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %d %d" `+
		`shape-rendering="crispEdges">`,
		number(float64(f.width())*s.Module), number(float64(f.height())*s.Module), f.width(), f.height())
	if code != "" {
		fmt.Fprintf(&b, "<title>%s</title>", Print(code))
	}
	fmt.Fprintf(&b, `<rect width="%d" height="%d" fill="#fff"/><path fill="#000" d="`, f.width(), f.height())
	for _, r := range s.runs() {
		fmt.Fprintf(&b, "M%d %dh%dv1h-%dz", r.x+QuietModules, r.y+QuietModules, r.n, r.n)
	}
	b.WriteString(`"/>`)
	f.letters(func(outline []lettering.Segment, x, y float64) {
		b.WriteString(`<path fill="#000" shape-rendering="auto" d="`)
		for i, s := range outline {
			if s.Op == 'm' && i > 0 {
				b.WriteByte('Z')
			}
			b.WriteByte(s.Op - 'a' + 'A')
			for _, p := range s.Points() {
				fmt.Fprintf(&b, "%.3f %.3f ", x+p[0]*f.em, y-p[1]*f.em)
			}
		}
		b.WriteString(`Z"/>`)
	})
	b.WriteString("</svg>\n")
	_, err = w.Write(b.Bytes())
	return err
}

// WritePNG draws the symbol with its quiet zone as a black and white PNG with
// pixels (1 to 100) whole pixels per module, and the code below as WriteSVG.
func (s Symbol) WritePNG(w io.Writer, pixels int, code string) error {
	if pixels < 1 || pixels > 100 {
		return refused("%d pixels per module cannot be drawn; take 1 to 100, 8 is good for a screen", pixels)
	}
	f, err := s.single(code)
	if err != nil {
		return err
	}
	whole := image.Rect(0, 0, f.width()*pixels, f.height()*pixels)
	img := image.NewPaletted(whole, color.Palette{color.White, color.Black})
	for y := range f.width() * pixels {
		for x := range f.width() * pixels {
			if s.Dark(x/pixels-QuietModules, y/pixels-QuietModules) {
				img.Pix[y*img.Stride+x] = 1
			}
		}
	}
	f.letters(func(outline []lettering.Segment, x, y float64) { stamp(img, outline, x, y, f.em, float64(pixels)) })
	return png.Encode(w, img)
}

// stamp fills an outline; a pixel is black where more than half of it is.
func stamp(img *image.Paletted, outline []lettering.Segment, x, y, em, pixels float64) {
	ink := vector.NewRasterizer(img.Rect.Dx(), img.Rect.Dy())
	at := func(p [2]float64) (float32, float32) {
		return float32((x + p[0]*em) * pixels), float32((y - p[1]*em) * pixels)
	}
	for _, s := range outline {
		p := s.Points()
		ax, ay := at(p[0])
		switch s.Op {
		case 'm':
			ink.ClosePath()
			ink.MoveTo(ax, ay)
		case 'l':
			ink.LineTo(ax, ay)
		case 'c':
			bx, by := at(p[1])
			cx, cy := at(p[2])
			ink.CubeTo(ax, ay, bx, by, cx, cy)
		}
	}
	ink.ClosePath()
	mask := image.NewAlpha(img.Rect)
	ink.Draw(mask, mask.Rect, image.Opaque, image.Point{})
	for i, a := range mask.Pix {
		if a >= 128 {
			img.Pix[i] = 1
		}
	}
}
