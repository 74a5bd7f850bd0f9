// Package page is what every page of the viewer shares: the style sheet made from the
// drawing code's colour tokens, the frame around a page's body, and the header with the
// mark of the project. It also turns pictures into figures of a page.
//
// A page is either served (linked style sheet and scripts, no inline style or script, as a
// strict content policy asks) or one self-contained file (everything inside, no scripts, no
// links to a server).
package page

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"image/color"
	"io"
	"strings"
	"sync"

	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/fonts"
)

//go:embed base.css
var baseCSS string

//go:embed sheet.css
var sheetCSS string

//go:embed print.css
var printCSS string

//go:embed frame.tmpl
var frameText string

// AssetsPath is where a server puts the files of Assets.
const AssetsPath = "/assets/"

// FontFile is the name of the variable face beside the style sheet.
const FontFile = "archivo.woff2"

// CSS is the style sheet of served pages; it expects the font beside it.
func CSS() []byte { return []byte(css(FontFile)) }

// inlineCSS is the style sheet of a self-contained file, the font inside.
var inlineCSS = sync.OnceValue(func() string {
	return css("data:font/woff2;base64," + base64.StdEncoding.EncodeToString(fonts.WOFF2))
})

func css(fontURL string) string {
	face := fmt.Sprintf("@font-face{font-family:Archivo;src:url(%q) format(\"woff2\");font-weight:100 900;font-stretch:62%% 125%%;font-display:swap}\n", fontURL)
	return face + tokens() + baseCSS + sheetCSS + printCSS
}

// tokens are the custom properties of the palette: light, dark where asked for, and for
// print light on white.
func tokens() string {
	var light, dark strings.Builder
	for _, s := range draw.Palette() {
		fmt.Fprintf(&light, "--%s:%s;", s.Token, hex(s.Light))
		fmt.Fprintf(&dark, "--%s:%s;", s.Token, hex(s.Dark))
	}
	return ":root{color-scheme:light dark;" + light.String() + "}\n" +
		"@media screen and (prefers-color-scheme:dark){:root{" + dark.String() + "}}\n" +
		"@media print{:root{--paper:#FFFFFF}}\n"
}

func hex(c color.RGBA) string { return fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B) }

// Asset is a file that served pages link to.
type Asset struct {
	Name, Type string
	Body       []byte
}

// Assets are the files a server puts under AssetsPath.
func Assets() []Asset {
	return []Asset{
		{"page.css", "text/css; charset=utf-8", CSS()},
		{FontFile, "font/woff2", fonts.WOFF2},
	}
}

// Link is a word that leads somewhere.
type Link struct {
	Text, Href string
	Current    bool   // the page the reader is on
	ID         string // for a script to find, may be empty
}

// Scripts are addresses of module scripts.
type Scripts struct {
	Early  []string // as soon as they are here, however much of the page is
	Run    []string // in this order, when the page is whole
	Shared []string // what those import, so that a browser need not read them first to know
}

// Frame is a page around its body.
type Frame struct {
	Title   string
	Class   string // of the body element
	Nav     []Link // empty in a self-contained file
	Aside   []Link // at the right of the header
	Status  string // before them, in words
	Body    template.HTML
	Scripts Scripts // none in a self-contained file
	File    bool    // self-contained
	Newest  string  // what the newest match was when the page was made, for a script to compare
}

var frame = template.Must(template.New("frame").Parse(frameText))

// Write writes the whole document. Nothing is written when the frame cannot be made.
func Write(w io.Writer, f Frame) error {
	data := struct {
		Frame
		CSS        template.CSS
		Brand      template.HTML
		Href, Font string
	}{Frame: f, Brand: template.HTML(draw.Brand().SVG("brand", "brand")), Href: AssetsPath + "page.css", Font: AssetsPath + FontFile}
	if f.File {
		data.CSS = template.CSS(inlineCSS())
		data.Scripts = Scripts{}
	}
	var b bytes.Buffer
	if err := frame.Execute(&b, data); err != nil {
		return fmt.Errorf("page %q: %w", f.Title, err)
	}
	_, err := w.Write(b.Bytes())
	return err
}
