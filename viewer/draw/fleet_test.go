package draw

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// No word of a fleet's pictures leaves its picture, is too small, or lies on another.
func TestFleetWordsHaveRoom(t *testing.T) {
	for name, f := range fixture.Fleets() {
		for i := range f.Measures {
			m := &f.Measures[i]
			for _, width := range []float64{1040, 780, 560, 328} {
				t.Run(name+" "+m.Name+" "+strconv.Itoa(int(width)), func(t *testing.T) {
					p, ok := FleetChart(f, m, f.Order(""), width)
					require.True(t, ok)
					requireRoom(t, p, width)
				})
			}
		}
	}
}

func TestFleetChartSaysThePlaces(t *testing.T) {
	f := fixture.Fleets()["dozen"]
	p, ok := FleetChart(f, f.Measure("jam_rate"), f.Order("jam_rate"), 1040)
	require.True(t, ok)
	var words []string
	for _, l := range textsOf(p) {
		words = append(words, l.text)
	}
	require.Contains(t, words, "place 1 to 4")
	require.Contains(t, words, "place of 12")
	require.Contains(t, words, "worst stage")
	require.Len(t, p.Table.Rows, 12)
	svg := p.SVG("x", "")
	require.Equal(t, 12, strings.Count(svg, `href="/s/2031/`))
	require.NotContains(t, svg, "style=")
	require.Equal(t, "robot-00", f.Order("")[0])
	require.NotEqual(t, f.Order(""), f.Order("jam_rate"))

	few := fixture.Fleets()["few"]
	p, _ = FleetChart(few, few.Measure("cycle_s"), few.Order(""), 1040)
	words = nil
	for _, l := range textsOf(p) {
		words = append(words, l.text)
	}
	require.Contains(t, words, "too few to say")
	require.Contains(t, words, "not known", "of the fourth robot")
	_, ok = FleetChart(&schemas.Fleet{}, &schemas.FleetMeasure{}, nil, 1040)
	require.False(t, ok)
}

func TestFleetWords(t *testing.T) {
	f := fixture.Fleets()["dozen"]
	jams := f.Measure("jam_rate")
	e := jams.Estimate("robot-00")
	require.Equal(t, "3.8 % (3 of 90); 95 %: 2.0 to 5.6 %; place 1 to 7 of 12; 8 matches; worst stage mouth-of-the-robot 5.7 % (3.8 to 11.4 %), not told from lift", FleetSentence(jams, e))
	require.Equal(t, "mouth-of-the-robot 5.7 %, or lift", FleetWeakest(jams, e.Weakest))
	ohm := f.Measure("resistance_ohm")
	value, interval := FleetValue(ohm, ohm.Estimate("robot-00"))
	require.Equal(t, "0.0169 Ω", value)
	require.Equal(t, "0.0157 to 0.0181 Ω", interval)
	one := fixture.Fleets()["one"]
	require.Equal(t, "nothing to compare with", FleetPlace(one.Measure("cycle_s"), one.Measure("cycle_s").Estimate("robot-00")))
	few := fixture.Fleets()["few"]
	require.Contains(t, FleetSentence(few.Measure("cycle_s"), few.Measure("cycle_s").Estimate("robot-00")), "too few to say; 2 matches")
}
