package season

import (
	"fmt"
	"math"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// fewestJams is how many jams it takes to say how they go over all stages; chosen by us: of fewer no
// interval is worth reading.
const fewestJams = 6

// growth says whether jams become rarer or more frequent the longer the robot runs, all stages together: what is
// mended here and there, too little for any stage to show it, shows in their sum. It is a power law of the
// hours run, as reliability growth is followed (IEC 61164). Nil with too few jams or matches. Where a stage
// has changed by itself that stage tells it, and better: a law over all would blur it.
func growth(matches []Match, all []Series, facts []Facts) *schemas.SeasonGrowth {
	var until, counts []float64
	hours, jams := 0.0, 0
	for i := range matches {
		m := &matches[i]
		if len(m.Stages) == 0 || !(m.RunS > 0) {
			continue
		}
		hours += m.RunS / 3600
		k := 0
		for _, s := range m.Stages {
			k += s.Jams
		}
		jams += k
		until, counts = append(until, hours), append(counts, float64(k))
	}
	if len(until) < fewest || jams < fewestJams {
		return nil
	}
	law, ok := stat.FitPowerLaw(until, counts)
	if !ok {
		return nil
	}
	g := &schemas.SeasonGrowth{Jams: jams, Hours: hours, Shape: law.Shape}
	g.Low, g.High = law.Interval(sureness)
	_, g.P = law.Trend()
	g.Now.Hours = hours
	g.Now.Value, g.Now.Low, g.Now.High = law.Pace(hours, sureness)
	g.Seen = g.P <= local
	for i := range all {
		if strings.HasPrefix(all[i].Name, "jam_rate/") && (len(facts[i].Changes) > 0 || facts[i].Drift != nil) {
			g.Seen = false
			g.Note = "a stage has changed by itself, and tells more"
		}
	}
	g.Note = growthNote(g)
	return g
}

func growthNote(g *schemas.SeasonGrowth) string {
	said := fmt.Sprintf("%d jams of all stages in %.1f h of running, one in %s", g.Jams, g.Hours, lasts(g.Hours/float64(g.Jams)))
	switch {
	case g.Note != "":
		return said + "; " + g.Note
	case !g.Seen:
		return said + "; no trend seen over the hours it ran"
	}
	word := "more frequent"
	if g.Shape < 1 {
		word = "rarer"
	}
	return said + fmt.Sprintf("; they get %s as it runs: now one in %s (95 %%: %s to %s)", word, lasts(1/g.Now.Value), lasts(1/g.Now.High), lasts(1/g.Now.Low))
}

// lasts is a time in minutes.
func lasts(hours float64) string {
	if minutes := 60 * hours; minutes < 120 {
		return number(math.Max(minutes, 0.01)) + " min"
	}
	return number(hours) + " h"
}
