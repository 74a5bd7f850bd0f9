package collector

import "time"

// rate is a bucket that holds a second's worth of samples.
type rate struct {
	perSecond float64
	left      float64
	last      time.Time
}

// wait takes n samples out of the bucket, and sleeps as long as it is overdrawn.
func (r *rate) wait(n int, done <-chan struct{}) bool {
	now := time.Now()
	if r.last.IsZero() {
		r.left = r.perSecond
	} else {
		r.left = min(r.perSecond, r.left+now.Sub(r.last).Seconds()*r.perSecond)
	}
	r.last = now
	r.left -= float64(n)
	if r.left >= 0 {
		return true
	}
	t := time.NewTimer(time.Duration(-r.left / r.perSecond * float64(time.Second)))
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-done:
		return false
	}
}
