package pyramid

import (
	"sort"

	"github.com/afterbell/afterbell/schemas"
)

// Labels is a text signal as what it said and when: each run holds until the next begins.
type Labels struct {
	From []int64 // when each run began, never falling
	Text []string
	Last int64 // time of the last sample
}

// LabelsOf is a normalized text signal as labels.
func LabelsOf(s *schemas.Signal) *Labels {
	l := &Labels{}
	add := func(i int) {
		if n := len(l.Text); n == 0 || l.Text[n-1] != s.Text[i] {
			l.From, l.Text = append(l.From, s.Time[i]), append(l.Text, s.Text[i])
		}
		l.Last = s.Time[i]
	}
	if s.Boot == nil {
		for i := range s.Text {
			add(i)
		}
		return l
	}
	for _, i := range InTime(s) {
		add(i)
	}
	return l
}

// Window are the runs of a stretch cut into pixel columns: the one that held when it began,
// and of those that began in one column the first and the last. Left is, for each, how many
// that came between it and the next are left out.
func (l *Labels) Window(t0, t1 int64, columns int) (at, left []int) {
	if t1 <= t0 || columns < 1 {
		return nil, nil
	}
	first := sort.Search(len(l.From), func(i int) bool { return l.From[i] >= t0 })
	behind := sort.Search(len(l.From), func(i int) bool { return l.From[i] > t1 })
	if first > 0 && (first == len(l.From) || l.From[first] > t0) && l.Last >= t0 {
		at, left = append(at, first-1), append(left, 0)
	}
	for i := first; i < behind; {
		j := behindColumn(l.From, i, behind, 1, t0, t1, columns)
		at, left = append(at, i), append(left, max(0, j-i-2))
		if j-1 > i {
			at, left = append(at, j-1), append(left, 0)
		}
		i = j
	}
	return at, left
}

// Holds is the run that holds at t, -1 before the first and behind the last sample.
func (l *Labels) Holds(t int64) int {
	if t > l.Last {
		return -1
	}
	return sort.Search(len(l.From), func(i int) bool { return l.From[i] > t }) - 1
}
