package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
)

// A piece counts within FlightS after it left; of one that left later than that before the
// end of the log, it does not tell.
func TestWhichPiecesCounted(t *testing.T) {
	cfg := DefaultConfig()
	numbered := func(leaves ...float64) []schemas.Pass {
		var out []schemas.Pass
		for i, at := range leaves {
			p := pass(at-5, at)
			p.Piece = i + 1
			out = append(out, p)
		}
		return out
	}
	in := func(passes []schemas.Pass, scored ...float64) Input {
		return Input{
			Score: counter(-1, scored...), Passes: passes,
			Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: 99}}, End: 100_000_000,
		}
	}

	some := in(numbered(20, 40, 60), 20.6, 60.4)
	assert.Equal(t, map[int]bool{1: true, 2: false, 3: true}, Detect(some, cfg).Counted)

	some = in(numbered(20, 40), 20.6, 40.5)
	some.Passes[1].Outcome = schemas.PassHeld
	assert.Equal(t, map[int]bool{1: true}, Detect(some, cfg).Counted, "it never left")

	some = in(numbered(20, 40))
	some.Handover = counter(-1, 40.4)
	assert.Equal(t, map[int]bool{1: false, 2: true}, Detect(some, cfg).Counted, "a hand-over accounts for it")

	edge := 100 - cfg.FlightS
	assert.Equal(t, map[int]bool{1: false}, Detect(in(numbered(edge)), cfg).Counted)
	assert.Empty(t, Detect(in(numbered(edge+1e-6)), cfg).Counted, "the log ends before it could count")
}
