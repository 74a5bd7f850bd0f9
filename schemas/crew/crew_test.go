package crew_test

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
)

func verdict(id, kind string, startS float64, happened string) crew.Note {
	return crew.Note{
		Note: crew.Version, Kind: crew.KindVerdict, At: "2031-03-01T14:40:00Z", Finding: id, FindingKind: kind,
		StartS: startS, Confidence: 0.9, Happened: happened,
	}
}

func TestALineIsReadAsItWasWritten(t *testing.T) {
	want := verdict("jam-lift-1", "jam", 82.6, crew.DidNot)
	line, err := want.Line()
	require.NoError(t, err)
	require.Equal(t, 1, strings.Count(string(line), "\n"))
	got, other := crew.Parse(line)
	require.Equal(t, []crew.Note{want}, got)
	require.Zero(t, other)

	// By the schema too, with a validator that is not ours.
	schema, err := jsonschema.UnmarshalJSON(strings.NewReader(string(schemas.NoteSchema())))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	require.NoError(t, c.AddResource("note.json", schema))
	valid, err := c.Compile("note.json")
	require.NoError(t, err)
	for text, ok := range map[string]bool{
		string(line): true,
		strings.Replace(string(line), `"no"`, `"perhaps"`, 1):                         false,
		strings.Replace(string(line), `"at":"2031-03-01T14:40:00Z"`, `"at":"now"`, 1): false,
		strings.Replace(string(line), `"note":1`, `"note":2`, 1):                      false,
	} {
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		require.NoError(t, err)
		require.Equal(t, ok, valid.Validate(doc) == nil, text)
		read, _ := crew.Parse([]byte(text))
		require.Equal(t, ok, len(read) == 1, text)
	}
}

func TestWhatIsNoVerdictIsNotWritten(t *testing.T) {
	for _, n := range []crew.Note{
		{}, verdict("", "jam", 1, "yes"), verdict("a-1", "jam", 1, ""), verdict("a-1", "jam", 1, "YES"), verdict("a-1", "jam", math.NaN(), "yes"),
	} {
		_, err := n.Line()
		require.Error(t, err, "%+v", n)
	}
}

func TestOtherLinesAreLeftOut(t *testing.T) {
	good, err := verdict("jam-lift-1", "jam", 82.6, crew.Happened).Line()
	require.NoError(t, err)
	got, other := crew.Parse([]byte("{\"kind\":\"remark\",\"text\":\"belt slipped\"}\n\nno JSON\n" + string(good) + "{\"note\":1"))
	require.Len(t, got, 1)
	require.Equal(t, 3, other)
}

func FuzzParse(f *testing.F) {
	good, err := verdict("jam-lift-1", "jam", 82.6, crew.Happened).Line()
	require.NoError(f, err)
	f.Add(good)
	f.Add([]byte("{}\n\xff\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, _ := crew.Parse(data)
		for _, n := range got { // what was read can be written and read again
			line, err := n.Line()
			require.NoError(t, err)
			again, other := crew.Parse(line)
			require.Zero(t, other)
			want, err := json.Marshal(n)
			require.NoError(t, err)
			back, err := json.Marshal(again[0])
			require.NoError(t, err)
			require.Equal(t, string(want), string(back))
		}
	})
}

func finding(id, kind string, spans ...float64) schemas.Finding {
	f := schemas.Finding{ID: id, Kind: kind, StartS: spans[0], EndS: spans[len(spans)-1]}
	for i := 0; i < len(spans); i += 2 {
		f.Spans = append(f.Spans, schemas.Span{StartS: spans[i], EndS: spans[i+1]})
	}
	return f
}

func TestJudged(t *testing.T) {
	r := &schemas.Report{Findings: []schemas.Finding{
		finding("jam-lift-1", "jam", 52.6, 64.4), finding("jam-lift-2", "jam", 90, 95), finding("jam-gate-1", "jam", 52.9, 60),
		finding("brownout-b3-1", "brownout", 52.6, 52.7),
	}}
	for _, c := range []struct {
		name     string
		verdicts []crew.Note
		want     map[string]string
	}{
		{"nothing said", nil, map[string]string{}},
		{"of one", []crew.Note{verdict("jam-lift-1", "jam", 52.6, "yes")}, map[string]string{"jam-lift-1": "yes"}},
		{"the last one holds", []crew.Note{verdict("jam-lift-1", "jam", 52.6, "yes"), verdict("jam-lift-1", "jam", 52.6, "no")}, map[string]string{"jam-lift-1": "no"}},
		{"taken back", []crew.Note{verdict("jam-lift-1", "jam", 52.6, "yes"), verdict("jam-lift-1", "jam", 52.6, "none")}, map[string]string{}},
		{"it begins a second later now", []crew.Note{verdict("jam-lift-1", "jam", 51.6, "yes")}, map[string]string{"jam-lift-1": "yes"}},
		{"it begins more than a second later", []crew.Note{verdict("jam-lift-1", "jam", 51.5, "yes")}, map[string]string{}},
		{"numbered anew", []crew.Note{verdict("jam-lift-1", "jam", 90.2, "no")}, map[string]string{"jam-lift-2": "no"}},
		{"the place is another", []crew.Note{verdict("jam-mouth-1", "jam", 52.6, "no")}, map[string]string{}},
		{"the kind is another", []crew.Note{verdict("jam-lift-1", "brownout", 52.6, "no")}, map[string]string{}},
		{"each its own", []crew.Note{verdict("jam-gate-1", "jam", 52.6, "no"), verdict("brownout-b3-1", "brownout", 52.6, "yes")}, map[string]string{"jam-gate-1": "no", "brownout-b3-1": "yes"}},
	} {
		require.Equal(t, c.want, crew.Judged(r, c.verdicts), c.name)
	}
}

func TestBelievedLeavesOutWhatWasDenied(t *testing.T) {
	piece, why := 7, "collect"
	r := &schemas.Report{
		Match: schemas.Match{EndS: 170},
		Findings: []schemas.Finding{
			finding("jam-lift-1", "jam", 52.6, 64.4, 90, 95), finding("jam-gate-1", "jam", 120, 130), finding("brownout-b3-1", "brownout", 70, 70.1, 80, 170),
			finding("slow_cycle-collect-1", "slow_cycle", 60, 80), finding("balance-peel-1", "balance", 150, 168),
		},
		Jams:      []schemas.Jam{{Stage: "lift", StartS: 52.6, EndS: 64.4, Piece: &piece}, {Stage: "lift", StartS: 90, EndS: 95}, {Stage: "gate", StartS: 120, EndS: 130}},
		Stages:    []schemas.StageSum{{Stage: "lift", Passes: 9, Jams: 2}, {Stage: "gate", Passes: 8, Jams: 1}},
		Passes:    []schemas.Pass{{Piece: 7, Outcome: schemas.PassJammed}, {Piece: 8, Outcome: schemas.PassReleased}},
		Brownouts: []schemas.Brownout{{StartS: 70, EndS: schemas.Some(70.1)}, {StartS: 80}},
		Cycles:    []schemas.Cycle{{StartS: 60, EndS: 80, DurationS: 20, Complete: true, Slow: true, Why: &why}, {StartS: 80, EndS: 99, Slow: true, Why: &why}},
		Balances:  []schemas.Balance{{StartS: 150, EndS: 168}},
	}
	before, err := json.Marshal(r)
	require.NoError(t, err)

	require.Same(t, r, crew.Believed(r, map[string]string{"jam-lift-1": crew.Happened}), "nothing denied, nothing changed")

	b := crew.Believed(r, map[string]string{"jam-lift-1": crew.DidNot, "jam-gate-1": crew.Happened})
	require.Equal(t, []schemas.Jam{r.Jams[2]}, b.Jams)
	require.Equal(t, []schemas.StageSum{{Stage: "lift", Passes: 9, Jams: 0}, {Stage: "gate", Passes: 8, Jams: 1}}, b.Stages)
	require.NotEqual(t, schemas.PassJammed, b.Passes[0].Outcome)
	require.Len(t, b.Findings, 4)
	require.Equal(t, r.Brownouts, b.Brownouts)

	b = crew.Believed(r, map[string]string{"brownout-b3-1": crew.DidNot, "slow_cycle-collect-1": crew.DidNot, "balance-peel-1": crew.DidNot})
	require.Equal(t, r.Jams, b.Jams)
	require.Empty(t, b.Brownouts, "one that did not end is denied as well")
	require.Empty(t, b.Balances)
	require.False(t, b.Cycles[0].Slow)
	require.Nil(t, b.Cycles[0].Why)
	require.Equal(t, 20.0, b.Cycles[0].DurationS, "it took as long as it took")
	require.True(t, b.Cycles[1].Slow, "of the next cycle nothing was said")

	after, err := json.Marshal(r)
	require.NoError(t, err)
	require.JSONEq(t, string(before), string(after), "the report itself stays")
}

func TestTally(t *testing.T) {
	a := crew.Count(map[string]string{"a": crew.Happened, "b": crew.DidNot, "c": crew.Happened})
	require.Equal(t, crew.Tally{Agreed: 2, Judged: 3}, a)
	require.Equal(t, crew.Tally{Agreed: 3, Judged: 4}, a.Add(crew.Count(map[string]string{"a": crew.Happened})))
	require.Zero(t, crew.Count(nil))
}
