package swing

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// Pencil are the count factors by which the parts of a signal change from one even sample to the
// next, by the matrix pencil: the shift between the two halves of the signal's own directions
// (Hua and Sarkar, "Matrix pencil method for estimating parameters of exponentially
// damped/undamped sinusoids in noise", IEEE Trans. ASSP 38, 1990). Exact without noise. ok is
// false for too few samples or a signal of fewer parts.
func Pencil(y []float64, count int) (factors []complex128, ok bool) {
	l := len(y) / 3
	if l < count+1 {
		return nil, false
	}
	rows := len(y) - l
	hankel := mat.NewDense(rows, l+1, nil)
	for i := range rows {
		for j := range l + 1 {
			hankel.Set(i, j, y[i+j])
		}
	}
	var svd mat.SVD
	if !svd.Factorize(hankel, mat.SVDThin) {
		return nil, false
	}
	if sizes := svd.Values(nil); !(sizes[count-1] > 1e-12*sizes[0]) {
		return nil, false
	}
	var v, shift mat.Dense
	svd.VTo(&v)
	first, second := v.Slice(0, l, 0, count), v.Slice(1, l+1, 0, count)
	if shift.Solve(first, second) != nil {
		return nil, false
	}
	var e mat.Eigen
	if !e.Factorize(&shift, mat.EigenNone) {
		return nil, false
	}
	return e.Values(nil), true
}

// pencilStarts is a start for a damped swing: the slowest pair that the pencil finds in the
// tilt at sixty even places, for swings that stand on a constant.
func pencilStarts(w Stretch) [][]float64 {
	const places = 60
	length := w.T[len(w.T)-1]
	if !(length > 0) {
		return nil
	}
	step := length / (places - 1)
	y := make([]float64, places)
	for i, k := 0, 0; i < places; i++ {
		at := float64(i) * step
		for k+2 < len(w.T) && w.T[k+1] < at {
			k++
		}
		part := (at - w.T[k]) / (w.T[k+1] - w.T[k])
		y[i] = w.Y[k] + part*(w.Y[k+1]-w.Y[k])
	}
	factors, ok := Pencil(y, 3)
	if !ok {
		return nil
	}
	for _, z := range factors {
		s := cmplx.Log(z) / complex(step, 0)
		if imag(s) <= 0 || cmplx.IsNaN(s) || cmplx.IsInf(s) {
			continue
		}
		basis := make([]float64, 3*len(w.T))
		for i, t := range w.T {
			sin, cos := math.Sincos(imag(s) * t)
			e := math.Exp(real(s) * t)
			basis[3*i], basis[3*i+1], basis[3*i+2] = 1, e*cos, e*sin
		}
		if c, _, ok := Linear(basis, w.Y, 3); ok {
			return [][]float64{{c[0], c[1], c[2], -real(s), imag(s)}}
		}
	}
	return nil
}
