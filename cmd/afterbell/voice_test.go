package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"golang.org/x/net/html"

	"github.com/afterbell/afterbell/schemas"
)

// spoken are the texts of a sheet by where they stand: verdict, detail, titles of findings
// and cards, checks, cautions and notes.
func spoken(t *testing.T, page string) map[string][]string {
	root, err := html.Parse(strings.NewReader(page))
	require.NoError(t, err)
	out := map[string][]string{}
	for n := range root.Descendants() {
		if n.Type != html.ElementNode {
			continue
		}
		where := ""
		for _, a := range n.Attr {
			if a.Key == "class" {
				where = strings.Fields(a.Val + " -")[0]
			}
		}
		switch {
		case n.Data == "h3":
			where = "title"
		case n.Data == "label":
			where = "check"
		}
		switch where {
		case "verdict", "detail", "title", "sentence", "check", "caution", "note":
			var text strings.Builder
			for c := range n.Descendants() {
				if c.Type == html.TextNode {
					text.WriteString(c.Data)
				}
			}
			out[where] = append(out[where], strings.Join(strings.Fields(text.String()), " "))
		}
	}
	return out
}

var (
	// Nothing on a sheet says that something is fine, shouts, or blames.
	forbidden = regexp.MustCompile(`(?i)\b(ok|okay|healthy|passed|perfect|great|awesome|fault of|careless)\b|!`)
	// A decimal number is followed by its unit, by the other end of its range, or is a measure
	// without one: damping, and how sure.
	decimals    = regexp.MustCompile(`−?\d+\.\d+(°| ?(?:ms|s|V|Ah|A|Hz|m|Wh|Ω|%|rad)\b| ?[Ω%]| to −?\d+\.\d+| \()?`)
	unitless    = regexp.MustCompile(`(?i)(damping|sure|version)[^.]{0,20}$`)
	longVerdict = 100 // letters, two lines of a desktop page
)

func TestSheetsSpeakInOneVoice(t *testing.T) {
	for _, log := range []string{"clean.csv.gz", "jam-stuck.csv.zst", "jam-reversed.csv.gz", "brownout.csv.gz", "bad-balance.csv.gz", "rookie.csv.gz"} {
		profile := "heron.yaml"
		if strings.HasPrefix(log, "rookie") {
			profile = "curlew.yaml"
		}
		t.Run(log, func(t *testing.T) {
			page := filepath.Join(t.TempDir(), "sheet.html")
			r := analyzed(t, sample(log), "--profile", sample(profile), "--html", page)
			data, err := os.ReadFile(page)
			require.NoError(t, err)
			said := spoken(t, string(data))
			require.Len(t, said["verdict"], 1)
			require.NotEmpty(t, said["sentence"])
			require.Len(t, said["title"], len(r.Findings)+strings.Count(string(data), `<h3 class="sub">`))
			for where, texts := range said {
				for _, text := range texts {
					assert.NotRegexp(t, forbidden, text, where)
					if where == "title" && text == "Who drew the current" {
						continue
					}
					assert.Regexp(t, `[.?:]$`, text, where)
					if where == "check" || where == "note" {
						continue // of gains and shares of them, which have no unit
					}
					for _, at := range decimals.FindAllStringSubmatchIndex(text, -1) {
						assert.True(t, at[2] >= 0 || unitless.MatchString(text[:at[0]]), "%s: %q has no unit in %q", where, text[at[0]:at[1]], text)
					}
				}
			}
			verdict := said["verdict"][0]
			assert.LessOrEqual(t, len([]rune(verdict)), longVerdict)
			requireTrueVerdict(t, verdict, r)
		})
	}
}

// requireTrueVerdict holds the verdict to the facts of its own report.
func requireTrueVerdict(t *testing.T, verdict string, r *schemas.Report) {
	t.Helper()
	stuck := false
	for _, j := range r.Jams {
		stuck = stuck || !j.Cleared
	}
	level := true
	for _, b := range r.Balances {
		level = b.Outcome == schemas.BalanceLevel
	}
	for words, fact := range map[string]bool{
		"Nothing found": len(r.Findings) == 0, "stuck": stuck, "jam": len(r.Jams) > 0, "browning out": len(r.Brownouts) > 0,
		"never came level": !level, "Stop.": r.Verdict.Severity == schemas.SeverityStop, "Fix.": r.Verdict.Severity == schemas.SeverityFix,
	} {
		if strings.Contains(verdict, words) {
			assert.True(t, fact, "%q is said, and is not so", words)
		}
	}
	if stuck {
		assert.Contains(t, verdict, "still", "a piece that stands inside comes first")
	}
}
