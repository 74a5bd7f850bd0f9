package pyramid

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

// TestBytesStay holds the writer to the bytes it has always written.
func TestBytesStay(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 7))
	log := &schemas.Log{}
	for _, n := range []int{0, 1, 2, 15, 16, 17, 1000, 20_000} {
		for kind := range schemas.Text + 1 {
			for boots := range int32(2) {
				s := &schemas.Signal{Name: fmt.Sprintf("%s/%d/%d", kind, n, boots), Kind: kind}
				at := int64(0)
				for i := range n {
					at += 1000 + random.Int64N(50)
					if random.IntN(100) == 0 {
						at += 400_000
					}
					if boots > 0 && i == n/2 {
						at /= 2
					}
					s.Time = append(s.Time, at)
					if boots > 0 {
						s.Boot = append(s.Boot, int32(2*i/n))
					}
					switch kind {
					case schemas.Float64:
						v := float64(random.IntN(60)-30) / 64
						if random.IntN(10) == 0 {
							v = []float64{math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1)}[random.IntN(4)]
						}
						if i/32%20 == 3 {
							v = math.NaN() // buckets without a reading
						}
						s.Float = append(s.Float, v)
					case schemas.Int64:
						s.Int = append(s.Int, random.Int64N(5)-2)
					case schemas.Bool:
						s.Bool = append(s.Bool, random.IntN(20) == 0)
					default:
						s.Text = append(s.Text, fmt.Sprint("word ", random.IntN(3)))
					}
				}
				log.Signals = append(log.Signals, s)
			}
		}
	}
	log.Normalize()
	var b bytes.Buffer
	require.NoError(t, Write(&b, "abc", log))
	sum := sha256.Sum256(b.Bytes())
	require.Equal(t, "d9f05966296aaf0a783bd9771b5fa01f9aa469a3d197426fd4ab45eaa16a2e15", hex.EncodeToString(sum[:]))
}
