package balance

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"

	"github.com/afterbell/afterbell/schemas/series"
)

// plant is the platform under the robot, as the way it swung shows it. The command is a speed:
// it moves the robot along the platform, and where the robot stands pulls the platform:
// tilt” = -damp tilt' - stiff tilt - pull (sum of the commands over time) + constant.
type plant struct {
	damp  float64 // 1/s
	stiff float64 // 1/s²
	pull  float64 // deg/s² for a second of full command, with the sign of the loop's gain
	rms   float64 // of what is left, deg
	lag   float64 // s from the command to the robot's speed
	force bool    // the command is a force: it pulls the platform itself, not by where it moves the robot
}

const (
	plantStep = 0.02 // s
	plantBand = 4.0  // rad/s of the filter that stands in for differentiating: about the fastest platform's swing
)

// plantsOf are the platforms by the lags that drivetrains have; those that make no sense are
// left out.
func plantsOf(tr trace, from, to int64, drive *series.Float, sign float64, force bool) []plant {
	var out []plant
	for _, lag := range [...]float64{0, 0.03, 0.06, 0.1, 0.15} {
		if p, ok := lookAtPlant(tr, from, to, drive, sign, force, lag); ok {
			out = append(out, p)
		}
	}
	return out
}

// lookAtPlant fits the platform to tilt and command between two times by least squares on
// both passed through the same filter 1/(s + band)², which gives rates without
// differentiating noise (state variable filters; Young, "The instrumental variable method",
// Automatica 1970, and Garnier and Wang, Identification of Continuous-time Models from
// Sampled Data, 2008; from memory). damp and stiff are held at 0 or above.
func lookAtPlant(tr trace, from, to int64, drive *series.Float, sign float64, force bool, lag float64) (plant, bool) {
	n := int(seconds(to-from)/plantStep) + 1
	if n < 50 || drive == nil {
		return plant{}, false
	}
	tilt, command := make([]float64, n), make([]float64, n)
	f := &series.Float{T: tr.t, V: tr.v}
	for i := range n {
		t := from + int64(float64(i)*plantStep*1e6)
		v, ok := between(f, t)
		if !ok {
			v = tr.v[min(series.From(tr.t, t), len(tr.t)-1)]
		}
		d, _ := drive.At(t - int64(lag*1e6))
		tilt[i], command[i] = v, d
	}
	once := filtered(tilt, plantBand)
	twice := filtered(once, plantBand)
	way := filtered(filtered(command, plantBand), plantBand)
	if !force {
		way = filtered(way, 0)
	}
	best, found := plant{rms: math.Inf(1)}, false
	for held := range 4 { // damp held at 0, stiff held at 0
		var columns [][]float64
		if held&1 == 0 {
			columns = append(columns, make([]float64, n))
		}
		if held&2 == 0 {
			columns = append(columns, make([]float64, n))
		}
		a, b := mat.NewDense(n, len(columns)+4, nil), mat.NewVecDense(n, nil)
		for i := range n {
			t := float64(i) * plantStep
			e := math.Exp(-plantBand * t)
			var row []float64
			if held&1 == 0 {
				row = append(row, -(once[i] - plantBand*twice[i]))
			}
			if held&2 == 0 {
				row = append(row, -twice[i])
			}
			a.SetRow(i, append(row, -way[i], 1, e, t*e))
			b.SetVec(i, tilt[i]-2*plantBand*once[i]+plantBand*plantBand*twice[i])
		}
		var x, fit mat.VecDense
		if x.SolveVec(a, b) != nil {
			continue
		}
		fit.MulVec(a, &x)
		fit.SubVec(b, &fit)
		p := plant{force: force, lag: lag, rms: mat.Norm(&fit, 2) / math.Sqrt(float64(n))}
		k := 0
		if held&1 == 0 {
			p.damp = x.AtVec(k)
			k++
		}
		if held&2 == 0 {
			p.stiff = x.AtVec(k)
			k++
		}
		p.pull = x.AtVec(k)
		if p.damp >= 0 && p.stiff >= 0 && p.pull*sign > 0 && p.rms < best.rms {
			best, found = p, true
		}
	}
	return best, found
}

// filtered is x through 1/(s + band), straight between samples, from rest.
func filtered(x []float64, band float64) []float64 {
	out, k := make([]float64, len(x)), band*plantStep/2
	for i := 1; i < len(x); i++ {
		out[i] = ((1-k)*out[i-1] + plantStep/2*(x[i]+x[i-1])) / (1 + k)
	}
	return out
}

// poles are those of the platform under a loop command = gain (tilt + lead tilt') that is
// late by a time, the lateness as (1 - late s/2)/(1 + late s/2) (Padé, first order).
func (p plant) poles(gain, lead, late float64) []complex128 {
	k, h := p.pull*gain, late/2
	// (s² + damp s + stiff)(1 + h s), times s unless the command is a force, + k(1 + lead s)(1 - h s), lowest first
	c := []float64{p.stiff, p.damp + h*p.stiff, 1 + h*p.damp, h}
	if !p.force {
		c = append([]float64{0}, c...)
	}
	c[0] += k
	c[1] += k * (lead - h)
	c[2] -= k * lead * h
	for len(c) > 1 && math.Abs(c[len(c)-1]) < 1e-9 {
		c = c[:len(c)-1]
	}
	n := len(c) - 1
	m := mat.NewDense(n, n, nil)
	for i := range n {
		if i > 0 {
			m.Set(i, i-1, 1)
		}
		m.Set(i, n-1, -c[i]/c[n])
	}
	var e mat.Eigen
	if !e.Factorize(m, mat.EigenNone) {
		return nil
	}
	return e.Values(nil)
}

// mainSwing is the damping ratio and natural frequency (rad/s) of the slowest pair of poles,
// the one that shows, and the least damping of the other poles; without a pair zeta is 1.
func mainSwing(poles []complex128) (zeta, wn, others float64) {
	zeta, wn, others = 1, math.Inf(1), 1
	for _, s := range poles {
		if imag(s) != 0 && cmplx.Abs(s) < wn {
			zeta, wn = -real(s)/cmplx.Abs(s), cmplx.Abs(s)
		}
	}
	for _, s := range poles {
		if a := cmplx.Abs(s); imag(s) == 0 || a > wn*(1+1e-9) {
			others = min(others, -real(s)/a)
		}
	}
	return zeta, wn, others
}
