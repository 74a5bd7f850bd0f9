package draw

import (
	"bytes"
	"image/png"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

func TestFiguresAreThoseOfTheSheet(t *testing.T) {
	m := fixture.Busy()
	var names []string
	for _, p := range Figures(NewScene(m.Report, m.Profile, m.Log)) {
		names = append(names, p.Name)
	}
	require.Equal(t, []string{
		"ribbon", "path", "voltage", "load-line", "shares", "cycles", "autonomous", "balance-1",
		"finding-1", "finding-2", "finding-3", "finding-4", "finding-5",
	}, names)
}

// A figure stands in a document that knows nothing of tokens and fonts, with paper around it.
func TestFiguresStandAlone(t *testing.T) {
	mediaBox := regexp.MustCompile(`/MediaBox \[0 0 ([0-9.]+) ([0-9.]+)\]`)
	for _, name := range []string{"busy", "hostile"} {
		m := fixtureOf(name)
		seen := map[string]bool{}
		for _, p := range Figures(NewScene(m.Report, m.Profile, m.Log)) {
			require.Regexp(t, `^[a-z0-9-]+$`, p.Name, "a name of a file")
			require.False(t, seen[p.Name], "%s: %s twice", name, p.Name)
			seen[p.Name] = true

			var svg, image, pdf bytes.Buffer
			require.NoError(t, p.WriteSVG(&svg))
			require.NotContains(t, svg.String(), "var(")
			require.NotContains(t, svg.String(), "<text")
			require.NotContains(t, svg.String(), "NaN")
			if name != "busy" {
				continue // images and documents are drawn by the same calls
			}
			require.NoError(t, p.WritePNG(&image, 2))
			config, err := png.DecodeConfig(&image)
			require.NoError(t, err)
			require.InDelta(t, 2*(p.Width+2*figureMargin), float64(config.Width), 1, p.Name)
			require.NoError(t, p.WritePDF(&pdf))
			size := mediaBox.FindStringSubmatch(pdf.String())
			require.Len(t, size, 3, p.Name)
			require.Contains(t, size[1], decimal((p.Width+2*figureMargin)*72/96, 2)[:3], p.Name)
		}
	}
}

// The usual line's name stands in no other words and across no line.
func TestUsualResistanceIsNamedInTheClear(t *testing.T) {
	for _, usual := range []float64{0.012, 0.022, 0.034, 0.038, 0.04, 0.05} {
		m := fixture.Busy()
		m.Report.Battery.UsualResistanceOhm = &usual
		for _, width := range []float64{496, 372, 328, 560} {
			p, ok := LoadLine(NewScene(m.Report, m.Profile, m.Log), width)
			require.True(t, ok)
			texts := textsOf(p)
			for i, a := range texts {
				for _, b := range texts[:i] {
					inner := box{a.box.x0 + 1, a.box.y0 + 1, a.box.x1 - 1, a.box.y1 - 1}
					require.False(t, inner.meets(b.box), "usual %v, width %v: %q covers %q", usual, width, a.text, b.text)
				}
			}
		}
	}
}
