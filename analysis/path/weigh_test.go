package path

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

// Where a beam missed a piece, the rollers up to the one that saw it again may have held it.
func TestSpan(t *testing.T) {
	in, _, _ := play(settings{seed: 3, hz: 100, stages: 5, noEye: []int{2}, cap: 2})
	w := newWay(in, DefaultConfig())
	for _, c := range []struct {
		name        string
		v           visit
		first, last int
	}{
		{"in front of a beam", visit{slot: 2, next: 3, how: onward}, 1, 1},
		{"to the next beam", visit{slot: 1, next: 2, how: onward}, 0, 1},
		{"past a stage without a beam", visit{slot: 3, next: 4, how: onward}, 1, 3},
		{"past a beam that missed it", visit{slot: 1, next: 4, how: onward}, 0, 3},
		{"past all, counted as released", visit{slot: 1, next: w.last + 1, how: outGate}, 0, 4},
		{"back again", visit{slot: 3, next: 2, how: back}, 1, 3},
		{"never seen again", visit{slot: 1, how: stays}, 0, 1},
		{"passed by a later one", visit{slot: 1, next: 1, how: lost}, 0, 1},
	} {
		first, last := w.span(c.v)
		assert.Equal(t, [2]int{c.first, c.last}, [2]int{first, last}, c.name)
	}
}
