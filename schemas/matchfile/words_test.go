package matchfile

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestWordsAreLittleEndian(t *testing.T) {
	require.Equal(t, []byte{9, 2, 1, 0, 0, 0, 0, 0, 0x80}, appendWords([]byte{9}, []int64{math.MinInt64 + 0x102}))
	// IEEE 754: 1 has the exponent 0x3ff and no fraction, -2 the exponent 0x400.
	require.Equal(t, []byte{0, 0, 0, 0, 0, 0, 0xf0, 0x3f, 0, 0, 0, 0, 0, 0, 0, 0xc0}, appendWords(nil, []float64{1, -2}))
	for _, v := range [][]float64{nil, {math.Pi, math.NaN(), math.Copysign(0, -1), math.Inf(1)}} {
		require.Equal(t, appendSwapped(nil, v), appendWords(nil, v))
	}
	ints := []int64{0, 1, -1, math.MaxInt64, math.MinInt64}
	require.Equal(t, appendSwapped(nil, ints), appendWords(nil, ints))
}
