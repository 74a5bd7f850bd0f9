package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
)

// Without a pose how long trips took tells what they lost: half of a match that lost time is not usual.
func TestLostByTimeAlone(t *testing.T) {
	r := Detect(lasting(19, 8.4, 12.1, 8.7, 8.8, 22.3, 12.2), DefaultConfig())
	assert.Equal(t, []int{0, 5}, slowOnes(r))
	assert.InDelta(t, 9.5, *r.Usual.CycleS, 1.5)
	for _, c := range r.Cycles {
		assert.Nil(t, c.LostS, "nobody saw it")
	}
	assert.Empty(t, slowOnes(Detect(lasting(8, 12, 9.5, 10.7, 12.6, 8.8, 11.5, 10), DefaultConfig())), "nothing but a driver who is uneven")
}

// A path tells of both parts of a trip, where the piece that scored was fetched in it.
func TestPartsOfATrip(t *testing.T) {
	c := &cycle{start: 0, own: 2_000_000, end: 12_000_000, entered: 5_000_000, hasPiece: true, lateS: 1}
	got, ok := c.partsS(kinds{})
	assert.True(t, ok)
	assert.Equal(t, [parts]float64{3, 6}, got)
	for _, change := range []func(*cycle){
		func(c *cycle) { c.hasPiece = false },
		func(c *cycle) { c.entered = 1_000_000 },
		func(c *cycle) { c.entered = 11_500_000 },
		func(c *cycle) { c.more.n = 1 },
	} {
		other := *c
		change(&other)
		_, ok := other.partsS(kinds{})
		assert.False(t, ok)
	}
}

// Trips whose two parts each scatter little: what one of them lost in one part shows against it. By hand.
func TestPartsAreHeldAgainstTheirOwnKind(t *testing.T) {
	out, back := []float64{4, 4.2, 8.2, 3.9, 4.1, 4, 4.2, 3.8}, []float64{6, 6.1, 5.9, 6.2, 5.8, 6, 10.1, 6.1}
	var mine []*cycle
	at := 0.0
	for i := range out {
		c := row(schemas.CycleScore, schemas.PeriodDriver, schemas.Micros(at), schemas.Micros(at+out[i]+back[i]), schemas.Micros(at), 1, true)
		c.entered, c.hasPiece = schemas.Micros(at+out[i]), true
		mine, at = append(mine, &c), at+out[i]+back[i]
	}
	lostByTime(mine, kinds{}, DefaultConfig())
	for i, c := range mine {
		want := map[int]float64{2: 4.1, 6: 4.1}[i]
		lost, _ := c.sight.lost()
		assert.InDelta(t, want, lost, 0.5, "%d", i)
		assert.True(t, c.timed)
	}
	for _, c := range mine {
		c.sight = nil
	}
	lostByTime(mine[:2], kinds{}, DefaultConfig())
	assert.Nil(t, mine[0].sight, "two tell nothing of what is usual")
}
