package draw

// size is how a picture is laid out. Narrow is for a phone: few words, all height needed.
// Middle is for a small screen and for paper, where height is dear: rows and plots are
// lower. Text is the same size in all of them.
type size int

const (
	narrowSize size = iota
	middleSize
	wideSize
)

// sizeOf is the layout of a picture over the whole width of a page.
func sizeOf(width float64) size {
	switch {
	case width < 500:
		return narrowSize
	case width < 900:
		return middleSize
	default:
		return wideSize
	}
}

// halfSizeOf is the layout of a picture that shares the width with another from middle on.
func halfSizeOf(width float64) size {
	switch {
	case width < 365:
		return narrowSize
	case width < 450:
		return middleSize
	default:
		return wideSize
	}
}
