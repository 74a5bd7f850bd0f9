package draw

import (
	"image"
	"image/color"
	"sort"
	"testing"

	"github.com/stretchr/testify/require"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"github.com/afterbell/afterbell/viewer/draw/fixture"
	"github.com/afterbell/afterbell/viewer/fonts"
)

// probe is a canvas that keeps where text was drawn.
type probe struct {
	height float64
	texts  []probed
}

type probed struct {
	text string
	box  box
	size float64
}

func (p *probe) SetLineWidth(vg.Length)             {}
func (p *probe) SetLineDash([]vg.Length, vg.Length) {}
func (p *probe) SetColor(color.Color)               {}
func (p *probe) Rotate(float64)                     {}
func (p *probe) Translate(vg.Point)                 {}
func (p *probe) Scale(float64, float64)             {}
func (p *probe) Push()                              {}
func (p *probe) Pop()                               {}
func (p *probe) Stroke(vg.Path)                     {}
func (p *probe) Fill(vg.Path)                       {}
func (p *probe) DrawImage(vg.Rectangle, image.Image) {
}
func (p *probe) Begin(Group)           {}
func (p *probe) End()                  {}
func (p *probe) Halo(Token, vg.Length) {}

func (p *probe) FillString(f font.Face, at vg.Point, s string) {
	size := f.Font.Size.Points()
	x, y := at.X.Points(), p.height-at.Y.Points()
	p.texts = append(p.texts, probed{s, box{x, y - 0.75*size, x + fonts.Width(f, s), y + 0.22*size}, size})
}

func textsOf(p *Picture) []probed {
	c := &probe{height: p.Height}
	p.Paint(c)
	return c.texts
}

// requireRoom says that no word of a picture leaves its width, is too small, or lies on another.
func requireRoom(t *testing.T, p *Picture, width float64) {
	t.Helper()
	texts := textsOf(p)
	for i, a := range texts {
		require.GreaterOrEqual(t, a.size, 12.0, a.text)
		require.GreaterOrEqual(t, a.box.x0, -0.5, a.text)
		require.LessOrEqual(t, a.box.x1, width+0.5, a.text)
		require.GreaterOrEqual(t, a.box.y0, -0.5, a.text)
		require.LessOrEqual(t, a.box.y1, p.Height+0.5, a.text)
		for _, b := range texts[:i] {
			require.False(t, a.box.meets(b.box), "%q lies on %q", a.text, b.text)
		}
	}
}

// picturesOf is every picture of a match at every width a page uses.
func picturesOf(m fixture.Match) map[string]*Picture {
	s := NewScene(m.Report, m.Profile, m.Log)
	out := map[string]*Picture{}
	add := func(name string, p *Picture, ok bool) {
		if ok {
			out[name] = p
		}
	}
	link := func(int) string { return "#finding" }
	for name, w := range map[string][2]float64{"wide": {1040, 496}, "middle": {780, 372}, "slim": {560, 560}, "narrow": {328, 328}} {
		out["ribbon "+name] = Ribbon(s, RibbonOptions{Width: w[0], Link: link})
		p, ok := Path(s, w[0])
		add("path "+name, p, ok)
		p, ok = VoltageStrip(s, w[0])
		add("voltage "+name, p, ok)
		p, ok = LoadLine(s, w[1])
		add("load line "+name, p, ok)
		p, ok = Shares(s, w[1])
		add("shares "+name, p, ok)
		for _, b := range m.Report.Balances {
			p, ok = Balance(s, b, w[0])
			add("balance "+name, p, ok)
		}
		p, ok = Cycles(s, w[0])
		add("cycles "+name, p, ok)
		p, ok = Autonomous(s, w[1])
		add("autonomous "+name, p, ok)
	}
	out["ribbon small"] = Ribbon(s, RibbonOptions{Width: 336, Small: true})
	for _, f := range m.Report.Findings {
		p, ok := Evidence(s, f)
		add("evidence "+f.ID, p, ok)
		out["mark "+f.ID] = SeverityMark(f.Severity, 12, 11)
		out["sure "+f.ID] = SureBoxes(f.Confidence)
	}
	out["brand"] = Brand()
	return out
}

// eachPicture runs a check for every picture of every fixture.
func eachPicture(t *testing.T, check func(t *testing.T, p *Picture)) {
	t.Helper()
	for match, m := range fixture.All() {
		pictures := picturesOf(m)
		names := make([]string, 0, len(pictures))
		for name := range pictures {
			names = append(names, name)
		}
		sort.Strings(names)
		for _, name := range names {
			t.Run(match+" "+name, func(t *testing.T) { check(t, pictures[name]) })
		}
	}
}

func fixtureOf(name string) fixture.Match { return fixture.All()[name] }
