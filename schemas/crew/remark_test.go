package crew_test

import (
	"strings"
	"testing"
	"time"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
)

var noon = time.Date(2031, 3, 1, 12, 0, 0, 0, time.UTC)

func remarked(t *testing.T, text string) string {
	r, err := crew.NewRemark(text, noon)
	require.NoError(t, err)
	line, err := r.Line()
	require.NoError(t, err)
	return string(line)
}

func texts(remarks []crew.Remark) []string {
	out := []string{}
	for _, r := range remarks {
		out = append(out, r.Text)
	}
	return out
}

func TestRemarksHoldUntilWithdrawn(t *testing.T) {
	belt, blocked := remarked(t, " belt\treplaced \n"), remarked(t, "blocked by two robots")
	taken := strings.Replace(belt, `"withdrawn":false`, `"withdrawn":true`, 1)
	for _, c := range []struct {
		file string
		want []string
	}{
		{"", []string{}},
		{belt + blocked, []string{"belt replaced", "blocked by two robots"}},
		{belt + belt, []string{"belt replaced"}},
		{belt + blocked + taken, []string{"blocked by two robots"}},
		{taken + belt, []string{"belt replaced"}},
		{belt + taken + blocked + belt, []string{"blocked by two robots", "belt replaced"}},
		{"no JSON\n" + belt + `{"note":2,"kind":"remark","text":"later"}` + "\n", []string{"belt replaced"}},
	} {
		require.Equal(t, c.want, texts(crew.Remarks([]byte(c.file))))
	}
	line, err := verdict("jam-lift-1", "jam", 82.6, crew.DidNot).Line()
	require.NoError(t, err)
	verdicts, other := crew.Parse([]byte(belt + string(line)))
	require.Len(t, verdicts, 1, "a remark is no verdict")
	require.Equal(t, 1, other)
	require.Empty(t, crew.Remarks(line), "and a verdict no remark")
}

func TestARemarkIsAShortLine(t *testing.T) {
	schema, err := jsonschema.UnmarshalJSON(strings.NewReader(string(schemas.RemarkSchema())))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("remark.json", schema))
	valid, err := c.Compile("remark.json")
	require.NoError(t, err)
	for text, want := range map[string]bool{
		"belt replaced":             true,
		strings.Repeat("ü", 280):    true,
		strings.Repeat("ü", 281):    false,
		"":                          false,
		" \n ":                      false,
		"a\x00b":                    false,
		"\xff":                      false,
		"<script>alert(1)</script>": true, // text is text: the pages escape it
	} {
		r, err := crew.NewRemark(text, noon)
		require.Equal(t, want, err == nil, "%q: %v", text, err)
		doc := map[string]any{"note": 1, "kind": "remark", "at": r.At, "text": r.Text, "withdrawn": false}
		if text != "\xff" { // JSON holds no such letter
			require.Equal(t, want, valid.Validate(doc) == nil, "%q by the schema", text)
		}
	}
}

func TestSaidIsOfTheMatchesInBetween(t *testing.T) {
	id := func(match string) schemas.MatchID {
		return schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: match, Robot: "heron"}
	}
	denied, err := verdict("jam-lift-1", "jam", 82.6, crew.DidNot).Line()
	require.NoError(t, err)
	files := map[schemas.MatchID]string{
		id("q12"): remarked(t, "belt replaced"), id("q13"): remarked(t, "belt tightened"),
		id("q14"): remarked(t, "blocked by two robots"), id("q11"): string(denied),
	}
	r := &schemas.Report{
		Match: schemas.Match{Season: "2031", Event: "millbrook-open", Match: "q14", Robot: "heron"},
		Mended: []schemas.Mended{
			{Finding: "jam-lift-1", Kind: "jam", StartS: 82.6, Last: "2031/millbrook-open/q12", Since: []string{"2031/millbrook-open/q13", "2031/millbrook-open/q14"}},
			{Finding: "jam-lift-1", Kind: "jam", StartS: 82.6, Last: "2031/millbrook-open/q11"},
		},
	}
	said := crew.SaidOf(r, func(m schemas.MatchID) []byte { return []byte(files[m]) })
	require.Equal(t, []string{"blocked by two robots"}, texts(said.Remarks))
	require.Equal(t, []crew.RemarkOfMatch{{Match: "q12", Text: "belt replaced"}, {Match: "q13", Text: "belt tightened"}}, said.Mended[0].Since)
	require.False(t, said.Mended[0].Denied)
	require.True(t, said.Mended[1].Denied)
}
