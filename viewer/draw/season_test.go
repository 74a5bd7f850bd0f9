package draw

import (
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// seasonPictures are all pictures of a season at one width.
func seasonPictures(y Year, width float64) []*Picture {
	var out []*Picture
	for _, make := range []func(Year, float64) (*Picture, bool){
		SeasonMarks, SeasonJams, SeasonBatteries, SeasonBalance, SeasonWear, SeasonAxis,
		func(y Year, w float64) (*Picture, bool) { return RunChart(y, "cycle_s", w) },
		func(y Year, w float64) (*Picture, bool) { return RunChart(y, "balance_settle_s", w) },
	} {
		if p, ok := make(y, width); ok {
			out = append(out, p)
		}
	}
	return out
}

// No word of a season's pictures leaves its picture, is too small, or lies on another.
func TestSeasonWordsHaveRoom(t *testing.T) {
	for name, s := range fixture.Seasons() {
		for _, width := range []float64{744, 780, 560, 328} {
			for _, p := range seasonPictures(Year{s, "c"}, width) {
				t.Run(name+" "+p.Name+" "+strconv.Itoa(int(width)), func(t *testing.T) {
					requireRoom(t, p, width)
				})
			}
		}
	}
}

func TestSeasonPicturesOfLittle(t *testing.T) {
	require.Len(t, seasonPictures(Year{fixture.Seasons()["bare"], ""}, 744), 2, "the events and the axis, and nothing else")
	require.Len(t, seasonPictures(Year{fixture.Seasons()["full"], ""}, 744), 8)
}

// What has changed is told by more than colour: the run chart has its wedge and its levels' values,
// the marker of a battery its name.
func TestSeasonSaysItWithoutColour(t *testing.T) {
	y := Year{fixture.Seasons()["full"], "c"}
	p, ok := RunChart(y, "cycle_s", 744)
	require.True(t, ok)
	var words []string
	for _, l := range textsOf(p) {
		words = append(words, l.text)
	}
	require.Contains(t, words, "12.0 s")
	require.Contains(t, words, "10.8 s")
	require.Contains(t, words, y.Matches[44/3].Match)
	svg := p.SVG("x", "")
	require.NotContains(t, svg, "style=")
	marks, ok := SeasonMarks(y, 744)
	require.True(t, ok)
	svg = marks.SVG("x", "")
	require.Contains(t, svg, `href="?part=b#parts"`)
	require.Equal(t, len(y.Parts), strings.Count(svg, "<a "))
}

// What wears is told beside what it was at first, and one odd match does not flatten the others.
func TestSeasonWearIsInPercentOfTheFirst(t *testing.T) {
	s := fixture.Seasons()["full"]
	p, ok := SeasonWear(Year{s, ""}, 744)
	require.True(t, ok)
	var words []string
	for _, l := range textsOf(p) {
		words = append(words, l.text)
	}
	require.Contains(t, words, "lift current")
	require.Contains(t, words, "100")
	require.Contains(t, p.Table.Rows[1], "2.1 A")
	m := measureIn(t, s, "free_current_a/lift")
	require.InDelta(t, 2.1, WearFirst(m), 0.05)
	m.Points[20].Value = 400
	high, ok := SeasonWear(Year{s, ""}, 744)
	require.True(t, ok)
	words = nil
	for _, l := range textsOf(high) {
		words = append(words, l.text)
	}
	require.Contains(t, words, "100")
	require.NotContains(t, words, "20000")
	m.Points = m.Points[:wearBase-1]
	require.False(t, InWear(m), "too few to say what it was at first")
}

func measureIn(t *testing.T, s *schemas.Season, name string) *schemas.SeasonMeasure {
	t.Helper()
	for i := range s.Measures {
		if s.Measures[i].Name == name {
			return &s.Measures[i]
		}
	}
	require.Fail(t, "no measure "+name)
	return nil
}

func TestSeasonDifferenceHasASign(t *testing.T) {
	require.Equal(t, "−1.2 s", SeasonDifference(-1.2, "s"))
	require.Equal(t, "+7.0 %", SeasonDifference(0.07, ""))
	require.Equal(t, "0.0", SeasonDifference(-0.01, "pieces"))
	require.Equal(t, "+0.0031 Ω", SeasonDifference(0.0031, "ohm"))
}
