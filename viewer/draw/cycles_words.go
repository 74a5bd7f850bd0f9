package draw

import (
	"math"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

func (c *cycleBars) cutWords(r cycleRow) string {
	after := decimal(r.DurationS, 1) + " s"
	end := "the end of the period"
	switch {
	case r.Period == schemas.PeriodAutonomous:
		end = "the end of autonomous"
	case stoppedEarly(c.scene):
		end = "the end of the log"
	case math.Abs(r.EndS-c.scene.Report.Match.EndS) < 0.5:
		end = "the bell"
	}
	if c.narrow {
		return "cut off after " + after
	}
	return "cut off by " + end + " after " + after + ": not counted as slow"
}

// because is why a cycle was slow, in words, with the finding that says more.
func (c *cycleBars) because(r cycleRow) string {
	words, kind := "cause unknown", "slow_cycle"
	if r.Why != nil {
		switch *r.Why {
		case "jam":
			kind = "jam"
			words = "jam on the way"
			for _, j := range c.scene.Report.Jams {
				if j.StartS < r.EndS && j.EndS > r.StartS {
					words = "stood " + decimal(min(j.EndS, r.EndS)-j.StartS, 1) + " s in the " + clip(j.Stage, 16)
					break
				}
			}
		case "return":
			words = "slow way back"
		case "collect":
			words = "slow pick-up"
		case "carry":
			words = "slow carry"
		case "place":
			words = "slow placing"
		}
	}
	for i, f := range c.scene.Report.Findings {
		if f.Kind != kind {
			continue
		}
		for _, q := range spansOf(f) {
			if q.StartS < r.EndS && q.EndS > r.StartS {
				return words + ", finding " + strconv.Itoa(i+1)
			}
		}
	}
	return words
}

func (c *cycleBars) words() string {
	slow := 0
	for _, q := range c.scene.Report.Cycles {
		if q.Slow {
			slow++
		}
	}
	text := counted(c.complete, "complete cycle", "complete cycles") + ", " + strconv.Itoa(slow) + " slow."
	if u := c.scene.Report.Usual; finite(u.CycleS) {
		text += " Usual " + decimal(*u.CycleS, 1) + " s."
	}
	return text
}

func (c *cycleBars) table() Table {
	t := Table{Head: []string{"Cycle", "Period", "From", "To", "Length", "Return", "Collect", "Carry", "Place", "Remark"}}
	number := 0
	cell := func(v *float64) string {
		if !finite(v) {
			return "unknown"
		}
		return decimal(*v, 1) + " s"
	}
	for _, q := range c.scene.Report.Cycles {
		name, remark := "", ""
		switch {
		case q.Kind == schemas.CycleHandover:
			name = "hand-over"
		case !q.Complete:
			name, remark = "cut off", c.cutWords(cycleRow{Cycle: q})
		default:
			number++
			name = strconv.Itoa(number)
			if q.Slow {
				remark = "slow: " + c.because(cycleRow{Cycle: q})
			}
		}
		t.Rows = append(t.Rows, []string{
			name, q.Period, decimal(c.scene.T(q.StartS), 1) + " s", decimal(c.scene.T(q.EndS), 1) + " s", decimal(q.DurationS, 1) + " s",
			cell(q.Phases.ReturnS), cell(q.Phases.CollectS), cell(q.Phases.CarryS), cell(q.Phases.PlaceS), remark,
		})
	}
	return t
}
