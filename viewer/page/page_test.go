package page

import (
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/viewer/draw"
)

func TestStyleSheetDefinesEveryTokenItUses(t *testing.T) {
	css := string(CSS())
	defined := map[string]bool{}
	for _, m := range regexp.MustCompile(`--([a-z0-9-]+):`).FindAllStringSubmatch(css, -1) {
		defined[m[1]] = true
	}
	for _, s := range draw.Palette() {
		require.True(t, defined[string(s.Token)], "token %s", s.Token)
	}
	used := regexp.MustCompile(`var\(--([a-z0-9-]+)\)`).FindAllStringSubmatch(css, -1)
	require.NotEmpty(t, used)
	for _, m := range used {
		require.True(t, defined[m[1]], "var(--%s) is not defined", m[1])
	}
	require.Equal(t, strings.Count(css, "{"), strings.Count(css, "}"), "braces of the style sheet")
}

// Colours come from the palette alone, so that dark and print reach all of them.
func TestStyleSheetHasNoColourOfItsOwn(t *testing.T) {
	for name, css := range map[string]string{"base": baseCSS, "sheet": sheetCSS, "print": printCSS} {
		require.NotRegexp(t, regexp.MustCompile(`#[0-9A-Fa-f]{3,8}\b|rgba?\(`), css, name)
	}
}

func TestNoTextUnder12PixelsOnScreen(t *testing.T) {
	for name, css := range map[string]string{"base": baseCSS, "sheet": sheetCSS} {
		for _, m := range regexp.MustCompile(`font-size:([0-9.]+)px`).FindAllStringSubmatch(css, -1) {
			require.NotRegexp(t, regexp.MustCompile(`^([0-9]|1[01])(\.|$)`), m[1], "%s: font-size %spx", name, m[1])
		}
	}
	// On paper 8 pt, which is 10.67 px.
	for _, m := range regexp.MustCompile(`font-size:([0-9.]+)px`).FindAllStringSubmatch(printCSS, -1) {
		require.NotRegexp(t, regexp.MustCompile(`^([0-9]|10)(\.|$)`), m[1], "print: font-size %spx", m[1])
	}
}

func TestServedPageHoldsNothingInline(t *testing.T) {
	var b strings.Builder
	require.NoError(t, Write(&b, Frame{
		Title: `a "title" <b>`, Body: "<main></main>", Scripts: Scripts{Run: []string{"/assets/app.js"}, Shared: []string{"/assets/video.js"}},
		Nav: []Link{{Text: "Pit board", Href: "/", Current: true}},
	}))
	html := b.String()
	require.NotContains(t, html, "<style")
	require.NotContains(t, html, "style=")
	require.Contains(t, html, `<link rel="stylesheet" href="/assets/page.css">`)
	require.Contains(t, html, `<link rel="modulepreload" href="/assets/video.js">`)
	require.Contains(t, html, `<script type="module" src="/assets/app.js"></script>`)
	require.Contains(t, html, `aria-current="page"`)
	require.NotContains(t, html, "<b>afterbell</b></title>")
	require.Contains(t, html, "&lt;b&gt;")
}

func TestFileHoldsEverything(t *testing.T) {
	var b strings.Builder
	require.NoError(t, Write(&b, Frame{Title: "x", Body: "<main></main>", File: true, Scripts: Scripts{Run: []string{"/assets/app.js"}, Shared: []string{"/assets/video.js"}}}))
	html := b.String()
	require.NotContains(t, html, "<script")
	require.NotContains(t, html, "<link")
	require.Contains(t, html, "data:font/woff2;base64,d09GMg", "the font is inside, as WOFF2")
	require.Contains(t, html, "--ink:#10262C")
}

func TestFigureIsEmptyWithoutAPicture(t *testing.T) {
	require.Empty(t, Figure("x", Layout{}, func(float64) (*draw.Picture, bool) { return nil, false }))
}

func TestTableEscapes(t *testing.T) {
	html := Table(draw.Table{Head: []string{"<a>"}, Rows: [][]string{{"<script>"}}}, `"x`)
	require.NotContains(t, html, "<script>")
	require.NotContains(t, html, "<a>")
	require.Contains(t, html, `class="&#34;x"`)
	require.Empty(t, Table(draw.Table{}, "x"))
}
