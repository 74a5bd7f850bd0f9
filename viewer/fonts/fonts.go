package fonts

import (
	_ "embed"
	"sync"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"gonum.org/v1/plot/font"
)

// WOFF2 is the variable face for pages.
//
//go:embed archivo.woff2
var WOFF2 []byte

// License is the text of the SIL Open Font License that covers every face here.
//
//go:embed OFL.txt
var License string

var (
	//go:embed archivo-chart.ttf
	chartTTF []byte
	//go:embed archivo-chart-bold.ttf
	chartBoldTTF []byte
	//go:embed archivo-heading.ttf
	headingTTF []byte
)

// Typeface is the name under which the drawing code knows the family.
const Typeface font.Typeface = "Archivo"

// Variants of the family, one for each static instance: weight and width as in the style
// sheet's classes of the same name.
const (
	VariantChart     font.Variant = "c"  // 400, 88 %
	VariantChartBold font.Variant = "cb" // 640, 88 %
	VariantHeading   font.Variant = "ch" // 640, 92 %
)

// WordSpace is what chart text adds to each space, in parts of the font size.
const WordSpace = 0.06

// Chart is the face of text in pictures at size px.
func Chart(size float64) font.Face { return face(VariantChart, size, chart()) }

// ChartBold is the face of stressed text in pictures at size px.
func ChartBold(size float64) font.Face { return face(VariantChartBold, size, chartBold()) }

// Heading is the face of names that head a row of a picture at size px.
func Heading(size float64) font.Face { return face(VariantHeading, size, heading()) }

var (
	chart     = sync.OnceValue(func() *opentype.Font { return parse(chartTTF) })
	chartBold = sync.OnceValue(func() *opentype.Font { return parse(chartBoldTTF) })
	heading   = sync.OnceValue(func() *opentype.Font { return parse(headingTTF) })
	plain     = sync.OnceValue(func() *opentype.Font { return parse(liberationsansregular.TTF) })
	bold      = sync.OnceValue(func() *opentype.Font { return parse(liberationsansbold.TTF) })
)

func face(v font.Variant, size float64, f *opentype.Font) font.Face {
	return font.Face{Font: font.Font{Typeface: Typeface, Variant: v, Size: font.Points(size)}, Face: f}
}

// parse panics on a broken font: all of them are compiled in.
func parse(ttf []byte) *opentype.Font {
	f, err := opentype.Parse(ttf)
	if err != nil {
		panic("embedded font: " + err.Error())
	}
	return f
}

// Glyph is one drawn rune: which font has it, where its origin lies from the start of the
// text, in font-size units scaled to the face's size.
type Glyph struct {
	Font  *opentype.Font
	Index sfnt.GlyphIndex
	X     float64
}

// Layout places the glyphs of s on a line that starts at 0 and returns them with the
// line's whole width, both in the unit of the face's size. A rune that neither Archivo nor
// Liberation Sans has is drawn as the empty box of Archivo.
func Layout(f font.Face, s string) (glyphs []Glyph, width float64) {
	var buf sfnt.Buffer
	size := f.Font.Size.Points()
	for _, r := range s {
		from := f.Face
		index, err := from.GlyphIndex(&buf, r)
		if err != nil || index == 0 {
			if fallback := fallbackFor(f.Font.Variant); has(fallback, &buf, r) {
				from = fallback
				index, _ = fallback.GlyphIndex(&buf, r)
			}
		}
		glyphs = append(glyphs, Glyph{Font: from, Index: index, X: width})
		units := fixed.Int26_6(from.UnitsPerEm())
		advance, err := from.GlyphAdvance(&buf, index, units, 0)
		if err == nil {
			width += float64(advance) / float64(units) * size
		}
		if r == ' ' {
			width += WordSpace * size
		}
	}
	return glyphs, width
}

// Width is the width of s drawn in f, in the unit of the face's size.
func Width(f font.Face, s string) float64 {
	_, w := Layout(f, s)
	return w
}

func fallbackFor(v font.Variant) *opentype.Font {
	if v == VariantChart {
		return plain()
	}
	return bold()
}

func has(f *opentype.Font, buf *sfnt.Buffer, r rune) bool {
	index, err := f.GlyphIndex(buf, r)
	return err == nil && index != 0
}
