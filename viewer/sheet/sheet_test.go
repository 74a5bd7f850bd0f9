package sheet

import (
	"io"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
	"github.com/afterbell/afterbell/viewer/page"
)

func rendered(t *testing.T, m fixture.Match, mode Mode) string {
	t.Helper()
	var b strings.Builder
	require.NoError(t, Render(&b, Input{
		Report: m.Report, Profile: m.Profile, Log: m.Log, Mode: mode, Status: "sealed 14:35:10",
		Nav:     []page.Link{{Text: "Pit board", Href: "/"}},
		Scripts: page.Scripts{Run: []string{"/assets/app.js"}},
		Stretch: func(fromS, toS float64, signals ...string) string { return "/t/x?from=" + number(fromS, 2) },
	}))
	return b.String()
}

var (
	tags   = regexp.MustCompile(`(?s)<style>.*?</style>|<svg.*?</svg>|<[^>]*>`)
	spaces = regexp.MustCompile(`[\s\x{a0}]+`)
)

// said is the text of a page.
func said(html string) string { return spaces.ReplaceAllString(tags.ReplaceAllString(html, " "), " ") }

func TestEveryMatchRenders(t *testing.T) {
	for name, m := range fixture.All() {
		file := rendered(t, m, File)
		require.Less(t, len(file), 600_000, "%s: bytes of a self-contained file", name)
		require.Contains(t, file, "This sheet informs. It does not say that a robot is safe.", name)
		require.Contains(t, file, "Before the next match", name)
		require.NotContains(t, file, "ZgotmplZ", "%s: the template filtered something", name)
		require.NotContains(t, file, "NaN", name)
		page := rendered(t, m, Page)
		require.NotContains(t, page, "ZgotmplZ", name)
	}
}

// A report alone, as kept when the log is gone, still makes a sheet.
func TestReportAloneRenders(t *testing.T) {
	for name, m := range fixture.All() {
		var b strings.Builder
		require.NoError(t, Render(&b, Input{Report: m.Report, Mode: File}), name)
	}
	require.Error(t, Render(io.Discard, Input{}))
	require.Error(t, Text(io.Discard, nil, crew.Said{}, 80, false))
}

// report.html is mailed and opened from a stick: it must reach for nothing.
func TestFileReachesForNothing(t *testing.T) {
	for name, m := range fixture.All() {
		file := rendered(t, m, File)
		body := strings.ReplaceAll(file, `xmlns="http://www.w3.org/2000/svg"`, "")
		require.NotContains(t, body, "<script", name)
		require.NotContains(t, body, "<link", name)
		require.NotRegexp(t, regexp.MustCompile(`(src|href)="(https?:|/|//)`), body, name)
		require.NotRegexp(t, regexp.MustCompile(`url\((?:"|')?(?:https?:|/)`), body, name)
	}
}

// A served page obeys a content policy without 'unsafe-inline'.
func TestPageHoldsNothingInline(t *testing.T) {
	for name, m := range fixture.All() {
		html := rendered(t, m, Page)
		require.NotContains(t, html, "<style", name)
		require.NotRegexp(t, regexp.MustCompile(`<[^>]*\sstyle=`), html, name)
		require.NotRegexp(t, regexp.MustCompile(`<[a-z][^>"]*("[^"]*"[^>"]*)*\son[a-z]+=`), html, name)
		require.NotRegexp(t, regexp.MustCompile(`<script(?:>| [^>]*>[^<])`), html, name)
	}
}

func TestIDsAreUnique(t *testing.T) {
	for name, m := range fixture.All() {
		seen := map[string]bool{}
		for _, id := range regexp.MustCompile(`\sid="([^"]*)"`).FindAllStringSubmatch(rendered(t, m, Page), -1) {
			require.False(t, seen[id[1]], "%s: id %q twice", name, id[1])
			require.NotEmpty(t, id[1], name)
			seen[id[1]] = true
		}
	}
}

func TestRobotTextIsEscaped(t *testing.T) {
	for _, mode := range []Mode{File, Page} {
		html := rendered(t, fixture.Hostile(), mode)
		require.NotContains(t, html, "<script>alert")
		require.NotContains(t, html, "<img src=x")
		require.Contains(t, html, "&lt;script&gt;alert")
	}
}

// Hands go in after the warning, on every row that has both.
func TestCautionStandsAboveChecks(t *testing.T) {
	html := rendered(t, fixture.Busy(), Page)
	rows := strings.Split(html, `<li class="finding`)[1:]
	require.Len(t, rows, 5)
	both := 0
	for _, row := range rows {
		caution, check := strings.Index(row, `class="caution"`), strings.Index(row, `type="checkbox"`)
		if caution >= 0 && check >= 0 {
			both++
			require.Less(t, caution, check)
		}
	}
	require.Equal(t, 3, both)
}

// The words of the look: nothing on a sheet ever says that something is fine.
func TestNothingSaysGo(t *testing.T) {
	for _, name := range []string{"busy", "rookie", "empty", "stopped", "noscore", "novoltage", "thirty"} {
		text := said(rendered(t, fixture.All()[name], File))
		require.NotRegexp(t, regexp.MustCompile(`(?i)\b(ok|okay|healthy|passed|all good|no problems?)\b`), text, name)
		require.NotContains(t, text, "!", name)
		require.NotContains(t, text, "✓", name)
	}
}

func TestTimesAreMatchTime(t *testing.T) {
	text := said(rendered(t, fixture.Busy(), File))
	require.Contains(t, text, "52.6 to 64.4 s, 120.3 s to the bell")
	require.NotContains(t, text, "82.6 to 94.4", "log time, 30 s later, must not show")
}

func TestLinksLeadToTheBenchOnlyFromAPage(t *testing.T) {
	require.Contains(t, rendered(t, fixture.Busy(), Page), `href="/t/x?from=`)
	require.NotContains(t, rendered(t, fixture.Busy(), File), `/t/x`)
}

func TestFindingsComeBeforeFiguresWhenThereAreAny(t *testing.T) {
	order := func(name string) (findings, figures int) {
		html := rendered(t, fixture.All()[name], Page)
		return strings.Index(html, `id="findings"`), strings.Index(html, `class="figures screen"`)
	}
	findings, figures := order("busy")
	require.Less(t, findings, figures)
	findings, figures = order("rookie")
	require.Less(t, figures, findings)
}

func TestUnknownIsSaidWithItsReason(t *testing.T) {
	text := said(rendered(t, fixture.Rookie(), File))
	for _, want := range []string{"Jams unknown no path in the profile", "Battery unknown no current: resistance needs one", "Peel unknown no tilt signal", "whole-robot current, any rate from 10 Hz"} {
		require.Contains(t, text, want)
	}
	require.Contains(t, said(rendered(t, fixture.NoScore(), File)), "Loaves scored unknown no score signal")
	require.Contains(t, said(rendered(t, fixture.NoVoltage(), File)), "Lowest voltage unknown no voltage signal")
}

func TestSectionWithoutSignalsIsAbsent(t *testing.T) {
	html := rendered(t, fixture.Rookie(), Page)
	for _, id := range []string{"path", "balance"} {
		require.NotContains(t, html, `id="`+id+`"`)
	}
	for _, id := range []string{"power", "cycles", "autonomous", "unknown"} {
		require.Contains(t, html, `id="`+id+`"`)
	}
}

func TestEveryPictureHasATable(t *testing.T) {
	html := rendered(t, fixture.Busy(), Page)
	require.Equal(t, strings.Count(html, "<figure"), strings.Count(html, `class="for-readers"`))
	require.Equal(t, 3*strings.Count(html, "<figure"), strings.Count(html, `class="picture wide"`)+strings.Count(html, `class="picture middle"`)+strings.Count(html, `class="picture narrow"`))
}

// A long list shrinks on paper instead of running over.
func TestPaperHoldsALongList(t *testing.T) {
	m := fixture.Thirty()
	v := newView(Input{Report: m.Report, Profile: m.Profile, Log: m.Log, Mode: File})
	require.False(t, v.OnePage)
	require.True(t, v.Findings[17].SmallOnPaper)
	require.LessOrEqual(t, v.secondPage(), paperHeight)
	require.True(t, newView(Input{Report: fixture.Empty().Report}).OnePage)
	busy := fixture.Busy()
	v = newView(Input{Report: busy.Report, Profile: busy.Profile, Log: busy.Log, Mode: File})
	for _, f := range v.Findings {
		require.False(t, f.SmallOnPaper, "finding %d keeps its checks on paper", f.Rank)
	}
}

func TestConfidenceIsNotRoundedUp(t *testing.T) {
	m := fixture.Busy()
	m.Report.Findings = []schemas.Finding{{ID: "x", Severity: "watch", Title: "A thing.", Confidence: 0.9999}}
	m.Report.Finish()
	html := rendered(t, m, File)
	require.Contains(t, html, "sure 0.99")
	require.NotContains(t, html, "sure 1.00")
	require.Contains(t, texted(t, m, 80, false), "sure 0.99")
}

func BenchmarkRender(b *testing.B) {
	m := fixture.Busy()
	for b.Loop() {
		if err := Render(io.Discard, Input{Report: m.Report, Profile: m.Profile, Log: m.Log, Mode: File}); err != nil {
			b.Fatal(err)
		}
	}
}
