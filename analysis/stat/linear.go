package stat

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Line is y = Intercept + Slope x fitted to points, with standard errors.
type Line struct {
	Intercept, Slope     float64
	InterceptSE, SlopeSE float64
	// Residual is the standard deviation of y about the line with N-2 degrees of freedom
	// for FitLine; for FitYork the same in units of the points' own standard errors, so
	// that 1 says the errors given were right.
	Residual float64
	N        int
	MeanX    float64 // of the points; for FitYork the weighted mean of the adjusted points
}

// FitLine is the least-squares line through (x, y), all of the error in y and equal for
// all points. x and y must be equally long. ok is false with fewer than three points, when
// all x are equal, and when a coordinate is NaN or infinite. The centred sums are as accurate as double precision allows: the
// test holds them to the certified values of NIST's Norris data.
func FitLine(x, y []float64) (l Line, ok bool) {
	n := len(x)
	if n < 3 {
		return Line{}, false
	}
	mean := stat.Mean(x, nil)
	var sxx float64
	for _, v := range x {
		sxx += (v - mean) * (v - mean)
	}
	if sxx == 0 {
		return Line{}, false
	}
	l.Intercept, l.Slope = stat.LinearRegression(x, y, nil, false)
	var rss float64
	for i := range x {
		r := y[i] - l.Intercept - l.Slope*x[i]
		rss += r * r
	}
	l.N, l.MeanX = n, mean
	l.Residual = math.Sqrt(rss / float64(n-2))
	if !isFinite(l.Residual) || !isFinite(l.Intercept) {
		return Line{}, false
	}
	l.SlopeSE = l.Residual / math.Sqrt(sxx)
	l.InterceptSE = l.Residual * math.Sqrt(1/float64(n)+mean*mean/sxx)
	return l, true
}

// SlopeInterval answers whether a season's trend may as well be none: the interval of the
// slope of FitLine at the given level (0.95), by Student's t with N-2 degrees of freedom.
func (l Line) SlopeInterval(level float64) (low, high float64) {
	half := l.student(level) * l.SlopeSE
	return l.Slope - half, l.Slope + half
}

// Next answers what a season's trend expects of another match: the value of FitLine at x
// and the interval at the given level in which another reading there lies. It is wider than
// that of the line itself (At) by the scatter of single readings.
func (l Line) Next(x, level float64) (y, low, high float64) {
	half := l.student(level) * math.Hypot(l.Residual, l.se(x))
	y = l.Intercept + l.Slope*x
	return y, y - half, y + half
}

// At answers how well a season's trend is known: the value of FitLine at x with the interval
// of the line there at the given level.
func (l Line) At(x, level float64) (y, low, high float64) {
	half := l.student(level) * l.se(x)
	y = l.Intercept + l.Slope*x
	return y, y - half, y + half
}

// se is the standard error of FitLine's value at x.
func (l Line) se(x float64) float64 {
	return math.Hypot(l.Residual/math.Sqrt(float64(l.N)), l.SlopeSE*(x-l.MeanX))
}

func (l Line) student(level float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: float64(l.N - 2)}.Quantile(0.5 + level/2)
}

// FitYork is the line through points with errors in both coordinates: point i has
// standard error sx[i] in x and sy[i] in y, independent of each other, at least one of
// them above zero. It weighs each point by 1 / (sy² + Slope² sx²) and iterates. With all
// sx zero it is weighted least squares. All four slices must be equally long. ok is false
// with fewer than three points, when all x are equal, or when the iteration does not
// settle, which happens when the points have no direction.
//
// York, Evensen, López Martínez and De Basabe Delgado, "Unified equations for the slope,
// intercept, and standard errors of the best straight line", Am. J. Phys. 72 (2004), for
// uncorrelated errors. The standard errors are those of the paper: they trust sx and sy.
func FitYork(x, y, sx, sy []float64) (l Line, ok bool) {
	b, ok := YorkSlope(x, y, sx, sy)
	if !ok {
		return Line{}, false
	}
	return yorkErrors(x, y, sx, sy, b), true
}

// YorkSlope is the slope of FitYork alone, for many draws of the same points.
func YorkSlope(x, y, sx, sy []float64) (b float64, ok bool) {
	start, ok := FitLine(x, y)
	if !ok {
		return 0, false
	}
	const (
		most    = 100
		settled = 1e-12
	)
	b = start.Slope
	weights := make([]float64, len(x))
	for range most {
		next, _, _ := yorkStep(x, y, sx, sy, weights, b)
		if math.IsNaN(next) || math.IsInf(next, 0) {
			return 0, false
		}
		done := math.Abs(next-b) <= settled*math.Abs(next)
		b = next
		if done {
			return b, true
		}
	}
	return 0, false
}

// yorkStep is one turn of the iteration from slope b, and the weighted means at b. weights has
// len(x) places and is written over.
func yorkStep(x, y, sx, sy, weights []float64, b float64) (next, xMean, yMean float64) {
	var sw, swx, swy float64
	for i := range x {
		w := 1 / (sy[i]*sy[i] + b*b*sx[i]*sx[i])
		weights[i] = w
		sw += w
		swx += w * x[i]
		swy += w * y[i]
	}
	xMean, yMean = swx/sw, swy/sw
	var num, den float64
	for i, w := range weights {
		u, v := x[i]-xMean, y[i]-yMean
		beta := w * (u*sy[i]*sy[i] + b*v*sx[i]*sx[i])
		num += w * beta * v
		den += w * beta * u
	}
	return num / den, xMean, yMean
}

// yorkErrors is the finished line of slope b. The standard errors are taken at the
// adjusted points, which lie on the line.
func yorkErrors(x, y, sx, sy []float64, b float64) Line {
	_, xMean, yMean := yorkStep(x, y, sx, sy, make([]float64, len(x)), b)
	l := Line{Slope: b, Intercept: yMean - b*xMean, N: len(x)}
	adjusted := make([]float64, len(x))
	var sw, swx, chi2 float64
	for i := range x {
		w := 1 / (sy[i]*sy[i] + b*b*sx[i]*sx[i])
		adjusted[i] = xMean + w*((x[i]-xMean)*sy[i]*sy[i]+b*(y[i]-yMean)*sx[i]*sx[i])
		sw += w
		swx += w * adjusted[i]
		r := y[i] - l.Intercept - b*x[i]
		chi2 += w * r * r
	}
	adjustedMean := swx / sw
	l.MeanX = adjustedMean
	var swuu float64
	for i, a := range adjusted {
		w := 1 / (sy[i]*sy[i] + b*b*sx[i]*sx[i])
		swuu += w * (a - adjustedMean) * (a - adjustedMean)
	}
	l.SlopeSE = math.Sqrt(1 / swuu)
	l.InterceptSE = math.Sqrt(1/sw + adjustedMean*adjustedMean/swuu)
	l.Residual = math.Sqrt(chi2 / float64(len(x)-2))
	return l
}
