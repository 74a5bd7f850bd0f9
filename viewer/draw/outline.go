package draw

import (
	"image/color"

	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"github.com/afterbell/afterbell/viewer/fonts"
)

// outlined draws strings on another canvas as filled glyph outlines, so that the picture is
// the same wherever it is opened and no reader needs the fonts. It has no groups.
type outlined struct {
	vg.Canvas
	color     color.Color
	halo      Token
	haloWidth vg.Length
}

func (o *outlined) SetColor(c color.Color) {
	o.color = c
	o.Canvas.SetColor(c)
}

func (o *outlined) Begin(Group) {}

func (o *outlined) End() {}

func (o *outlined) Halo(t Token, w vg.Length) { o.halo, o.haloWidth = t, w }

func (o *outlined) FillString(f font.Face, pt vg.Point, s string) {
	glyphs, _ := fonts.Layout(f, s)
	var p vg.Path
	for _, g := range glyphs {
		p = append(p, outline(f, g, pt)...)
	}
	if len(p) == 0 {
		return
	}
	if o.haloWidth > 0 {
		before := o.color
		o.Canvas.SetColor(o.halo)
		o.SetLineDash(nil, 0)
		o.SetLineWidth(o.haloWidth)
		o.Stroke(p)
		o.Canvas.SetColor(before)
	}
	o.Fill(p)
}

// outline is the path of one glyph of a line of text that starts at pt. TrueType outlines
// fill by the nonzero rule, which is what vg's canvases use.
func outline(f font.Face, g fonts.Glyph, pt vg.Point) vg.Path {
	var buf sfnt.Buffer
	units := fixed.Int26_6(g.Font.UnitsPerEm())
	segments, err := g.Font.LoadGlyph(&buf, g.Index, units, nil)
	if err != nil {
		return nil // a glyph that cannot be read draws nothing; its width stays
	}
	scale := f.Font.Size / vg.Length(units)
	at := func(p fixed.Point26_6) vg.Point {
		return vg.Point{
			X: pt.X + vg.Length(g.X) + vg.Length(p.X)*scale,
			Y: pt.Y - vg.Length(p.Y)*scale,
		}
	}
	var p vg.Path
	for _, s := range segments {
		switch s.Op {
		case sfnt.SegmentOpMoveTo:
			if len(p) > 0 {
				p.Close()
			}
			p.Move(at(s.Args[0]))
		case sfnt.SegmentOpLineTo:
			p.Line(at(s.Args[0]))
		case sfnt.SegmentOpQuadTo:
			p.QuadTo(at(s.Args[0]), at(s.Args[1]))
		case sfnt.SegmentOpCubeTo:
			p.CubeTo(at(s.Args[0]), at(s.Args[1]), at(s.Args[2]))
		}
	}
	if len(p) > 0 {
		p.Close()
	}
	return p
}
