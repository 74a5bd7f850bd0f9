package matchfile

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// manyForms is a log with signals of every kind that take every way through the encoder. No
// value comes of arithmetic that rounds otherwise on other processors.
func manyForms() *schemas.Log {
	random := rand.New(rand.NewPCG(7, 7))
	times := func(n int) []int64 {
		out := make([]int64, n)
		at := int64(1_000_000)
		for i := range out {
			at += 1000 + random.Int64N(50)
			out[i] = at
		}
		return out
	}
	log := &schemas.Log{}
	add := func(s *schemas.Signal) { log.Signals = append(log.Signals, s) }
	for _, n := range []int{0, 1, 7, 500, 30_000} {
		steps := &schemas.Signal{Name: fmt.Sprint("steps/", n), Unit: "V", Kind: schemas.Float64, Time: times(n)}
		noise := &schemas.Signal{Name: fmt.Sprint("noise/", n), Kind: schemas.Float64, Time: times(n)}
		count := &schemas.Signal{Name: fmt.Sprint("count/", n), Kind: schemas.Int64, Time: times(n)}
		state := &schemas.Signal{Name: fmt.Sprint("state/", n), Kind: schemas.Bool, Time: times(n)}
		words := &schemas.Signal{Name: fmt.Sprint("words/", n), Kind: schemas.Text, Time: times(n)}
		names := &schemas.Signal{Name: fmt.Sprint("names/", n), Kind: schemas.Text, Time: times(n)}
		boots := &schemas.Signal{Name: fmt.Sprint("boots/", n), Kind: schemas.Float64, Time: times(n)}
		for i := range n {
			steps.Float = append(steps.Float, float64(random.IntN(300))/64)
			noise.Float = append(noise.Float, math.Float64frombits(0x4000000000000000|random.Uint64N(1<<52)))
			count.Int = append(count.Int, int64(i/100)-random.Int64N(3))
			state.Bool = append(state.Bool, random.IntN(20) == 0)
			words.Text = append(words.Text, fmt.Sprint("word ", random.IntN(4)))
			names.Text = append(names.Text, fmt.Sprint("name ", random.Uint64()))
			boots.Float = append(boots.Float, []float64{0, math.Copysign(0, -1), math.NaN(), math.Inf(1), 12.5}[random.IntN(5)])
			boots.Boot = append(boots.Boot, int32(3*i/n))
		}
		for _, s := range []*schemas.Signal{steps, noise, count, state, words, names, boots} {
			add(s)
		}
	}
	long := &schemas.Signal{Name: "long", Kind: schemas.Int64, Time: times(maxRows + 1000)}
	for i := range long.Time {
		long.Int = append(long.Int, int64(i&0xff))
	}
	add(long)
	log.Normalize()
	return log
}

// TestBytesStay holds the writer to the bytes it has always written, so that it can be made
// faster without a match being stored in another form. A release of the compressor may change
// them; then the files must still be read, and the sum is taken anew.
func TestBytesStay(t *testing.T) {
	var b bytes.Buffer
	_, err := Write(&b, manyForms(), map[string]string{"seal": "1"})
	require.NoError(t, err)
	sum := sha256.Sum256(b.Bytes())
	require.Equal(t, "9d016876963ffd9a0c645dfc4244336de6d64d948349eff9529ff62d2a44bc89", hex.EncodeToString(sum[:]))
}
