package fonts

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// Advances of Archivo at 400/88 and 640/88 read from the instances with
// `ttx -t hmtx archivo-chart.ttf` (fonttools 4.38.0), in units of 1/1000 em.
func TestWidthIsTheSumOfAdvances(t *testing.T) {
	require.InDelta(t, 517+184+1000*WordSpace+771, Width(Chart(1000), "0 m"), 1e-6)
	require.InDelta(t, 534+788, Width(ChartBold(1000), "0m"), 1e-6)
	require.InDelta(t, 4*Width(Chart(12), "0"), Width(Chart(12), "1974"), 1e-9, "figures are tabular")
	require.InDelta(t, 10*Width(Chart(12), "m"), Width(Chart(120), "m"), 1e-9, "width grows with size")
	require.InDelta(t, Width(Chart(12), "a")+Width(Chart(12), "b"), Width(Chart(12), "ab"), 1e-9)
	require.Greater(t, Width(ChartBold(12), "jam, not cleared"), Width(Chart(12), "jam, not cleared"))
	require.Zero(t, Width(Chart(12), ""))
}

func TestWordSpaceIsPartOfTheWidth(t *testing.T) {
	with := Width(Chart(100), "a b") - Width(Chart(100), "a") - Width(Chart(100), "b")
	_, bare := Layout(Chart(100), " ")
	require.InDelta(t, bare, with, 1e-9)
	require.Greater(t, with, 100*WordSpace)
}

func TestEveryRuneInUseHasAGlyph(t *testing.T) {
	for _, r := range "0123456789−×°±Ω≤≥ζ–’“”…·%abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ.,:;()/[]_-" {
		glyphs, _ := Layout(Chart(12), string(r))
		require.Len(t, glyphs, 1)
		require.NotZero(t, glyphs[0].Index, "no glyph for %q", r)
	}
	glyphs, _ := Layout(Chart(12), "aΩ")
	require.NotSame(t, glyphs[0].Font, glyphs[1].Font, "Ω comes from the fallback face")
}

func TestLicenceTravelsWithTheFont(t *testing.T) {
	require.True(t, strings.Contains(License, "SIL OPEN FONT LICENSE Version 1.1"))
	require.Equal(t, "wOF2", string(WOFF2[:4]))
}
