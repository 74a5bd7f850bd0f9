package draw

import (
	"bytes"
	"encoding/xml"
	"errors"
	"image/png"
	"io"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// A page is served with a policy that forbids inline style, and follows light, dark and
// print only through tokens.
func TestSVGIsWellFormedAndHoldsOnlyTokens(t *testing.T) {
	known := map[string]bool{"none": true}
	for _, s := range Palette() {
		known["var(--"+string(s.Token)+")"] = true
	}
	eachPicture(t, func(t *testing.T, p *Picture) {
		ids := map[string]bool{}
		d := xml.NewDecoder(strings.NewReader(p.SVG("x", "wide")))
		elements := 0
		for {
			token, err := d.Token()
			if errors.Is(err, io.EOF) {
				break
			}
			require.NoError(t, err)
			start, ok := token.(xml.StartElement)
			if !ok {
				continue
			}
			elements++
			for _, a := range start.Attr {
				switch a.Name.Local {
				case "style", "onload", "onclick":
					t.Errorf("<%s> has %s=%q", start.Name.Local, a.Name.Local, a.Value)
				case "fill", "stroke":
					require.True(t, known[a.Value], "<%s %s=%q> is no token", start.Name.Local, a.Name.Local, a.Value)
				case "id":
					require.False(t, ids[a.Value], "id %q twice", a.Value)
					ids[a.Value] = true
				case "font-size":
					size, err := strconv.ParseFloat(a.Value, 64)
					require.NoError(t, err)
					require.GreaterOrEqual(t, size, 12.0, "text under 12 px")
				}
				require.NotContains(t, a.Value, "NaN")
				require.NotContains(t, a.Value, "Inf")
			}
		}
		require.Greater(t, elements, 2)
	})
}

func TestEveryPictureSaysWhatItShows(t *testing.T) {
	eachPicture(t, func(t *testing.T, p *Picture) {
		require.NotEmpty(t, p.Title)
		require.Positive(t, p.Width)
		require.Positive(t, p.Height)
		require.Less(t, p.Height, 1200.0, "a picture must not run away")
		for _, row := range p.Table.Rows {
			require.Len(t, row, len(p.Table.Head), "a row of the table lacks or has too many cells")
		}
	})
}

func TestLabelsLieInsideThePicture(t *testing.T) {
	const slack = 1.0 // px: side bearings are not part of a box
	eachPicture(t, func(t *testing.T, p *Picture) {
		for _, l := range textsOf(p) {
			in := l.box.x0 >= -slack && l.box.x1 <= p.Width+slack && l.box.y0 >= -slack && l.box.y1 <= p.Height+slack
			require.True(t, in, "%q lies at %.0f,%.0f to %.0f,%.0f in a picture of %.0f by %.0f",
				l.text, l.box.x0, l.box.y0, l.box.x1, l.box.y1, p.Width, p.Height)
		}
	})
}

// What shares an axis or a row must be readable: no two texts of the well-behaved matches
// may cover each other.
func TestLabelsDoNotCoverEachOther(t *testing.T) {
	for _, match := range []string{"busy", "rookie", "stopped", "noscore", "novoltage", "one", "crowded"} {
		for name, p := range picturesOf(fixture.All()[match]) {
			texts := textsOf(p)
			for i, a := range texts {
				for _, b := range texts[:i] {
					inner := box{a.box.x0 + 1, a.box.y0 + 2, a.box.x1 - 1, a.box.y1 - 2}
					require.False(t, inner.meets(b.box), "%s, %s: %q covers %q", match, name, a.text, b.text)
				}
			}
		}
	}
}

func TestSmallRibbonHasNoText(t *testing.T) {
	for name, m := range fixture.All() {
		p := picturesOf(m)["ribbon small"]
		require.Empty(t, textsOf(p), name)
		require.LessOrEqual(t, p.Height, 80.0)
	}
}

func TestPicturesLeaveAsFiles(t *testing.T) {
	m := fixture.Busy()
	s := NewScene(m.Report, m.Profile, m.Log)
	p := Ribbon(s, RibbonOptions{Width: 1040})

	var b bytes.Buffer
	require.NoError(t, p.WritePNG(&b, 2))
	img, err := png.Decode(&b)
	require.NoError(t, err)
	require.InDelta(t, 2*p.Width, float64(img.Bounds().Dx()), 1)
	require.InDelta(t, 2*p.Height, float64(img.Bounds().Dy()), 1)
	colours := map[[3]uint32]int{}
	for y := 0; y < img.Bounds().Dy(); y += 3 {
		for x := 0; x < img.Bounds().Dx(); x += 3 {
			r, g, b, _ := img.At(x, y).RGBA()
			colours[[3]uint32{r >> 8, g >> 8, b >> 8}]++
		}
	}
	for _, want := range []Token{Paper, Band, Usual, Accent} {
		r, g, b, _ := want.RGBA()
		require.Positive(t, colours[[3]uint32{r >> 8, g >> 8, b >> 8}], "no %s in the image", want)
	}

	b.Reset()
	require.NoError(t, p.WritePDF(&b))
	require.True(t, bytes.HasPrefix(b.Bytes(), []byte("%PDF-")))
	require.NotContains(t, b.String(), "/Font <<\n/F", "text is outlines, no font is needed")

	b.Reset()
	require.NoError(t, p.WriteSVG(&b))
	require.NotContains(t, b.String(), "<text")
	require.NotContains(t, b.String(), "var(")
	require.Regexp(t, regexp.MustCompile(`fill="#AF3206"`), b.String())
	require.NoError(t, xml.Unmarshal(b.Bytes(), new(struct{ XMLName xml.Name })))
}

func TestRobotTextIsEscaped(t *testing.T) {
	eachPicture(t, func(t *testing.T, p *Picture) {
		svg := p.SVG("x", "")
		require.NotContains(t, svg, "<script")
		require.NotContains(t, svg, "<img")
		require.NotContains(t, svg, "\x00")
		require.NotContains(t, svg, "\u202e")
	})
}
