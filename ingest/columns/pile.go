package columns

// pile is a list that grows without moving what is in it: pieces of growing size, joined once
// at the end. A slice that doubles would be copied over and over and end up half empty,
// which shows in columns of millions of samples.
type pile[T any] struct {
	full [][]T
	open []T
	n    int
}

const (
	smallestPiece = 16
	largestPiece  = 1 << 16
)

func (p *pile[T]) add(v T) {
	if len(p.open) == cap(p.open) {
		p.next()
	}
	p.open = append(p.open, v)
	p.n++
}

// addMany adds v n times.
func (p *pile[T]) addMany(v T, n int) {
	for range n {
		p.add(v)
	}
}

// addAll adds all values, which are copied.
func (p *pile[T]) addAll(values []T) {
	for len(values) > 0 {
		if len(p.open) == cap(p.open) {
			p.next()
		}
		n := min(cap(p.open)-len(p.open), len(values))
		p.open = append(p.open, values[:n]...)
		p.n += n
		values = values[n:]
	}
}

// adopt makes values a piece of the pile.
func (p *pile[T]) adopt(values []T) {
	if len(values) == 0 {
		return
	}
	if len(p.open) > 0 {
		p.full = append(p.full, p.open)
	}
	p.full, p.open = append(p.full, values), nil
	p.n += len(values)
}

// next begins a piece, as large as all before it together.
func (p *pile[T]) next() {
	if len(p.open) > 0 {
		p.full = append(p.full, p.open)
	}
	p.open = make([]T, 0, min(max(p.n, smallestPiece), largestPiece))
}

// join is everything as one slice, nil when there is nothing. The pile is empty afterwards.
func (p *pile[T]) join() []T {
	if p.n == 0 {
		return nil
	}
	if len(p.full) == 1 && len(p.open) == 0 {
		all := p.full[0]
		*p = pile[T]{}
		return all
	}
	all := make([]T, 0, p.n)
	for _, piece := range p.full {
		all = append(all, piece...)
	}
	all = append(all, p.open...)
	*p = pile[T]{}
	return all
}

// last is the element added last; ok is false when there is none, or it was adopted.
func (p *pile[T]) last() (v T, ok bool) {
	if len(p.open) == 0 {
		return v, false
	}
	return p.open[len(p.open)-1], true
}
