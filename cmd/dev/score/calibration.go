package score

import "math"

// Calibration says of what was said with a confidence how often it was true.
type Calibration struct {
	Name  string  `json:"name"`
	N     int     `json:"n"`
	Error float64 `json:"expected_error"`
	Bins  []Bin   `json:"bins"` // those that hold something
}

// Bin is one tenth of the confidences, its lower edge included.
type Bin struct {
	Low  float64 `json:"low"`
	High float64 `json:"high"`
	N    int     `json:"n"`
	Said float64 `json:"said"` // mean confidence
	True float64 `json:"true"` // share that was true
}

// calibrate puts judgements into ten bins. The expected calibration error is the mean over
// the judgements of |said - true| of their bin: Naeini, Cooper and Hauskrecht, "Obtaining
// well calibrated probabilities using Bayesian binning", AAAI (2015). It is biased upwards
// when bins hold few: 20 honest ones said with 0.9 are off by 0.05 on average.
func calibrate(name string, all []Judged) Calibration {
	const bins = 10
	var n, right [bins]int
	var said [bins]float64
	for _, j := range all {
		b := min(bins-1, max(0, int(math.Floor(j.Confidence*bins+1e-9))))
		n[b]++
		said[b] += j.Confidence
		if j.True {
			right[b]++
		}
	}
	out := Calibration{Name: name, N: len(all), Bins: []Bin{}}
	for b := range bins {
		if n[b] == 0 {
			continue
		}
		bin := Bin{float64(b) / bins, float64(b+1) / bins, n[b], said[b] / float64(n[b]), float64(right[b]) / float64(n[b])}
		out.Error += math.Abs(bin.Said-bin.True) * float64(bin.N) / float64(len(all))
		out.Bins = append(out.Bins, bin)
	}
	return out
}

func calibrations(t *Tally) []Calibration {
	out := []Calibration{}
	for _, name := range sortedKeys(t.Judged) {
		out = append(out, calibrate(name, t.Judged[name]))
	}
	return out
}
