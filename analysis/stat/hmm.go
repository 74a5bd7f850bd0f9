package stat

import "math"

// HMM is a hidden Markov model with N states, in natural logarithms throughout so that
// long sequences do not underflow; an impossible start or step is math.Inf(-1).
//
// What was observed enters as emit: emit[t][s] is the logarithm of the probability (or
// density, up to a factor per t) of observation t in state s. Its length is the number of
// observations T, at least one, and each row has N entries. Observations need not be
// evenly spaced: what time does to them belongs into emit.
//
// Rabiner, "A tutorial on hidden Markov models", Proceedings of the IEEE 77 (1989), III.
type HMM struct {
	Init  []float64   // Init[s] = ln P(state s at the first observation)
	Trans [][]float64 // Trans[from][to] = ln P(to | from); N by N
}

// Viterbi is the most probable sequence of states, T long, and the logarithm of its joint
// probability with the observations. Among equals the lower state wins. T = 0 gives nil, 0.
func (h HMM) Viterbi(emit [][]float64) (path []int, logP float64) {
	if len(emit) == 0 {
		return nil, 0
	}
	n := len(h.Init)
	best, next := make([]float64, n), make([]float64, n)
	from := make([][]int, len(emit))
	for s := range best {
		best[s] = h.Init[s] + emit[0][s]
	}
	for t := 1; t < len(emit); t++ {
		from[t] = make([]int, n)
		for s := range next {
			top, at := math.Inf(-1), 0
			for r := range best {
				if p := best[r] + h.Trans[r][s]; p > top {
					top, at = p, r
				}
			}
			next[s], from[t][s] = top+emit[t][s], at
		}
		best, next = next, best
	}
	last := 0
	for s := range best {
		if best[s] > best[last] {
			last = s
		}
	}
	path = make([]int, len(emit))
	path[len(emit)-1] = last
	for t := len(emit) - 1; t > 0; t-- {
		path[t-1] = from[t][path[t]]
	}
	return path, best[last]
}

// Forward gives alpha[t][s] = ln P(observations 0..t, state s at t) and the logarithm of
// the probability of all observations. T = 0 gives nil, 0.
func (h HMM) Forward(emit [][]float64) (alpha [][]float64, logP float64) {
	if len(emit) == 0 {
		return nil, 0
	}
	n := len(h.Init)
	alpha = make([][]float64, len(emit))
	terms := make([]float64, n)
	for t := range emit {
		alpha[t] = make([]float64, n)
		for s := range n {
			if t == 0 {
				alpha[t][s] = h.Init[s] + emit[t][s]
				continue
			}
			for r := range n {
				terms[r] = alpha[t-1][r] + h.Trans[r][s]
			}
			alpha[t][s] = LogSum(terms) + emit[t][s]
		}
	}
	return alpha, LogSum(alpha[len(emit)-1])
}

// Smooth gives post[t][s] = P(state s at t | all observations), by the forward-backward
// recursion, and the logarithm of the probability of all observations. T = 0 gives nil, 0.
// When the observations are impossible under the model, post is NaN and logP is -Inf.
func (h HMM) Smooth(emit [][]float64) (post [][]float64, logP float64) {
	alpha, logP := h.Forward(emit)
	if len(emit) == 0 {
		return nil, 0
	}
	n := len(h.Init)
	beta, before := make([]float64, n), make([]float64, n) // beta is 0, ln 1, at the end
	terms := make([]float64, n)
	post = alpha
	for t := len(emit) - 1; t >= 0; t-- {
		for s := range n {
			post[t][s] = math.Exp(alpha[t][s] + beta[s] - logP)
		}
		if t == 0 {
			break
		}
		for s := range n {
			for r := range n {
				terms[r] = h.Trans[s][r] + emit[t][r] + beta[r]
			}
			before[s] = LogSum(terms)
		}
		beta, before = before, beta
	}
	return post, logP
}

// LogSum is ln Σ exp(x), without overflow; -Inf for no terms.
func LogSum(x []float64) float64 {
	top := math.Inf(-1)
	for _, v := range x {
		top = math.Max(top, v)
	}
	if math.IsInf(top, 0) {
		return top
	}
	sum := 0.0
	for _, v := range x {
		sum += math.Exp(v - top)
	}
	return top + math.Log(sum)
}
