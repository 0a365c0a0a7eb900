package report

import (
	"fmt"
	"html/template"
	"strings"
)

// SVG draws the plot for a page of another room, as wide and high in mm as it is
// given, with letters of the size they have in print. It has no style attribute
// and no script, so a strict content security policy lets it be.
func (p Plot) SVG(w, h float64) template.HTML { return p.picture(w, h, htmlMeasure).svg() }

// svg gives a picture as part of a page. Its texts keep their size in points
// when the page is printed at the width that it was laid out for.
func (pic picture) svg() template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg viewBox="0 0 %s %s" role="img" aria-label="%s" font-family="sans-serif">`,
		tenth(pic.w), tenth(pic.h), template.HTMLEscapeString(pic.alt))
	for _, i := range pic.inks {
		if i.text != "" {
			b.WriteString(i.svgText())
		} else {
			b.WriteString(i.svgPath())
		}
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

func (i ink) svgText() string {
	var extra string
	if i.anchor > 0 {
		extra = fmt.Sprintf(` text-anchor="%s"`, map[float64]string{0.5: "middle", 1: "end"}[i.anchor])
	}
	if i.bold {
		extra += ` font-weight="bold"`
	}
	if i.up {
		extra += fmt.Sprintf(` transform="rotate(-90 %s %s)"`, tenth(i.at.x), tenth(i.at.y))
	}
	return fmt.Sprintf(`<text x="%s" y="%s" font-size="%s"%s>%s</text>`,
		tenth(i.at.x), tenth(i.at.y), tenth(mm(i.points())), extra, template.HTMLEscapeString(loose(i.text)))
}

func (i ink) svgPath() string {
	var d strings.Builder
	for n, p := range i.path {
		command := "L"
		if n == 0 {
			command = "M"
		}
		fmt.Fprintf(&d, "%s%s %s", command, tenth(p.x), tenth(p.y))
	}
	fill := "none"
	if i.fill != noFill {
		fill = greyName(i.fill)
	}
	line := ""
	if i.width > 0 {
		line = fmt.Sprintf(` stroke="%s" stroke-width="%s"`, greyName(i.line), tenth(i.width))
	}
	if len(i.dash) > 0 {
		var lengths []string
		for _, l := range i.dash {
			lengths = append(lengths, tenth(l))
		}
		line += fmt.Sprintf(` stroke-dasharray="%s"`, strings.Join(lengths, " "))
	}
	return fmt.Sprintf(`<path d="%s" fill="%s"%s/>`, d.String(), fill, line)
}

func greyName(g int) string { return fmt.Sprintf("#%02x%02x%02x", g, g, g) }

// tenth writes a length with at most two decimals.
func tenth(v float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.2f", v), "0"), ".")
}
