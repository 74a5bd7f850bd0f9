package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/sheet"
)

// A mentor must be able to read the reasoning and follow its sums. Said of every finding of
// every sample log.
func TestExplainEveryFinding(t *testing.T) {
	kinds := map[string]bool{}
	for _, s := range samples {
		args := []string{sample(s.log), "--profile", sample(s.profile)}
		for i, f := range reportIn(t, sampleAnalysis(t, s.name).stdout).Findings {
			t.Run(s.name+" "+f.ID, func(t *testing.T) {
				kinds[f.Kind] = true
				var e schemas.Explanation
				o := done(t, afterbell(append([]string{"analyze", "--json", "--explain", f.ID}, args...)...))
				require.NoError(t, json.Unmarshal([]byte(o.stdout), &e))
				var text strings.Builder
				require.NoError(t, sheet.ExplanationText(&text, &e, 80, false))
				plain := text.String()
				if i == 0 {
					assert.Equal(t, plain, done(t, afterbell(append([]string{"analyze", "--explain", f.ID}, args...)...)).stdout)
				}
				assert.Contains(t, strings.Join(strings.Fields(plain), " "), f.Title)
				for _, part := range []string{"The rule", "What was seen", "Other explanations", "What would change the verdict"} {
					assert.Contains(t, plain, part)
				}
				for _, line := range strings.Split(plain, "\n") {
					assert.LessOrEqual(t, utf8.RuneCountInString(line), 80, line)
					assert.NotContains(t, line, "%!")
				}
				assert.NotContains(t, strings.ReplaceAll(o.stdout, "null", ""), "NaN")
				assert.Equal(t, f, e.Finding)
				require.NotEmpty(t, e.Events)
				for _, r := range e.Events {
					assert.Equal(t, len(f.Evidence) > 0, len(r.Seen) > 0)
					sum := 0.0
					for _, w := range r.Weighed {
						sum += w.LogOdds
					}
					if f.Kind == "jam" {
						require.NotNil(t, r.LogOdds)
						assert.InDelta(t, sum, *r.LogOdds, 1e-9)
						assert.InDelta(t, f.Confidence, math.Min(*r.Probability, 0.99), 1e-9)
					}
				}
			})
		}
	}
	assert.True(t, kinds["jam"] && kinds["brownout"] && kinds["balance"], kinds)
}

// The reasons behind the jam of the sample log, against what its truth file says: a piece
// stuck in the lift, which has no beam, between throat and pocket.
func TestExplainTheStuckPiece(t *testing.T) {
	o := done(t, afterbell("analyze", "--explain", "jam-lift-1", "--json", sample("jam-stuck.csv.zst"), "--profile", sample("heron.yaml")))
	var e schemas.Explanation
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &e))
	r := e.Events[0]
	require.NotNil(t, r.Law)
	assert.Equal(t, "between the beams of throat and pocket", r.Law.What)
	assert.False(t, r.Law.Completed, "it never went on")
	assert.Greater(t, r.Law.TookS, 5*r.Law.UsualS)
	require.NotEmpty(t, r.Considered)
	assert.Equal(t, "the beam of throat became clear", r.Considered[0].When)
	assert.Equal(t, "a piece went on", r.Considered[0].What, "the likeliest comes first")
	total := 0.0
	for _, c := range r.Considered {
		total += c.Share
	}
	assert.InDelta(t, 1, total, 1e-4)
}

func TestExplainWhatIsNotThere(t *testing.T) {
	heron := sample("heron.yaml")
	failed(t, afterbell("analyze", sample("jam-stuck.csv.zst"), "--profile", heron, "--explain", "jam-mouth-9"), exitUsage, `--explain: no finding "jam-mouth-9"`, "use jam-lift-1")
	failed(t, afterbell("analyze", sample("clean.csv.gz"), "--profile", heron, "--explain", "jam-mouth-9", "--json"), exitUsage, "the match has none")
	data := dataFolder(t)
	stored(t, data, "jam-reversed.csv.gz", "heron.yaml")
	assert.Contains(t, done(t, afterbell("analyze", "q14", "--explain", "jam-lift-1", "--data", data)).stdout, "q14 heron, jam-lift-1")
	failed(t, afterbell("analyze", "q14", "--explain", "nothing", "--data", data), exitUsage, "use jam-lift-1")
}
