package stat

import "math/bits"

// Shapley shares out among n players what they bring about together: share i is what i adds
// to those before it, averaged over every order in which the players may come. worth(set) is
// what the players in set (bit i for player i) bring about alone; it must not change between
// calls. The shares add up to worth(all) - worth(0); players that add alike get alike, and
// one that never adds anything gets 0. No other rule that is linear in worth does all that
// (Shapley, "A value for n-person games", Contributions to the Theory of Games 2, 1953).
//
// worth is called 2^n times: n of 12 is quick, above 20 nothing is computed and the result
// is nil, as for n < 1.
func Shapley(n int, worth func(set uint) float64) []float64 {
	const most = 20
	if n < 1 || n > most {
		return nil
	}
	// weight[s] = s! (n-s-1)! / n!, the part of all orders in which those s come first.
	weight := make([]float64, n)
	weight[0] = 1 / float64(n)
	for s := 1; s < n; s++ {
		weight[s] = weight[s-1] * float64(s) / float64(n-s)
	}
	value := make([]float64, 1<<n)
	for set := range value {
		value[set] = worth(uint(set))
	}
	shares := make([]float64, n)
	for set, v := range value {
		size := bits.OnesCount(uint(set))
		for i := range n {
			if set>>i&1 == 0 {
				shares[i] += weight[size] * (value[set|1<<i] - v)
			}
		}
	}
	return shares
}
