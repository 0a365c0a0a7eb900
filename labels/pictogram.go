package labels

import (
	"math"
	"strings"

	"github.com/jung-kurt/gofpdf"
)

// stroke is a line through points in a square of 100 units, y down; or a circle
// about one point.
type stroke struct {
	points []float64 // x, y, x, y …
	radius float64   // > 0: a circle about the first point
	filled bool
}

func polyline(points ...float64) stroke { return stroke{points: points} }
func polygon(points ...float64) stroke  { return stroke{points: points, filled: true} }
func ring(x, y, r float64) stroke       { return stroke{points: []float64{x, y}, radius: r} }
func disc(x, y, r float64) stroke       { return stroke{points: []float64{x, y}, radius: r, filled: true} }

// arc is a line along a circle from one angle to another, degrees clockwise
// from the right.
func arc(x, y, r, from, to float64) stroke {
	var s stroke
	for i := range 25 {
		a := (from + (to-from)*float64(i)/24) * math.Pi / 180
		s.points = append(s.points, x+r*math.Cos(a), y+r*math.Sin(a))
	}
	return s
}

// drop is a water drop with its tip at (x, y-1.9r).
func drop(x, y, r float64, filled bool) stroke {
	s := arc(x, y, r, -30, 210)
	s.points = append([]float64{x, y - 2*r}, s.points...)
	s.points = append(s.points, x, y-2*r)
	s.filled = filled
	return s
}

// leaf is a filled leaf from its stalk at (x, y) to its tip.
func leaf(x, y, tipX, tipY float64) stroke {
	s := stroke{filled: true}
	const bulge = 0.35
	for side := 1.0; side >= -1; side -= 2 {
		for i := range 13 {
			t := float64(i) / 12
			if side < 0 {
				t = 1 - t
			}
			off := side * bulge * math.Sin(math.Pi*t) * 0.8
			s.points = append(s.points, x+(tipX-x)*t-(tipY-y)*off, y+(tipY-y)*t+(tipX-x)*off)
		}
	}
	return s
}

func sprout() []stroke {
	return []stroke{polyline(10, 88, 90, 88), polyline(50, 88, 50, 40),
		leaf(50, 48, 12, 12), leaf(50, 42, 88, 6)}
}

func pictogramOf(word string) []stroke {
	switch strings.ToLower(strings.TrimSpace(word)) {
	case "sow":
		return sprout()
	case "harvest":
		return append(sprout(), polyline(8, 66, 30, 66), polyline(70, 66, 92, 66), polyline(36, 60, 64, 72))
	case "mist":
		return []stroke{drop(30, 40, 11, false), drop(70, 40, 11, false), drop(50, 80, 11, false)}
	case "uncover": // a lid that is lifted off a sprout
		return []stroke{polyline(8, 34, 12, 20, 84, 4, 92, 16), polyline(10, 92, 90, 92), polyline(50, 92, 50, 62),
			leaf(50, 68, 22, 46), leaf(50, 64, 78, 42)}
	case "wipe": // under a mat, along fallen seed
		return []stroke{polyline(8, 26, 92, 26), disc(26, 42, 4), disc(48, 46, 4), disc(70, 42, 4), polyline(10, 72, 88, 72),
			polyline(72, 58, 88, 72, 72, 86)}
	case "rinse", "wash", "rinsed clean":
		return []stroke{drop(50, 62, 28, true)}
	case "roots left":
		return []stroke{polyline(10, 20, 90, 20), polyline(26, 20, 20, 58, 30, 92), polyline(50, 20, 54, 54, 44, 88),
			polyline(74, 20, 82, 56, 70, 92), polyline(52, 46, 66, 62), polyline(23, 44, 36, 60)}
	case "dry air":
		return []stroke{polyline(8, 34, 70, 34), arc(70, 22, 12, 90, -140), polyline(8, 54, 84, 54),
			polyline(8, 74, 60, 74), arc(60, 84, 10, -90, 140)}
	case "dry", "dry sun":
		rays := []stroke{ring(50, 50, 20)}
		for i := range 8 {
			a := float64(i) * math.Pi / 4
			rays = append(rays, polyline(50+30*math.Cos(a), 50+30*math.Sin(a), 50+44*math.Cos(a), 50+44*math.Sin(a)))
		}
		return rays
	case "sanitize":
		return []stroke{polyline(30, 92, 30, 52, 42, 38, 42, 26, 62, 26, 62, 38, 74, 52, 74, 92, 30, 92),
			polyline(42, 26, 42, 12, 62, 12, 62, 26), polyline(42, 16, 28, 16), disc(18, 10, 3), disc(18, 22, 3), disc(8, 16, 3),
			polyline(52, 58, 52, 82), polyline(40, 70, 64, 70)}
	case "mold":
		return []stroke{ring(50, 50, 42), disc(36, 40, 8), disc(62, 34, 6), disc(58, 62, 10),
			disc(34, 66, 5), disc(74, 54, 4)}
	case "cut":
		return []stroke{ring(24, 76, 13), ring(76, 76, 13), polyline(32, 66, 72, 10), polyline(68, 66, 28, 10)}
	case "hold":
		return []stroke{polyline(32, 6, 68, 6, 94, 32, 94, 68, 68, 94, 32, 94, 6, 68, 6, 32, 32, 6),
			polygon(26, 42, 74, 42, 74, 58, 26, 58)}
	case "inspect":
		return []stroke{ring(42, 42, 30), polyline(64, 64, 92, 92)}
	case "release": // an open padlock
		return []stroke{polygon(16, 48, 84, 48, 84, 94, 16, 94), polyline(32, 48, 32, 30), arc(50, 30, 18, -180, -20)}
	case "confirm", "ready":
		return []stroke{polyline(10, 54, 38, 82, 90, 20)}
	case "retire", "destroy":
		return []stroke{ring(50, 50, 42), polyline(28, 28, 72, 72), polyline(72, 28, 28, 72)}
	case "same mats": // one sheet behind another
		return []stroke{polyline(14, 34, 14, 88, 66, 88, 66, 34, 14, 34), polyline(34, 34, 34, 12, 86, 12, 86, 66, 66, 66)}
	case "end", "done":
		return []stroke{ring(50, 50, 42), polygon(34, 34, 66, 34, 66, 66, 34, 66)}
	case "undo", "undo last":
		return []stroke{arc(54, 54, 32, -150, 120), polygon(10, 46, 40, 46, 22, 20)}
	}
	return nil
}

// pictogram draws the picture for a word, if there is one.
func (p *paper) pictogram(word string, box Box) {
	at := func(x, y float64) gofpdf.PointType {
		return gofpdf.PointType{X: box.X + x*box.W/100, Y: box.Y + y*box.H/100}
	}
	p.pdf.SetLineWidth(box.W * 0.055)
	p.pdf.SetLineCapStyle("round")
	p.pdf.SetLineJoinStyle("round")
	p.pdf.SetFillColor(0, 0, 0)
	for _, s := range pictogramOf(word) {
		style := "D"
		if s.filled {
			style = "F"
		}
		if s.radius > 0 {
			c := at(s.points[0], s.points[1])
			p.pdf.Circle(c.X, c.Y, s.radius*box.W/100, style)
			continue
		}
		if s.filled {
			var points []gofpdf.PointType
			for i := 0; i < len(s.points); i += 2 {
				points = append(points, at(s.points[i], s.points[i+1]))
			}
			p.pdf.Polygon(points, "F")
			continue
		}
		start := at(s.points[0], s.points[1])
		p.pdf.MoveTo(start.X, start.Y)
		for i := 2; i < len(s.points); i += 2 {
			to := at(s.points[i], s.points[i+1])
			p.pdf.LineTo(to.X, to.Y)
		}
		p.pdf.DrawPath("D")
	}
	p.pdf.SetLineCapStyle("butt")
	p.pdf.SetLineJoinStyle("miter")
}
