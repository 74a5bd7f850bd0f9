package draw

import "image/color"

// Token is a colour by its purpose. Pages resolve it through a custom property of the same
// name, so that it follows light, dark and print; everywhere else it is its light value.
type Token string

// The tokens of the project. Text is drawn in Ink, Ink2, Ink3, Accent and OnAccent only;
// Usual and Band are fills that a line always bounds; Rule is decoration.
const (
	Paper    Token = "paper"     // the ground
	Inset    Token = "inset"     // ground of a caution, spread of the usual behind bricks
	Ink      Token = "ink"       // text, today's lines, axes
	Ink2     Token = "ink2"      // labels, notes, brick outlines
	Ink3     Token = "ink3"      // the faintest text allowed
	Edge     Token = "edge"      // any line that carries meaning
	Usual    Token = "usual"     // usual ranges, limits, bricks
	Band     Token = "band"      // the ribbon, third phase
	Rule     Token = "rule"      // hairlines, grid
	Accent   Token = "accent"    // stop and fix, what is out of limits
	Tint     Token = "tint"      // a finding's stretch on traces
	OnAccent Token = "on-accent" // numbers inside marks
)

// Shade is the value of a token on a light and on a dark page.
type Shade struct {
	Token       Token
	Light, Dark color.RGBA
}

// Palette is the value of every token, in the order of the constants.
func Palette() []Shade {
	return []Shade{
		{Paper, hex(0xF4F7F3), hex(0x0F1B1E)},
		{Inset, hex(0xE8EEE9), hex(0x18282C)},
		{Ink, hex(0x10262C), hex(0xE8EFEB)},
		{Ink2, hex(0x3F5459), hex(0xB4C3C1)},
		{Ink3, hex(0x526569), hex(0x93A5A4)},
		{Edge, hex(0x6C807E), hex(0x6C8184)},
		{Usual, hex(0xD3DDD7), hex(0x24383B)},
		{Band, hex(0x9DB5B1), hex(0x3D5A5C)},
		{Rule, hex(0xC3CFCA), hex(0x2F4246)},
		{Accent, hex(0xAF3206), hex(0xFF9A6B)},
		{Tint, hex(0xFADFD0), hex(0x43271A)},
		{OnAccent, hex(0xFFFFFF), hex(0x1B0E07)},
	}
}

func hex(rgb uint32) color.RGBA {
	return color.RGBA{R: uint8(rgb >> 16), G: uint8(rgb >> 8), B: uint8(rgb), A: 0xFF}
}

// RGBA is the light value, which makes a Token a color.Color. A token that is not in the
// palette is black.
func (t Token) RGBA() (r, g, b, a uint32) {
	for _, s := range Palette() {
		if s.Token == t {
			return s.Light.RGBA()
		}
	}
	return color.Black.RGBA()
}
