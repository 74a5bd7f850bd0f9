package pyramid

import (
	"io"
	"testing"

	"github.com/afterbell/afterbell/schemas"
)

// One signal of 1 kHz over a match of 150 s on the width of a bench, beside a pass over all
// samples in the same run.
func BenchmarkWindow(b *testing.B) {
	l := walk(150_000)
	p := Build(l)
	t1 := l.T[len(l.T)-1]
	b.Run("pyramid", func(b *testing.B) {
		for b.Loop() {
			p.Window(0, t1, 1600)
		}
	})
	b.Run("every-sample", func(b *testing.B) {
		for b.Loop() {
			scanned(l, 0, t1, 1600)
		}
	})
	b.Run("build", func(b *testing.B) {
		for b.Loop() {
			Build(l)
		}
	})
	path := stored(b, &schemas.Log{Signals: []*schemas.Signal{{Name: "x", Kind: schemas.Float64, Time: l.T, Float: l.V}}})
	f, err := Open(path, "abc")
	if err != nil {
		b.Fatal(err)
	}
	b.Run("load", func(b *testing.B) {
		for b.Loop() {
			if _, err := f.Load("x", l); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("write", func(b *testing.B) {
		s := &schemas.Signal{Name: "x", Kind: schemas.Float64, Time: l.T, Float: l.V}
		for b.Loop() {
			if err := Write(io.Discard, "abc", &schemas.Log{Signals: []*schemas.Signal{s}}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// scanned is M4 by one pass.
func scanned(l *Line, t0, t1 int64, columns int) []int {
	var out []int
	for i := 0; i < len(l.T); {
		c := Column(l.T[i], t0, t1, columns)
		first, least, greatest := i, i, i
		for i++; i < len(l.T) && Column(l.T[i], t0, t1, columns) == c; i++ {
			if l.V[i] < l.V[least] {
				least = i
			}
			if l.V[i] > l.V[greatest] {
				greatest = i
			}
		}
		out = append(out, first, min(least, greatest), max(least, greatest), i-1)
	}
	return out
}
