package viewer

import (
	"fmt"
	"html/template"
	"strings"

	qr "github.com/piglig/go-qr"
)

// quiet is the light margin a code needs around it, in modules (ISO/IEC 18004:2015, 6.3.8).
const quiet = 4

// modules are the dark ones of a QR code of an address, its quiet zone around it. Level M
// bears a glare on the screen that hides up to 15 % of it.
func modules(address string) ([][]bool, error) {
	code, err := qr.EncodeText(address, qr.Medium)
	if err != nil {
		return nil, fmt.Errorf("QR code: %w", err)
	}
	size := code.Size() + 2*quiet
	out := make([][]bool, size)
	for y := range out {
		out[y] = make([]bool, size)
		for x := range out[y] {
			out[y][x] = code.Module(x-quiet, y-quiet)
		}
	}
	return out, nil
}

// QRText is a QR code of an address for a terminal, black on white whatever the terminal's
// colours are: two rows of modules a line.
func QRText(address string) (string, error) {
	m, err := modules(address)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for y := 0; y < len(m); y += 2 {
		b.WriteString("\x1b[30;47m")
		for x := range m[y] {
			lower := y+1 < len(m) && m[y+1][x]
			b.WriteString([]string{" ", "▄", "▀", "█"}[two(m[y][x])*2+two(lower)])
		}
		b.WriteString("\x1b[0m\n")
	}
	return b.String(), nil
}

func two(b bool) int {
	if b {
		return 1
	}
	return 0
}

// qrPicture is the same for a page. It is black on white in the dark too: cameras look for that.
func qrPicture(address string) (template.HTML, error) {
	m, err := modules(address)
	if err != nil {
		return "", err
	}
	var path strings.Builder
	for y, line := range m {
		for x := 0; x < len(line); x++ {
			from := x
			for x < len(line) && line[x] {
				x++
			}
			if x > from {
				fmt.Fprintf(&path, "M%d %dh%dv1h-%dz", from, y, x-from, x-from)
			}
		}
	}
	return template.HTML(fmt.Sprintf(`<svg class="qr" role="img" aria-label="QR code of the address" viewBox="0 0 %d %d" width="280" height="280" shape-rendering="crispEdges">`+
		`<rect width="%d" height="%d" fill="#fff"/><path fill="#000" d="%s"/></svg>`, len(m), len(m), len(m), len(m), path.String())), nil
}
