package draw

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

func TestTrialWordsHaveRoom(t *testing.T) {
	for name, trial := range fixture.Trials() {
		for i := range trial.Measures {
			for _, width := range []float64{744, 780, 560, 328} {
				p, ok := TrialRuns(trial, &trial.Measures[i], width)
				require.True(t, ok)
				t.Run(name+" "+trial.Measures[i].Name+" "+strconv.Itoa(int(width)), func(t *testing.T) { requireRoom(t, p, width) })
			}
		}
	}
}

// Which version a run had is told by letter and marker, and in the table.
func TestTrialSaysItWithoutColour(t *testing.T) {
	trial := fixture.Trials()["turns"]
	jams := &trial.Measures[1]
	p, ok := TrialRuns(trial, jams, 744)
	require.True(t, ok)
	letters := map[string]int{}
	for _, l := range textsOf(p) {
		letters[l.text]++
	}
	require.Equal(t, 3, letters["A"], "six turns")
	require.Equal(t, 3, letters["B"])
	require.Len(t, p.Table.Rows, 12)
	require.Equal(t, []string{"practice pa", "A", "2 of 8"}, p.Table.Rows[0])
	require.Equal(t, "B", p.Table.Rows[2][1])
	jams.Points = nil
	_, ok = TrialRuns(trial, jams, 744)
	require.False(t, ok)
}
