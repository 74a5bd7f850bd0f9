package draw

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"math"
	"strconv"
	"strings"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"
)

// svgCanvas writes the elements of an SVG document. Colours that are tokens become custom
// properties, text keeps being text in the classes of the page's style sheet; with
// standalone set, colours are the tokens' light values. No element has a style attribute.
//
// Transforms are applied to points here, not written into the document, except around text
// under a rotation or scale.
type svgCanvas struct {
	buf        bytes.Buffer
	height     float64
	standalone bool
	state      svgState
	stack      []svgState
	ends       []string

	filled   string // the path that was filled last, and where its element ends
	filledTo int
}

type svgState struct {
	width     float64
	dash      []vg.Length
	offset    vg.Length
	color     color.Color
	halo      Token
	haloWidth float64
	m         [6]float64 // x' = m0 x + m2 y + m4, y' = m1 x + m3 y + m5
}

func newSVG(height float64, standalone bool) *svgCanvas {
	c := &svgCanvas{height: height, standalone: standalone}
	c.state.m = [6]float64{1, 0, 0, 1, 0, 0}
	vg.Initialize(c)
	return c
}

func (c *svgCanvas) SetLineWidth(w vg.Length) { c.state.width = w.Points() }

func (c *svgCanvas) SetLineDash(pattern []vg.Length, offset vg.Length) {
	c.state.dash, c.state.offset = pattern, offset
}

func (c *svgCanvas) SetColor(col color.Color) {
	if col == nil {
		col = color.Black
	}
	c.state.color = col
}

func (c *svgCanvas) Halo(t Token, w vg.Length) { c.state.halo, c.state.haloWidth = t, w.Points() }

func (c *svgCanvas) Rotate(rad float64) {
	sin, cos := math.Sincos(rad)
	c.concat([6]float64{cos, sin, -sin, cos, 0, 0})
}

func (c *svgCanvas) Translate(pt vg.Point) {
	c.concat([6]float64{1, 0, 0, 1, pt.X.Points(), pt.Y.Points()})
}

func (c *svgCanvas) Scale(x, y float64) { c.concat([6]float64{x, 0, 0, y, 0, 0}) }

func (c *svgCanvas) concat(n [6]float64) {
	m := c.state.m
	c.state.m = [6]float64{
		m[0]*n[0] + m[2]*n[1], m[1]*n[0] + m[3]*n[1],
		m[0]*n[2] + m[2]*n[3], m[1]*n[2] + m[3]*n[3],
		m[0]*n[4] + m[2]*n[5] + m[4], m[1]*n[4] + m[3]*n[5] + m[5],
	}
}

func (c *svgCanvas) Push() { c.stack = append(c.stack, c.state) }

func (c *svgCanvas) Pop() {
	c.state = c.stack[len(c.stack)-1]
	c.stack = c.stack[:len(c.stack)-1]
}

func (c *svgCanvas) Begin(g Group) {
	name, attrs := "g", ""
	if g.Href != "" {
		name = "a"
		attrs += ` href="` + escape(g.Href) + `"`
	}
	if g.Class != "" {
		attrs += ` class="` + escape(g.Class) + `"`
	}
	if g.Finding != "" {
		attrs += ` data-finding="` + escape(g.Finding) + `"`
	}
	c.buf.WriteString("<" + name + attrs + ">")
	if g.Title != "" {
		c.buf.WriteString("<title>" + escape(g.Title) + "</title>")
	}
	if b := g.Hit; b != (box{}) {
		fmt.Fprintf(&c.buf, `<rect fill="none" pointer-events="all" x="%s" y="%s" width="%s" height="%s"/>`,
			num(b.x0), num(b.y0), num(b.x1-b.x0), num(b.y1-b.y0))
	}
	c.ends = append(c.ends, "</"+name+">")
}

func (c *svgCanvas) End() {
	last := len(c.ends) - 1
	c.buf.WriteString(c.ends[last])
	c.ends = c.ends[:last]
}

func (c *svgCanvas) Stroke(p vg.Path) {
	if c.state.width <= 0 || len(p) == 0 {
		return
	}
	dash := ""
	if len(c.state.dash) > 0 {
		parts := make([]string, len(c.state.dash))
		for i, d := range c.state.dash {
			parts[i] = num(d.Points())
		}
		dash = ` stroke-dasharray="` + strings.Join(parts, " ") + `"`
		if c.state.offset != 0 {
			dash += ` stroke-dashoffset="` + num(c.state.offset.Points()) + `"`
		}
	}
	stroke := fmt.Sprintf(`stroke="%s" stroke-width="%s"%s`, c.paint(), strconv.FormatFloat(c.state.width, 'f', -1, 64), dash)
	d := c.path(p)
	if c.buf.Len() == c.filledTo && d == c.filled { // the outline of what was just filled: one element, half the bytes
		c.buf.Truncate(c.buf.Len() - len("/>"))
		fmt.Fprintf(&c.buf, ` %s/>`, stroke)
		return
	}
	fmt.Fprintf(&c.buf, `<path fill="none" %s d="%s"/>`, stroke, d)
}

func (c *svgCanvas) Fill(p vg.Path) {
	if len(p) == 0 {
		return
	}
	c.filled = c.path(p)
	fmt.Fprintf(&c.buf, `<path fill="%s" d="%s"/>`, c.paint(), c.filled)
	c.filledTo = c.buf.Len()
}

func (c *svgCanvas) FillString(f font.Face, pt vg.Point, s string) {
	if f.Font.Size == 0 || s == "" {
		return
	}
	halo := ""
	if c.state.haloWidth > 0 {
		halo = fmt.Sprintf(` stroke="%s" stroke-width="%s" stroke-linejoin="round" paint-order="stroke"`,
			c.tokenPaint(c.state.halo), num(c.state.haloWidth))
	}
	m := c.state.m
	where := ""
	if m[0] == 1 && m[1] == 0 && m[2] == 0 && m[3] == 1 {
		x, y := c.at(pt)
		where = fmt.Sprintf(`x="%s" y="%s"`, num(x), num(y))
	} else {
		// vg's y runs up and SVG's down: turn the matrix around on both sides.
		x, y := c.at(pt)
		where = fmt.Sprintf(`transform="matrix(%.5g %.5g %.5g %.5g %s %s)"`, m[0], -m[1], -m[2], m[3], num(x), num(y))
	}
	fmt.Fprintf(&c.buf, `<text class="%s" font-size="%s" fill="%s"%s %s>%s</text>`,
		escape(string(f.Font.Variant)), num(f.Font.Size.Points()), c.paint(), halo, where, escape(s))
}

// DrawImage is part of vg.Canvas; no picture of this package holds one.
func (c *svgCanvas) DrawImage(vg.Rectangle, image.Image) {}

func (c *svgCanvas) paint() string {
	if t, ok := c.state.color.(Token); ok {
		return c.tokenPaint(t)
	}
	return hexOf(c.state.color)
}

func (c *svgCanvas) tokenPaint(t Token) string {
	if c.standalone {
		return hexOf(t)
	}
	return "var(--" + escape(string(t)) + ")"
}

func hexOf(col color.Color) string {
	r, g, b, _ := col.RGBA()
	return fmt.Sprintf("#%02X%02X%02X", r>>8, g>>8, b>>8)
}

func (c *svgCanvas) at(p vg.Point) (x, y float64) {
	m, px, py := c.state.m, p.X.Points(), p.Y.Points()
	return m[0]*px + m[2]*py + m[4], c.height - (m[1]*px + m[3]*py + m[5])
}

// escape makes robot text safe in XML text and attributes. Runes that XML 1.0 does not
// allow at all, those that reorder text, and broken UTF-8 become the replacement character.
func escape(s string) string {
	var b strings.Builder
	for _, r := range s {
		switch {
		case r == '&':
			b.WriteString("&amp;")
		case r == '<':
			b.WriteString("&lt;")
		case r == '>':
			b.WriteString("&gt;")
		case r == '"':
			b.WriteString("&#34;")
		case r == '\'':
			b.WriteString("&#39;")
		case r < 0x20 && r != '\t' && r != '\n' && r != '\r', r == 0xFFFE, r == 0xFFFF,
			r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069: // these turn the order of text around
			b.WriteRune('\uFFFD')
		default:
			b.WriteRune(r)
		}
	}
	return b.String()
}
