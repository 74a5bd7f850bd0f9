package score

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
)

// assignment gives each row a column of its own at the least total cost, whatever their order:
// the Hungarian method (Kuhn 1955) with potentials and shortest augmenting paths. There are at
// least as many columns as rows.
func assignment(cost [][]float64) (columns []int, total float64) {
	n, m := len(cost), len(cost[0])
	u, v := make([]float64, n+1), make([]float64, m+1)
	row, way := make([]int, m+1), make([]int, m+1) // of column j: its row from 1, 0 none
	for i := 1; i <= n; i++ {
		row[0] = i
		least, used := make([]float64, m+1), make([]bool, m+1)
		for j := range least {
			least[j] = math.Inf(1)
		}
		j0 := 0
		for row[j0] != 0 {
			used[j0] = true
			delta, j1 := math.Inf(1), 0
			for j := 1; j <= m; j++ {
				if used[j] {
					continue
				}
				if c := cost[row[j0]-1][j-1] - u[row[j0]] - v[j]; c < least[j] {
					least[j], way[j] = c, j0
				}
				if least[j] < delta {
					delta, j1 = least[j], j
				}
			}
			for j := range used {
				if used[j] {
					u[row[j]] += delta
					v[j] -= delta
				} else {
					least[j] -= delta
				}
			}
			j0 = j1
		}
		for j0 != 0 {
			row[j0], j0 = row[way[j0]], way[j0]
		}
	}
	columns = make([]int, n)
	for j := 1; j <= m; j++ {
		if row[j] > 0 {
			columns[row[j]-1] = j - 1
			total += cost[row[j]-1][j-1]
		}
	}
	return columns, total
}

// The worked example in the documentation of SciPy's linear_sum_assignment, which follows
// Kuhn (1955).
func TestAssignmentOfTheExample(t *testing.T) {
	columns, total := assignment([][]float64{{4, 1, 3}, {2, 0, 5}, {3, 2, 2}})
	assert.Equal(t, []int{1, 0, 2}, columns)
	assert.InDelta(t, 5, total, 1e-12)
}

// Pieces keep their order, so pairing them in order must lose nothing: where cost is distance
// in time, the best pairing in order costs what the best of all pairings does.
func TestPairingInOrderLosesNothing(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 9))
	for range 2000 {
		n := 1 + r.IntN(7)
		a, b := make([]float64, n), make([]float64, n+r.IntN(4))
		for _, s := range [][]float64{a, b} {
			for i := range s {
				s[i] = 20 * r.Float64()
			}
			slices.Sort(s)
		}
		cost := make([][]float64, n)
		for i := range cost {
			for _, at := range b {
				cost[i] = append(cost[i], math.Abs(a[i]-at))
			}
		}
		_, want := assignment(cost)
		p := inOrder(n, len(b), func(i, j int) (float64, bool) { return cost[i][j], true })
		got := 0.0
		for _, x := range p.pairs {
			got += cost[x[0]][x[1]]
		}
		assert.Len(t, p.pairs, n)
		assert.InDelta(t, want, got, 1e-9)
	}
}
