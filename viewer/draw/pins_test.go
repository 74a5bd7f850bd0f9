package draw

import (
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// Marks and words of pins never meet, and no stem runs through words.
func TestPinsDoNotMeet(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		width := rapid.SampledFrom([]float64{328, 780, 1040}).Draw(t, "width")
		n := rapid.IntRange(0, 25).Draw(t, "n")
		var pins []pin
		at := 0.0
		for i := range n {
			at += rapid.Float64Range(0, 90).Draw(t, "step")
			f := &schemas.Finding{Severity: rapid.SampledFrom([]string{"stop", "fix", "watch"}).Draw(t, "severity")}
			words := rapid.SampledFrom([]string{"", "jam", "brownout", "jam, not cleared", "a very long name of a stage, not cleared"}).Draw(t, "words")
			x := min(at, width)
			pins = append(pins, pin{x0: x, x1: x, x: x, rank: i + 1, words: words, finding: f})
		}
		placed, lanes := placePins(pins, width)
		if lanes > maxLanes {
			t.Fatalf("%d lanes", lanes)
		}
		for i := range placed {
			placed[i].y = float64(maxLanes-placed[i].lane)*laneHeight + 12
		}
		for i := range placed {
			a := &placed[i]
			if a.lane < 0 {
				continue
			}
			ax0, ax1 := a.extent()
			if ax0 < -0.01 || ax1 > width+0.01 {
				t.Fatalf("pin %d reaches from %.1f to %.1f of %.0f", a.rank, ax0, ax1, width)
			}
			for k := range placed {
				b := &placed[k]
				if k == i || b.lane < 0 {
					continue
				}
				bx0, bx1 := b.extent()
				if a.lane == b.lane && ax0 < bx1 && bx0 < ax1 {
					t.Fatalf("pins %d and %d meet in lane %d", a.rank, b.rank, a.lane)
				}
				if a.words != "" && b.lane > a.lane {
					if l := a.label().box(); b.x > l.x0 && b.x < l.x1 {
						t.Fatalf("the stem of pin %d runs through the words of pin %d", b.rank, a.rank)
					}
				}
			}
		}
	})
}

func TestOneFindingHasAPinForEachOccurrence(t *testing.T) {
	m := fixture.Busy()
	r := newRibbon(NewScene(m.Report, m.Profile, m.Log), RibbonOptions{Width: 1040})
	ranks := map[int]int{}
	words := map[string]bool{}
	for _, p := range r.pins {
		require.GreaterOrEqual(t, p.lane, 0, "pin of finding %d has no room", p.rank)
		ranks[p.rank]++
		words[p.words] = true
	}
	require.Equal(t, map[int]int{1: 2, 2: 2, 3: 1, 4: 1, 5: 1}, ranks)
	require.True(t, words["jam, not cleared"], "the second jam still stood: %v", words)
}

func TestManyPinsLoseTheWordsOfWatchFirst(t *testing.T) {
	var pins []pin
	for i := range manyPins + 1 {
		severity := schemas.SeverityFix
		if i%2 == 1 {
			severity = schemas.SeverityWatch
		}
		x := float64(i) * 75
		pins = append(pins, pin{x: x, x0: x, x1: x, rank: i + 1, words: "w" + strconv.Itoa(i), finding: &schemas.Finding{Severity: severity}})
	}
	placed, _ := placePins(pins, 1040)
	for _, p := range placed {
		if p.finding.Severity == schemas.SeverityWatch {
			require.Empty(t, p.words, "pin %d", p.rank)
		} else {
			require.NotEmpty(t, p.words, "pin %d", p.rank)
		}
	}
}
