package power

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// dipped is two seconds at 50 Hz with a brownout from 1.0 s to 1.2 s.
func dipped() *series.Float {
	v := steady(0, 2, 50, 12)
	for k := 50; k < 60; k++ {
		v.V[k] = 6
	}
	return v
}

// stepped is amps from 0.9 s to 1.3 s and idle around it.
func stepped(hz, idle, amps float64) *series.Float {
	s := steady(0, 2, hz, idle)
	for k, at := range s.T {
		if 900_000 <= at && at < 1_300_000 {
			s.V[k] = amps
		}
	}
	return s
}

func blamed(t *testing.T, in Input) (schemas.Brownout, []string) {
	t.Helper()
	in.EnterV, in.LeaveV, in.End = 6.8, 7.4, 2_000_000
	r := Detect(in, DefaultConfig())
	require.Len(t, r.Brownouts, 1)
	return r.Brownouts[0], r.Notes
}

// Shares add up to the whole by arithmetic: 120 + 60 + 20 of 200 A.
func TestSharesOfTheWholeCurrent(t *testing.T) {
	b, _ := blamed(t, Input{
		Voltage: dipped(), Current: stepped(50, 2, 200),
		Branches: []Branch{{"drive left", stepped(10, 0, 120)}, {"lift", stepped(200, 1, 60)}, {"unused", nil}},
	})
	require.Len(t, b.Branches, 2)
	assert.Equal(t, "drive left", b.Branches[0].Name)
	assert.InDelta(t, 0.6, b.Branches[0].Share, 1e-9)
	assert.InDelta(t, 0.3, b.Branches[1].Share, 1e-9)
	assert.InDelta(t, 0.1, *b.OtherShare, 1e-9)
	assert.InDelta(t, 200, *b.CurrentA, 1e-9)
}

func TestSharesWithoutAWholeCurrent(t *testing.T) {
	b, notes := blamed(t, Input{
		Voltage:  dipped(),
		Branches: []Branch{{"drive", stepped(20, 0, 150)}, {"lift", stepped(50, 0, 50)}},
	})
	assert.InDelta(t, 0.75, b.Branches[0].Share, 1e-9)
	assert.InDelta(t, 0.25, b.Branches[1].Share, 1e-9)
	assert.InDelta(t, 200, *b.CurrentA, 1e-9)
	assert.Nil(t, b.OtherShare, "what is in no branch cannot be known")
	assert.Contains(t, notes[0], "the sum of the 2 branches stands in")
}

func TestSharesAtTheEdges(t *testing.T) {
	t.Run("a branch that feeds back", func(t *testing.T) {
		b, _ := blamed(t, Input{
			Voltage: dipped(), Current: stepped(50, 2, 100),
			Branches: []Branch{{"arm", stepped(50, 0, -20)}, {"drive", stepped(50, 0, 120)}},
		})
		assert.Equal(t, 0.0, b.Branches[0].Share)
		assert.Equal(t, 1.0, b.Branches[1].Share)
		assert.InDelta(t, 0, *b.OtherShare, 1e-9)
	})
	t.Run("a dip between two samples of the current", func(t *testing.T) {
		v := steady(0, 2, 200, 12)
		v.V[201] = 6
		slow := &series.Float{T: []int64{0, 500_000, 1_000_000, 1_100_000, 1_500_000}, V: []float64{2, 2, 100, 100, 2}}
		half := &series.Float{T: slow.T, V: []float64{1, 1, 50, 50, 1}}
		b, notes := blamed(t, Input{Voltage: v, Current: slow, Branches: []Branch{{"drive", half}}})
		assert.InDelta(t, 0.5, b.Branches[0].Share, 1e-9)
		assert.InDelta(t, 100, *b.CurrentA, 1e-9)
		assert.Contains(t, notes[len(notes)-1], "shares come from the samples around it")
	})
	t.Run("the log ends with the first sample under", func(t *testing.T) {
		v := steady(0, 1, 50, 12)
		v.V[49] = 6
		b, _ := blamed(t, Input{Voltage: v, Current: steady(0, 1, 50, 80), Branches: []Branch{{"drive", steady(0, 1, 50, 60)}}})
		assert.Nil(t, b.EndS)
		assert.InDelta(t, 0.75, b.Branches[0].Share, 1e-9)
	})
	t.Run("no current then", func(t *testing.T) {
		b, notes := blamed(t, Input{Voltage: dipped(), Current: steady(0, 0.5, 50, 80), Branches: []Branch{{"drive", steady(0, 0.5, 50, 60)}}})
		assert.Nil(t, b.CurrentA)
		assert.Empty(t, b.Branches)
		assert.Contains(t, notes[len(notes)-1], "who drew the current in the brownout at 1.00 s is not known")
	})
	t.Run("one branch silent then", func(t *testing.T) {
		b, notes := blamed(t, Input{
			Voltage: dipped(), Current: stepped(50, 2, 200),
			Branches: []Branch{{"drive", stepped(50, 0, 120)}, {"lift", steady(0, 0.5, 50, 60)}},
		})
		require.Len(t, b.Branches, 1)
		assert.InDelta(t, 0.6, b.Branches[0].Share, 1e-9)
		assert.Nil(t, b.OtherShare, "the remainder holds the silent branch")
		assert.Contains(t, notes[len(notes)-1], "some branches have no reading")
	})
	t.Run("branches beyond the whole", func(t *testing.T) {
		b, notes := blamed(t, Input{Voltage: dipped(), Current: stepped(50, 2, 100), Branches: []Branch{{"drive", stepped(50, 0, 150)}}})
		assert.Equal(t, 1.0, b.Branches[0].Share)
		assert.Contains(t, notes[len(notes)-1], "150 % of the whole current")
	})
}

// Motors that controllers let go and take again between two readings of the whole current, which
// then reads 4 A of 200: the sensors are right all the same, and the branches share what they drew.
func TestSharesOfReadingsFarApart(t *testing.T) {
	whole, drive, lift := steady(0, 2, 50, 40), steady(0, 2, 50, 20), steady(0, 2, 50, 20)
	for k := 50; k < 60; k++ {
		whole.V[k], drive.V[k], lift.V[k] = 4, 150, 50
	}
	for k := 40; k < 48; k++ { // and the other way round
		whole.V[k], drive.V[k], lift.V[k] = 200, 2, 2
	}
	b, notes := blamed(t, Input{Voltage: dipped(), Current: whole, Branches: []Branch{{"drive", drive}, {"lift", lift}}})
	require.Len(t, b.Branches, 2)
	assert.InDelta(t, 0.75, b.Branches[0].Share, 0.02)
	assert.InDelta(t, 0.25, b.Branches[1].Share, 0.02)
	assert.Nil(t, b.OtherShare)
	for _, note := range notes {
		assert.NotContains(t, note, "check the scale")
	}
}

// Between samples a trace is straight, in a gap unknown, and a signal that comes only when
// it changes holds its value.
func TestTrace(t *testing.T) {
	cfg := DefaultConfig()
	c := newTrace(&series.Float{
		T: []int64{0, 100_000, 200_000, 300_000, 900_000, 1_000_000, 1_100_000},
		V: []float64{0, 10, 10, 10, 30, 30, 30},
	}, nil, cfg)
	assert.InDelta(t, 5, c.at(50_000), 1e-12)
	area, known := c.integral(0, 1_100_000)
	assert.InDelta(t, 0.5+2+6, area, 1e-12)
	assert.InDelta(t, 0.5, known, 1e-12, "without the gap from 0.3 s to 0.9 s")
	assert.NotEqual(t, c.at(600_000), c.at(600_000), "not a number within it")
	area, known = c.integral(50_000, 150_000)
	assert.InDelta(t, 0.05*7.5+0.05*10, area, 1e-12)
	assert.InDelta(t, 0.1, known, 1e-12)

	changes := &series.Float{
		T: []int64{0, 5_000_000, 5_010_000, 5_020_000, 5_030_000, 5_040_000, 7_000_000, 7_010_000, 9_000_000},
		V: []float64{1, 2, 2, 2, 2, 3, 3, 4, 5},
	}
	sparse := newTrace(changes, nil, cfg)
	assert.Equal(t, 1.0, sparse.at(4_999_999))
	area, known = sparse.integral(0, 10_000_000)
	assert.InDelta(t, 1*5+2*0.03+2.5*0.01+3*1.96+3.5*0.01+4*1.99+5*1, area, 1e-9)
	assert.InDelta(t, 10, known, 1e-12)
	silent := newTrace(changes, []series.Interval{{Start: 0, End: 5_000_000}}, cfg)
	assert.NotEqual(t, silent.at(1), silent.at(1), "nothing at all was logged then")
}
