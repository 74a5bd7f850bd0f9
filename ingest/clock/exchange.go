package clock

// Exchange is one question and its answer, in microseconds: T0 and T3 are robot time when the
// question left and the answer came, T1 and T2 collector time when the question came and the
// answer left. RFC 5905 calls them T1 to T4.
type Exchange struct{ T0, T1, T2, T3 int64 }

// longest is how long an exchange may take, in microseconds: the 16 s beyond which RFC 5905,
// section 7.2, takes a server for unreachable (MAXDISP).
const longest = 16e6

// Offset is ((T1-T0)+(T2-T3))/2, microseconds that collector time is ahead of robot time
// (RFC 5905, section 8). The true offset is within half of Delay of it.
func (e Exchange) Offset() float64 {
	return (since(e.T1, e.T0) + since(e.T2, e.T3)) / 2
}

// Delay is (T3-T0)-(T2-T1), microseconds that both messages travelled (RFC 5905, section 8).
func (e Exchange) Delay() float64 {
	return since(e.T3, e.T0) - since(e.T2, e.T1)
}

// Sound says whether the stamps can be those of an exchange: each clock's in order, no less
// than nothing spent on the way, and all of it over within 16 s.
func (e Exchange) Sound() bool {
	return e.T0 <= e.T3 && e.T1 <= e.T2 && e.Delay() >= 0 && since(e.T3, e.T0) <= longest
}

// filterStages is how many exchanges the clock filter looks back on (RFC 5905: NSTAGE).
const filterStages = 8

// Filter is the clock filter of RFC 5905, section 10: of the last eight exchanges (in order
// of time, unsound ones left out) the one with the least delay, because the less a message
// queued, the less its offset can be wrong. Of equals it takes the newest. It is false
// when none is sound.
func Filter(exchanges []Exchange) (Exchange, bool) {
	var best Exchange
	seen := 0
	for i := len(exchanges) - 1; i >= 0 && seen < filterStages; i-- {
		e := exchanges[i]
		if !e.Sound() {
			continue
		}
		if seen == 0 || e.Delay() < best.Delay() {
			best = e
		}
		seen++
	}
	return best, seen > 0
}

// since is a-b: exact while the difference is within 2^53, right to a part in 2^52 for any two
// stamps.
func since(a, b int64) float64 {
	if d := a - b; (d > 0) == (a > b) {
		return float64(d)
	}
	return float64(a) - float64(b) // the difference does not fit an int64
}
