package draw

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/vg"

	"github.com/afterbell/afterbell/viewer/fonts"
)

// vg counts y upwards from the lower left, SVG downwards from the upper left.
func TestSVGTurnsTheAxesAround(t *testing.T) {
	c := newSVG(100, false)
	c.SetColor(Ink)
	c.Push()
	c.Translate(vg.Point{X: 10, Y: 20})
	c.Rotate(math.Pi / 2)
	c.Stroke(vg.Path{{Type: vg.MoveComp}, {Type: vg.LineComp, Pos: vg.Point{X: 5}}})
	c.FillString(fonts.Chart(12), vg.Point{}, "up")
	c.Pop()
	c.Scale(2, 2)
	c.Fill(vg.Rectangle{Max: vg.Point{X: 3, Y: 4}}.Path())
	svg := c.buf.String()
	require.Contains(t, svg, `d="M10 80l0-5"`)
	require.Contains(t, svg, `transform="matrix(`)
	require.Contains(t, svg, ` 10 80)">up</text>`)
	require.Contains(t, svg, `d="M0 100l6 0 0-8-6 0Z"`)
}

func TestSVGKeepsDashWidthAndCircle(t *testing.T) {
	c := newSVG(50, false)
	c.SetColor(Accent)
	c.SetLineWidth(1.25)
	c.SetLineDash([]vg.Length{4, 3}, 0)
	var p vg.Path
	p.Move(vg.Point{X: 30, Y: 25})
	p.Arc(vg.Point{X: 25, Y: 25}, 5, 0, 2*math.Pi)
	p.Close()
	c.Stroke(p)
	require.Equal(t, `<path fill="none" stroke="var(--accent)" stroke-width="1.25" stroke-dasharray="4 3" d="M30 25L30 25A5 5 0 0 0 20 25A5 5 0 0 0 30 25Z"/>`, c.buf.String())
}

func TestSmallPictureWithoutIDHasALabel(t *testing.T) {
	svg := SeverityMark("stop", 0, 7).SVG("", "mark")
	require.Contains(t, svg, `role="img" aria-label="Stop."`)
	require.NotContains(t, svg, " id=")
	require.Contains(t, SeverityMark("none", 0, 7).SVG("", ""), `aria-hidden="true"`)
}

// Where a log lies in its match decides what is hatched and what is called the bell.
func TestBellAndStop(t *testing.T) {
	pictures := map[string]struct {
		bell    float64
		stopped bool
		at      float64
	}{
		"busy": {140, false, 0}, "stopped": {140, true, 96.4}, "rookie": {140, false, 0}, "empty": {0, false, 0},
	}
	for name, want := range pictures {
		m := fixtureOf(name)
		s := NewScene(m.Report, m.Profile, m.Log)
		at, stopped := s.Stopped()
		require.Equal(t, want.stopped, stopped, name)
		require.InDelta(t, want.bell, s.Bell(), 1e-9, name)
		if stopped {
			require.InDelta(t, want.at, at, 1e-6, name)
		}
	}
}

// A shape that is filled and then outlined is one element; two shapes stay two.
func TestAnOutlineIsWrittenWithItsFill(t *testing.T) {
	paint := func(draw func(p *pen)) string {
		c := newSVG(20, false)
		draw(&pen{c: c, height: 20})
		return c.buf.String()
	}
	box := corners(1, 2, 8, 4)
	both := paint(func(p *pen) {
		p.area(Band, box...)
		p.outline(line{Ink, 2, nil}, box...)
	})
	require.Equal(t, 1, strings.Count(both, "<path"))
	require.Regexp(t, `^<path fill="var\(--band\)" d="[^"]+" stroke="var\(--ink\)" stroke-width="2"/>$`, both)
	for _, apart := range []func(p *pen){
		func(p *pen) { p.area(Band, box...); p.outline(line{Ink, 2, nil}, corners(1, 2, 8, 5)...) },
		func(p *pen) { p.outline(line{Ink, 2, nil}, box...); p.area(Band, box...) },
		func(p *pen) {
			p.area(Band, box...)
			p.stroke(line{Ink, 1, nil}, pt{0, 0}, pt{5, 5})
			p.outline(line{Ink, 2, nil}, box...)
		},
	} {
		require.Greater(t, strings.Count(paint(apart), "<path"), 1)
	}
}
