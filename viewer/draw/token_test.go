package draw

import (
	"image/color"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// contrast is the contrast ratio of WCAG 2.1 (definitions of relative luminance and
// contrast ratio).
func contrast(a, b color.Color) float64 {
	luminance := func(c color.Color) float64 {
		r, g, b, _ := c.RGBA()
		part := func(v uint32) float64 {
			s := float64(v>>8) / 255
			if s <= 0.03928 {
				return s / 12.92
			}
			return math.Pow((s+0.055)/1.055, 2.4)
		}
		return 0.2126*part(r) + 0.7152*part(g) + 0.0722*part(b)
	}
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// Expected values computed with wcag-contrast 3.0.0.
func TestContrastFormula(t *testing.T) {
	white := hex(0xFFFFFF)
	for rgb, want := range map[uint32]float64{
		0x767676: 4.542225, 0x777777: 4.478089, 0x000000: 21, 0x0072B2: 5.185446, 0xD55E00: 3.867184, 0xE69F00: 2.252287,
	} {
		require.InDelta(t, want, contrast(hex(rgb), white), 5e-6, "#%06X on white", rgb)
	}
}

// WCAG 2.1, success criteria 1.4.3 (text, 4.5) and 1.4.11 (lines that carry meaning, 3).
func TestTokensCanBeRead(t *testing.T) {
	shade := map[Token]Shade{}
	for _, s := range Palette() {
		shade[s.Token] = s
	}
	for _, c := range []struct {
		on    Token
		least float64
		what  []Token
	}{
		{Paper, 4.5, []Token{Ink, Ink2, Ink3, Accent}},
		{Inset, 4.5, []Token{Ink, Ink2, Ink3, Accent}},
		{Usual, 4.5, []Token{Ink, Ink2, Accent}},
		{Band, 4.5, []Token{Ink}},
		{Tint, 4.5, []Token{Ink, Accent}},
		{Accent, 4.5, []Token{OnAccent}},
		{Ink2, 4.5, []Token{Paper}},
		{Paper, 3, []Token{Edge}},
		{Inset, 3, []Token{Edge}},
	} {
		for _, w := range c.what {
			require.GreaterOrEqual(t, contrast(shade[w].Light, shade[c.on].Light), c.least, "%s on %s, light", w, c.on)
			require.GreaterOrEqual(t, contrast(shade[w].Dark, shade[c.on].Dark), c.least, "%s on %s, dark", w, c.on)
		}
		if c.on == Paper {
			for _, w := range c.what { // print: light tokens on white
				require.GreaterOrEqual(t, contrast(shade[w].Light, hex(0xFFFFFF)), c.least, "%s on white", w)
			}
		}
	}
}

func TestTokenIsItsLightValue(t *testing.T) {
	r, g, b, a := Accent.RGBA()
	require.Equal(t, [4]uint32{0xAF, 0x32, 0x06, 0xFF}, [4]uint32{r >> 8, g >> 8, b >> 8, a >> 8})
}
