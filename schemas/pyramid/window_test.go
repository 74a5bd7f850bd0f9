package pyramid

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

// brute is Window by one pass over all samples, written from its description alone.
func brute(l *Line, t0, t1 int64, columns int) (at []int, broken []bool) {
	num := func(i int) bool { return !math.IsNaN(l.V[i]) && !math.IsInf(l.V[i], 0) }
	perColumn := map[int][]int{}
	before, behind := -1, -1
	for i, t := range l.T {
		switch {
		case t < t0:
			before = i
		case t > t1:
			if behind < 0 {
				behind = i
			}
		default:
			c := Column(t, t0, t1, columns)
			perColumn[c] = append(perColumn[c], i)
		}
	}
	inside := map[int]bool{} // led to from a sample of its own column that has more than four
	if before >= 0 && num(before) {
		at = append(at, before)
	}
	for c := range columns {
		all := perColumn[c]
		var readings []int
		for _, i := range all {
			if num(i) {
				readings = append(readings, i)
			}
		}
		if len(readings) == 0 {
			continue
		}
		keep := map[int]bool{}
		least, greatest := readings[0], readings[0]
		for _, i := range readings {
			if len(all) <= 4 {
				keep[i] = true
			}
			if l.V[i] < l.V[least] {
				least = i
			}
			if l.V[i] > l.V[greatest] {
				greatest = i
			}
		}
		for _, i := range []int{readings[0], readings[len(readings)-1], least, greatest} {
			keep[i] = true
		}
		for k, i := range readings {
			if keep[i] {
				at = append(at, i)
				inside[i] = k > 0 && len(all) > 4
			}
		}
	}
	if behind >= 0 && num(behind) {
		at = append(at, behind)
	}
	for k, i := range at {
		cut := false
		if k > 0 && !inside[i] {
			for j := at[k-1] + 1; j <= i; j++ {
				cut = cut || !num(j) || l.Gap > 0 && l.T[j]-l.T[j-1] > l.Gap || l.Boot != nil && l.Boot[j] != l.Boot[j-1]
			}
		}
		broken = append(broken, cut)
	}
	return at, broken
}

// someLine has jitter, repeated times, gaps, power-ups, and stretches of equal values, of
// NaN and of infinities.
func someLine(t *rapid.T) *Line {
	l := &Line{Gap: rapid.SampledFrom([]int64{0, 50, 250}).Draw(t, "gap")}
	seed := rapid.Uint64().Draw(t, "seed")
	random := rand.New(rand.NewPCG(seed, 1))
	n := rapid.IntRange(0, 3000).Draw(t, "samples")
	odds := rapid.IntRange(2, 60).Draw(t, "odds")
	if rapid.Bool().Draw(t, "boots") {
		l.Boot = []int32{}
	}
	at, boot, mood := int64(-5000), int32(0), 0
	for range n {
		switch random.IntN(odds) {
		case 0:
			mood = random.IntN(5)
		case 1:
			at += random.Int64N(400)
			boot += int32(random.IntN(2))
		}
		at += random.Int64N(12) // 0: a repeated time
		v := math.Round(random.NormFloat64()*4) / 4
		switch mood {
		case 1:
			v = math.NaN()
		case 2:
			v = math.Inf(1 - 2*random.IntN(2))
		case 3:
			v = 0
		case 4:
			v = math.Copysign(0, float64(random.IntN(2)*2-1))
		}
		if random.IntN(200) == 0 {
			v *= 1000 // a spike
		}
		l.T, l.V = append(l.T, at), append(l.V, v)
		if l.Boot != nil {
			l.Boot = append(l.Boot, boot)
		}
	}
	return l
}

func TestWindowIsWhatAPassOverAllSamplesFinds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := someLine(t)
		p := Build(l)
		end := int64(0)
		if len(l.T) > 0 {
			end = l.T[len(l.T)-1]
		}
		for range 4 {
			t0 := rapid.Int64Range(-6000, end+100).Draw(t, "t0")
			t1 := t0 + 1 + rapid.Int64Range(0, end+6100).Draw(t, "length")
			columns := rapid.IntRange(1, 400).Draw(t, "columns")
			w := p.Window(t0, t1, columns)
			at, broken := brute(l, t0, t1, columns)
			if len(at) != len(w.At) {
				t.Fatalf("%d samples, a pass finds %d", len(w.At), len(at))
			}
			for k := range at {
				if at[k] != w.At[k] || broken[k] != w.Broken[k] {
					t.Fatalf("sample %d is %d (broken %v), a pass finds %d (broken %v)", k, w.At[k], w.Broken[k], at[k], broken[k])
				}
			}
		}
	})
}

func TestExtremesAreThoseOfAScan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := someLine(t)
		p := Build(l)
		for range 20 {
			i := rapid.IntRange(0, len(l.V)).Draw(t, "i")
			j := rapid.IntRange(i, len(l.V)).Draw(t, "j")
			lo, hi := p.Extremes(i, j)
			wantLo, wantHi := scan(l.V, i, j)
			if lo != wantLo || hi != wantHi {
				t.Fatalf("samples %d to %d: least %d, greatest %d; a scan finds %d and %d", i, j, lo, hi, wantLo, wantHi)
			}
		}
	})
}

// Times as far apart as they can be stored, more than an int64 of microseconds.
func TestWindowOverAllOfTime(t *testing.T) {
	l := &Line{T: []int64{math.MinInt64, 0, math.MaxInt64}, V: []float64{1, 2, 3}}
	w := Build(l).Window(math.MinInt64, math.MaxInt64, 10)
	require.Equal(t, []int{0, 1, 2}, w.At)
	require.Equal(t, 0, Column(math.MinInt64, math.MinInt64, math.MaxInt64, 10))
	require.Equal(t, 5, Column(0, math.MinInt64, math.MaxInt64, 10))
	require.Equal(t, 9, Column(math.MaxInt64, math.MinInt64, math.MaxInt64, 10))
}

func TestWindowOfNothing(t *testing.T) {
	p := Build(&Line{T: []int64{1, 2}, V: []float64{1, 2}})
	require.Empty(t, p.Window(5, 5, 10).At)
	require.Empty(t, p.Window(0, 5, 0).At)
	require.Equal(t, []int{1}, p.Window(3, 5, 10).At, "the neighbour before, to which the line leads")
	require.Empty(t, Build(&Line{}).Window(0, 5, 10).At)
}

func TestEverySampleIsThereWhenColumnsAreNarrow(t *testing.T) {
	l := &Line{}
	for i := range 100 {
		l.T, l.V = append(l.T, int64(i)*1000), append(l.V, float64(i)) // rising: first and last are the extremes
	}
	require.Len(t, Build(l).Window(0, 99_000, 25).At, 100, "four samples a column")
	require.Len(t, Build(l).Window(0, 99_000, 20).At, 40, "five: first and last")
}

func TestLineOfASignal(t *testing.T) {
	two := LineOf(&schemas.Signal{Name: "two boots", Kind: schemas.Int64, Time: []int64{10, 30, 20, 30}, Boot: []int32{0, 0, 1, 1}, Int: []int64{1, 3, 2, 4}})
	require.Equal(t, &Line{T: []int64{10, 20, 30, 30}, V: []float64{1, 2, 3, 4}, Boot: []int32{0, 1, 0, 1}}, two)
	held := LineOf(&schemas.Signal{Name: "held", Kind: schemas.Bool, Time: []int64{0, 1, 9e6}, Bool: []bool{true, false, true}})
	require.Equal(t, &Line{T: []int64{0, 1, 9e6}, V: []float64{1, 0, 1}}, held, "a state holds its value, however long")
	read := LineOf(&schemas.Signal{Name: "read", Kind: schemas.Float64, Time: []int64{0, 20_000, 40_000}, Float: []float64{1, 2, 3}})
	require.Equal(t, int64(250_000), read.Gap)
}

func TestLabels(t *testing.T) {
	s := &schemas.Signal{Kind: schemas.Text, Time: []int64{0, 10, 20, 30, 31, 32, 33, 90}, Text: []string{"a", "a", "b", "c", "d", "e", "f", "f"}}
	l := LabelsOf(s)
	require.Equal(t, []string{"a", "b", "c", "d", "e", "f"}, l.Text)
	require.Equal(t, []int64{0, 20, 30, 31, 32, 33}, l.From)
	at, left := l.Window(5, 105, 10)
	require.Equal(t, []int{0, 1, 2, 5}, at, "what held before, and of column 2 the first and the last")
	require.Equal(t, []int{0, 0, 2, 0}, left)
	at, _ = l.Window(50, 60, 10)
	require.Equal(t, []int{5}, at)
	at, _ = l.Window(91, 95, 10)
	require.Empty(t, at, "behind the last sample nothing is known")
	at, _ = l.Window(20, 30, 10)
	require.Equal(t, []int{1, 2}, at)
	require.Equal(t, 0, l.Holds(19))
	require.Equal(t, 1, l.Holds(20))
	require.Equal(t, -1, l.Holds(-1))
	require.Equal(t, -1, l.Holds(91))
}
