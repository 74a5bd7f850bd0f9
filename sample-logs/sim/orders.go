package sim

// orders are what the lift is sent to: what the operator wants, and what becomes of it on
// the way. The zero of each field leaves it out.
type orders struct {
	tremble float64 // m, largest, by which the target trembles
	nudge   float64 // m by which it is set anew now and then
	doubts  float64 // chance that the operator thinks better of a lift, and then again
	r       random

	want      float64
	instead   float64 // m
	doubtAt   float64 // s since the log's begin, doubtTill: when it goes to instead
	doubtTill float64
	shiftDue  float64
	offset    float64
	shakeDue  float64
	shake     float64
}

func newOrders(w *world) orders {
	o := orders{r: stream(w.seed, "orders"), want: travelAt}
	if w.scenario.balance.orders != nil {
		w.scenario.balance.orders(&o)
	}
	return o
}

// target is where the lift is sent at a time since the log's begin when the operator wants
// it at want.
func (o *orders) target(now, want float64) float64 {
	if want != o.want {
		o.want, o.doubtTill = want, 0
		if o.doubts > 0 && o.r.Float64() < o.doubts {
			o.doubtAt = now + o.r.between(0.2, 0.5)
			o.doubtTill = o.doubtAt + o.r.between(0.3, 0.9)
			o.instead = o.r.between(0.3, 0.6)
		}
	}
	if o.doubtAt <= now && now < o.doubtTill {
		return o.instead
	}
	if o.nudge > 0 && now >= o.shiftDue {
		o.shiftDue = now + o.r.between(2, 6)
		o.offset = o.nudge * float64(o.r.IntN(3)-1)
	}
	if o.tremble > 0 && now >= o.shakeDue {
		o.shakeDue = now + o.r.between(0.05, 0.3)
		o.shake = o.r.between(-o.tremble, o.tremble)
	}
	return want + o.offset + o.shake
}
