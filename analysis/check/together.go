package check

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/analysis/suggest"
	"github.com/afterbell/afterbell/schemas/series"
)

// together looks at signals that must fit each other.
func (c *looking) together() {
	c.twice()
	c.supply()
	c.stages()
	c.motors()
	c.balance()
	c.pose()
	c.moves()
}

// twice finds signals in two roles that cannot be one. A current may be that of a branch, a
// stage, a move and a motor; a drive command may stand in two places.
func (c *looking) twice() {
	first := map[string]int{}
	for i, b := range c.bound {
		if b.signal == nil {
			continue
		}
		j, two := first[b.Ref.Signal]
		if !two {
			first[b.Ref.Signal] = i
			continue
		}
		kind := func(role string) string { return role[strings.LastIndexByte(role, '.')+1:] }
		shared := map[string]bool{"current": true, "command": true, "speed": true, "drive": true}
		own := b.Role == "power.current" || c.bound[j].Role == "power.current"
		if shared[kind(b.Role)] && shared[kind(c.bound[j].Role)] && !own {
			continue
		}
		c.doubt(i, "name the right signal for one of the two", "%s is %s as well", b.Ref.Signal, c.bound[j].Place)
	}
}

// supply holds voltage, current and branches against each other.
func (c *looking) supply() {
	v, a := c.find("power.voltage"), c.find("power.current")
	if v >= 0 && a >= 0 {
		volts, amps := c.bound[v].num, c.bound[a].num
		middle := quantile(0.5, amps)
		// A supply that rests near nothing and a current that never leaves 12 A are each other.
		if math.Abs(quantile(0.1, volts)) < 3 && middle > 10 && middle < 14.5 && quantile(0.95, amps) < 16 {
			c.doubt(v, "exchange voltage and current", "voltage and current look exchanged: the one reads %.1f to %.1f, the other is near %.1f all along", *c.seen[v].Low, *c.seen[v].High, middle)
			return
		}
		if r := correlation(quick(volts), amps); r > 0.3 && wide(amps) > 10 {
			do := written(c.bound[a].Ref, "invert: true")
			if c.bound[a].Ref.Invert {
				do = "take invert: true away"
			}
			c.doubt(a, do, "the supply rises as it flows (correlation %.2f); a load makes it sag", r)
		}
	}
	if a < 0 {
		return
	}
	whole, sum := quantile(0.98, c.bound[a].num), 0.0
	for _, b := range c.bound {
		if strings.HasPrefix(b.Role, "power.branches[") && b.num != nil && len(b.num.V) > 0 {
			sum = math.Max(sum, quantile(0.98, b.num))
		}
	}
	if whole > 0 && sum > 1.3*whole {
		c.doubt(a, "name the current of the whole robot, or set the units", "one branch alone carries %.0f A where the whole robot draws %.0f", sum, whole)
	}
}

// stages holds the order of the path against that of the pieces.
func (c *looking) stages() {
	var at []int
	var runs [][]series.Interval
	var passes []float64
	for i, b := range c.bound {
		if b.sensor() && b.state != nil && len(b.state.T) > 0 {
			at = append(at, i)
			runs = append(runs, b.state.Runs(b.state.T[len(b.state.T)-1]))
			passes = append(passes, float64(len(runs[len(runs)-1])))
		}
	}
	if len(at) < 2 {
		return
	}
	order, _ := suggest.PassingOrder(runs)
	if !slices.IsSorted(order) {
		var names []string
		for _, k := range order {
			names = append(names, strings.TrimPrefix(c.bound[at[k]].Place, "sensor of stage "))
		}
		for n, k := range order {
			if n > 0 && order[n] < order[n-1] {
				c.doubt(at[k], "list the stages as pieces pass them, or exchange the signals: "+strings.Join(names, ", "), "pieces reach it behind %s, which stands further down in the profile", names[n-1])
			}
		}
	}
	usual := stat.Median(passes)
	for k, i := range at {
		if usual >= 4 && passes[k] > 0 && passes[k] < usual/2 {
			c.doubt(i, "see whether it looks past pieces, or whether they come this far", "%.0f passes, where the other beams have %.0f", passes[k], usual)
		}
		if usual >= 2 && passes[k] > 4*usual+4 {
			c.doubt(i, "see whether it flickers; for an analogue sensor set hysteresis", "%.0f passes, where the other beams have %.0f", passes[k], usual)
		}
	}
}

// motors holds command, current and speed of each stage and motor against each other.
func (c *looking) motors() {
	for i, b := range c.bound {
		if !strings.HasSuffix(b.Role, "].command") || b.num == nil || len(b.num.V) == 0 {
			continue
		}
		base := strings.TrimSuffix(b.Role, "command")
		w, a := c.find(base+"speed"), c.find(base+"current")
		rw, ra := 0.0, 0.0
		if w >= 0 {
			rw = correlation(c.bound[w].num, b.num)
		}
		if a >= 0 {
			ra = correlation(c.bound[a].num, b.num)
		}
		switch {
		case w >= 0 && rw < -0.5:
			c.doubt(w, written(c.bound[w].Ref, "invert: true"), "it turns against its command (correlation %.2f)", rw)
		case w >= 0 && a >= 0 && ra > 0.85 && ra > rw+0.15 && lasting(c.bound[a].num) > lasting(c.bound[w].num)+0.02:
			c.doubt(w, "exchange current and speed", "current and speed look exchanged: what is called current follows the command (correlation %.2f), the speed does not (%.2f)", ra, rw)
		case w >= 0 && math.Abs(rw) < 0.2 && wide(b.num) > 0 && wide(c.bound[w].num) > 0:
			c.doubt(w, "see whether it is the speed of this motor", "it does not follow its command (correlation %.2f)", rw)
		}
		if strings.HasPrefix(b.Role, "path.stages[") {
			c.direction(i, &c.bound[i])
		}
	}
}

// direction looks at the sign of a stage's command: what moves pieces onward is positive.
func (c *looking) direction(i int, b *bound) {
	on, back := 0.0, 0.0
	for k := 1; k < len(b.num.V); k++ {
		long := float64(b.num.T[k] - b.num.T[k-1])
		switch v := b.num.V[k-1]; {
		case v > 0:
			on += long
		case v < 0:
			back += long
		}
	}
	if back > 3*on && back > 0 {
		do := written(b.Ref, "invert: true")
		if b.Ref.Invert {
			do = "take invert: true away"
		}
		c.doubt(i, do+", if that moves pieces onward", "it is negative for %.0f %% of the time it runs; positive must move a piece onward", 100*back/(on+back))
	}
}

// balance holds tilt and rate against each other.
func (c *looking) balance() {
	t, r := c.find("balance.tilt"), c.find("balance.rate")
	if t < 0 || r < 0 {
		return
	}
	tilt, rate := c.bound[t].num, c.bound[r].num
	d := slope(tilt)
	like := correlation(d, smooth(rate))
	gain := regression(d, smooth(rate))
	switch {
	case correlation(slope(rate), smooth(tilt)) > 0.7:
		c.doubt(t, "exchange tilt and rate", "tilt and rate look exchanged: the tilt is how fast the rate changes")
	case like < -0.5:
		c.doubt(r, written(c.bound[r].Ref, "invert: true"), "it says the other direction than the tilt (correlation %.2f)", like)
	case like > 0.5 && gain > 20:
		c.doubt(t, "set the units of tilt and rate: one of them is most likely in rad", "the rate is %.0f times as much as the tilt changes", gain)
	case like > 0.5 && gain < 0.05:
		c.doubt(r, written(c.bound[r].Ref, "unit: rad/s"), "the rate is %.3f times as much as the tilt changes: it looks like rad/s", gain)
	case math.Abs(like) < 0.2 && wide(d) > 30: // it swings, so that there is a rate to see
		c.doubt(r, "see whether it is the rate of this tilt", "it is not how fast the tilt changes (correlation %.2f)", like)
	}
}

// pose holds x, y and heading against each other: the mean of cos 2(direction - heading), the
// double angle since a robot may drive backwards.
func (c *looking) pose() {
	x, y, h := c.find("cycles.pose.x"), c.find("cycles.pose.y"), c.find("cycles.pose.heading")
	if x < 0 || y < 0 || h < 0 {
		return
	}
	vx, vy := slope(c.bound[x].num), slope(c.bound[y].num)
	heading := c.bound[h].num
	var speeds []float64
	for i, t := range vx.T {
		w, _ := vy.At(t)
		speeds = append(speeds, math.Hypot(vx.V[i], w))
	}
	fast := stat.Quantile(0.97, speeds)
	same, other, n := 0.0, 0.0, 0
	for i, t := range vx.T {
		turn, known := heading.At(t)
		if w, ok := vy.At(t); ok && known && speeds[i] > 0.3*fast {
			d := math.Atan2(w, vx.V[i])
			same += math.Cos(2 * (d - turn))
			other += math.Cos(2 * (math.Pi/2 - d - turn))
			n++
		}
	}
	if n < 50 || fast <= 0 {
		return
	}
	if same, other = same/float64(n), other/float64(n); other > 0.5 && other > same+0.5 {
		c.doubt(x, "exchange x and y", "x and y look exchanged: the other way round the robot drives where it looks (%.2f, and %.2f as it is, of 1)", other, same)
	}
}

// moves holds position and target of each move against each other.
func (c *looking) moves() {
	for i, b := range c.bound {
		if !strings.HasPrefix(b.Role, "moves[") || !strings.HasSuffix(b.Role, ".position") || b.num == nil {
			continue
		}
		t := c.find(strings.TrimSuffix(b.Role, "position") + "target")
		if t < 0 || len(b.num.V) == 0 {
			continue
		}
		target := c.bound[t].num
		switch {
		case steps(target) > 4*steps(b.num)+20:
			c.doubt(i, "exchange position and target", "position and target look exchanged: the target changes %d times and the position %d", steps(target), steps(b.num))
		case steps(target) == 0:
			c.doubt(t, "see whether it is the target, and whether it moved in this log", "the target never changes")
		case wide(b.num) > 0 && wide(target) > 0 && (wide(b.num) > 20*wide(target) || wide(target) > 20*wide(b.num)):
			c.doubt(i, "set the units of both to the same", "it goes over %.3g where its target goes over %.3g", wide(b.num), wide(target))
		}
	}
}

func steps(f *series.Float) int {
	n := 0
	for i := 1; i < len(f.V); i++ {
		if f.V[i] != f.V[i-1] {
			n++
		}
	}
	return n
}

func wide(f *series.Float) float64 { return quantile(0.995, f) - quantile(0.005, f) }

// correlation is that of a with what b was at a's times.
func correlation(a, b *series.Float) float64 {
	x, y := paired(a, b)
	return correlate(x, y)
}

func correlate(x, y []float64) float64 {
	mx, my := mean(x), mean(y)
	var xx, yy, xy float64
	for i := range x {
		xx += (x[i] - mx) * (x[i] - mx)
		yy += (y[i] - my) * (y[i] - my)
		xy += (x[i] - mx) * (y[i] - my)
	}
	if xx <= 0 || yy <= 0 {
		return 0
	}
	return xy / math.Sqrt(xx*yy)
}

// regression is the factor from a to b, both about their means.
func regression(a, b *series.Float) float64 {
	x, y := paired(a, b)
	mx, my := mean(x), mean(y)
	var xx, xy float64
	for i := range x {
		xx += (x[i] - mx) * (x[i] - mx)
		xy += (x[i] - mx) * (y[i] - my)
	}
	if xx <= 0 {
		return 0
	}
	return xy / xx
}

func paired(a, b *series.Float) (x, y []float64) {
	for i, t := range a.T {
		if v, ok := b.At(t); ok {
			x, y = append(x, a.V[i]), append(y, v)
		}
	}
	return x, y
}

func mean(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v
	}
	return sum / math.Max(1, float64(len(x)))
}

// around calls each with each sample's neighbours within half seconds on either side.
func around(f *series.Float, half float64, each func(from, to int) float64) *series.Float {
	out := &series.Float{Name: f.Name, T: f.T, V: make([]float64, len(f.V))}
	reach := int64(half * 1e6)
	from, to := 0, 0
	for i, t := range f.T {
		for f.T[from] < t-reach {
			from++
		}
		for to+1 < len(f.T) && f.T[to+1] <= t+reach {
			to++
		}
		out.V[i] = each(from, to)
	}
	return out
}

// means is the moving average over half seconds on either side, by running sums.
func means(f *series.Float, half float64) *series.Float {
	sums := make([]float64, len(f.V)+1)
	for i, v := range f.V {
		sums[i+1] = sums[i] + v
	}
	return around(f, half, func(from, to int) float64 { return (sums[to+1] - sums[from]) / float64(to+1-from) })
}

func smooth(f *series.Float) *series.Float { return means(f, 0.1) }

// slope is the change a second over 0.2 s.
func slope(f *series.Float) *series.Float {
	s := smooth(f)
	return around(s, 0.1, func(from, to int) float64 {
		if to == from {
			return 0
		}
		return (s.V[to] - s.V[from]) / (float64(s.T[to]-s.T[from]) / 1e6)
	})
}

// quick is what changes within seconds.
func quick(f *series.Float) *series.Float {
	out := means(f, 2)
	for i := range out.V {
		out.V[i] = f.V[i] - out.V[i]
	}
	return out
}

// lasting is the correlation with the value 0.2 s before.
func lasting(f *series.Float) float64 {
	var x, y []float64
	for i, t := range f.T {
		if v, ok := f.At(t - 200_000); ok {
			x, y = append(x, f.V[i]), append(y, v)
		}
	}
	return correlate(x, y)
}
