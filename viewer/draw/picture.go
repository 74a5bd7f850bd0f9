package draw

import (
	"bufio"
	"fmt"
	"io"
	"strings"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
	"gonum.org/v1/plot/vg/vgpdf"
)

// Picture is one drawing of known size in pixels, with the same facts in words and as a
// table.
type Picture struct {
	Name          string // short, for file names and ids: "ribbon"
	Width, Height float64
	Title         string
	Desc          string
	Table         Table
	Links         bool // holds links, so it is not one image to a screen reader
	paint         func(*pen)
	margin        float64 // around it when it leaves as a file
}

// Table is the facts of a picture, every cell text with its unit.
type Table struct {
	Head []string
	Rows [][]string
}

// Paint draws p on any canvas of its size.
func (p *Picture) Paint(c Canvas) {
	p.paint(&pen{c: c, height: p.Height})
}

// SVG is p as an element for a page. The page has the style sheet with the tokens and the
// text classes; class is added to the element's own, and id makes the ids inside unique in
// the page. Without an id the element has a label instead of title and description, and
// is hidden from screen readers when it has no title: its words stand beside it.
func (p *Picture) SVG(id, class string) string {
	c := newSVG(p.Height, false)
	p.Paint(c)
	role := "img"
	if p.Links {
		role = "group"
	}
	spoken, words := "", ""
	switch {
	case id != "":
		e := escape(id)
		spoken = fmt.Sprintf(` role="%s" aria-labelledby="%s-t %s-d"`, role, e, e)
		words = fmt.Sprintf(`<title id="%s-t">%s</title><desc id="%s-d">%s</desc>`, e, escape(p.Title), e, escape(p.Desc))
	case p.Title != "":
		spoken = fmt.Sprintf(` role="%s" aria-label="%s"`, role, escape(p.Title))
	default:
		spoken = ` aria-hidden="true"`
	}
	return fmt.Sprintf(`<svg xmlns="http://www.w3.org/2000/svg" class="%s" viewBox="0 0 %s %s" width="%s" height="%s"%s>%s%s</svg>`,
		escape(strings.TrimSpace("picture "+class)), num(p.Width), num(p.Height), num(p.Width), num(p.Height), spoken, words, c.buf.String())
}

// WriteSVG writes p as a document that needs nothing else: light colours, text as outlines.
func (p *Picture) WriteSVG(w io.Writer) error {
	width, height := p.outer()
	c := newSVG(height, true)
	p.onPaper(&outlined{Canvas: c})
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" width="%s" height="%s" role="img"><title>%s</title><desc>%s</desc>`,
		num(width), num(height), num(width), num(height), escape(p.Title), escape(p.Desc))
	b.Write(c.buf.Bytes())
	b.WriteString("</svg>\n")
	return b.Flush()
}

// WritePNG writes p as an image of scale device pixels a pixel.
func (p *Picture) WritePNG(w io.Writer, scale float64) error {
	width, height := p.outer()
	c := vgimg.NewWith(vgimg.UseWH(vg.Points(width), vg.Points(height)), vgimg.UseDPI(int(72*scale+0.5)))
	p.onPaper(&outlined{Canvas: c})
	_, err := vgimg.PngCanvas{Canvas: c}.WriteTo(w)
	return err
}

// WritePDF writes p as one PDF page, a pixel being 1/96 inch as in CSS.
func (p *Picture) WritePDF(w io.Writer) error {
	const pixel = 72.0 / 96
	width, height := p.outer()
	c := vgpdf.New(vg.Points(width*pixel), vg.Points(height*pixel))
	c.Scale(pixel, pixel)
	p.onPaper(&outlined{Canvas: c})
	_, err := c.WriteTo(w)
	return err
}

// outer is the size of p as a file, its margin included.
func (p *Picture) outer() (width, height float64) { return p.Width + 2*p.margin, p.Height + 2*p.margin }

func (p *Picture) onPaper(c Canvas) {
	width, height := p.outer()
	c.SetColor(Paper)
	c.Fill(vg.Rectangle{Max: vg.Point{X: vg.Points(width), Y: vg.Points(height)}}.Path())
	c.Translate(vg.Point{X: vg.Points(p.margin), Y: vg.Points(p.margin)})
	p.Paint(c)
}
