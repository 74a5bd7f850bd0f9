package page

import (
	"html/template"
	"strings"

	"github.com/afterbell/afterbell/viewer/draw"
)

// Widths are the widths in pixels a picture is drawn at; the style sheet shows the one that
// fits, so that its text never scales under 12 px nor up to twice that: Wide from 1280 px
// on, Middle from 860 px on, Slim from 600 px on, Narrow below, which is the room on a
// screen of 360 px. Paper gets Middle at nine tenths, which leaves its text at 8 pt.
const (
	Wide   = 1040.0
	Middle = 780.0
	Slim   = 560.0
	Narrow = 328.0
)

// Widths of pictures that stand side by side from Middle on.
const (
	WideHalf   = 496.0
	MiddleHalf = 372.0
	WideBeside = 744.0 // with a column of facts at its right, from Wide on
)

// Layout is how a figure stands on its page.
type Layout struct {
	Half   bool // beside other facts from Middle on
	Beside bool // a column of facts at its right from Wide on
	// File leaves out the Slim width, which a self-contained file has no bytes for: such a
	// screen gets the narrow picture at its own size.
	File bool
}

// drawn is a picture at one width, and the class the style sheet shows it by.
type drawn struct {
	class string
	width float64
}

func (l Layout) widths() []drawn {
	wide, middle := Wide, Middle
	if l.Half {
		wide, middle = WideHalf, MiddleHalf
	}
	if l.Beside {
		wide = WideBeside
	}
	out := []drawn{{"wide", wide}, {"middle", middle}}
	if !l.File {
		out = append(out, drawn{"slim", Slim})
	}
	return append(out, drawn{"narrow", Narrow})
}

// Figure is a picture at its widths with a table of the same facts for readers that do not
// see it; id is unique in the page. It is empty when make says there is nothing to draw.
func Figure(id string, l Layout, make func(width float64) (*draw.Picture, bool)) template.HTML {
	var b strings.Builder
	var table draw.Table
	for _, d := range l.widths() {
		p, ok := make(d.width)
		if !ok {
			return ""
		}
		b.WriteString(p.SVG(id+"-"+d.class[:1], d.class))
		table = p.Table
	}
	return template.HTML(`<figure class="figure">` + b.String() + `<div class="for-readers">` + Table(table, "") + `</div></figure>`)
}

// Small is a picture of one width, without a table.
func Small(p *draw.Picture, id, class string) template.HTML {
	return template.HTML(p.SVG(id, class))
}

// Table is a table of facts.
func Table(t draw.Table, class string) string {
	if len(t.Head) == 0 {
		return ""
	}
	var b strings.Builder
	e := template.HTMLEscapeString
	b.WriteString(`<table class="` + e(class) + `"><thead><tr>`)
	for _, h := range t.Head {
		b.WriteString(`<th scope="col">` + e(h) + `</th>`)
	}
	b.WriteString(`</tr></thead><tbody>`)
	for _, row := range t.Rows {
		b.WriteString(`<tr>`)
		for _, cell := range row {
			b.WriteString(`<td>` + e(cell) + `</td>`)
		}
		b.WriteString(`</tr>`)
	}
	b.WriteString(`</tbody></table>`)
	return b.String()
}
