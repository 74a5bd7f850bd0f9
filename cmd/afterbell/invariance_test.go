package main

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/schemas"
)

// times are the fields of a report that hold a moment of the log. All other numbers are
// lengths, amounts and shares, which do not depend on where the clock began.
var times = map[string]bool{
	"start_s": true, "end_s": true, "enter_s": true, "leave_s": true, "enter_est_s": true, "leave_est_s": true,
	"min_at_s": true, "lowest_at_s": true, "at_s": true, "scores_s": true, "onset_low_s": true, "onset_high_s": true, "still_s": true,
}

// differences lists where b is not a with all times shifted by shift seconds.
func differences(place string, a, b any, shift float64) []string {
	name := place[strings.LastIndexByte(place, '.')+1:]
	name, _, _ = strings.Cut(name, "[")
	switch a := a.(type) {
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			return []string{place + " has other fields"}
		}
		var out []string
		for key, value := range a {
			out = append(out, differences(place+"."+key, value, b[key], shift)...)
		}
		return out
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			return []string{fmt.Sprintf("%s has another length", place)}
		}
		var out []string
		for i := range a {
			out = append(out, differences(fmt.Sprintf("%s[%d]", place, i), a[i], b[i], shift)...)
		}
		return out
	case float64:
		b, ok := b.(float64)
		want := a
		if times[name] {
			want += shift
		}
		if !ok || math.Abs(want-b) > 1e-6+1e-6*math.Abs(want) {
			return []string{fmt.Sprintf("%s is %v, not %v", place, b, want)}
		}
	case string:
		if b, ok := b.(string); !ok || !sameText(a, b) {
			return []string{fmt.Sprintf("%s is %v, not %v", place, b, a)}
		}
	default:
		if a != b {
			return []string{fmt.Sprintf("%s is %v, not %v", place, b, a)}
		}
	}
	return nil
}

var number = regexp.MustCompile(`\d+(\.\d+)?`)

// sameText tells whether two sentences say the same, but for the last digit of a number
// that was rounded.
func sameText(a, b string) bool {
	if number.ReplaceAllString(a, "N") != number.ReplaceAllString(b, "N") {
		return false
	}
	others := number.FindAllString(b, -1)
	for i, text := range number.FindAllString(a, -1) {
		x, _ := strconv.ParseFloat(text, 64)
		y, _ := strconv.ParseFloat(others[i], 64)
		_, decimals, _ := strings.Cut(text, ".")
		if math.Abs(x-y) > 1.01*math.Pow10(-len(decimals)) || decimals == "" && x != y {
			return false
		}
	}
	return true
}

// tree is a report as any program sees it, without the hash of its samples, which are other
// samples at other times.
func tree(t *testing.T, r *schemas.Report) map[string]any {
	t.Helper()
	copied := *r
	copied.From.SignalsSHA256 = ""
	data, err := json.Marshal(copied)
	require.NoError(t, err)
	var out map[string]any
	require.NoError(t, json.Unmarshal(data, &out))
	return out
}

// A robot's clock begins where it likes: with all times shifted by a constant, negative
// ones too, the report is the same with its times shifted.
func TestShiftingTimeShiftsTheReport(t *testing.T) {
	t.Parallel()
	for _, s := range samples {
		t.Run(s.name, func(t *testing.T) {
			log := readLog(t, sample(s.log))
			before := tree(t, reportIn(t, sampleAnalysis(t, s.name).stdout))
			for _, shift := range []float64{86_400 * 365, -3000.123457} {
				moved := writeLog(t, later(log, schemas.Micros(shift)), s.name+".csv")
				after := tree(t, analyzed(t, moved, "--profile", sample(s.profile)))
				assert.Empty(t, differences("report", before, after, shift), "shifted by %v s", shift)
			}
		})
	}
}

// The comparison above must see a difference where there is one, and no other.
func TestDifferencesAreSeen(t *testing.T) {
	report := func(start float64, j schemas.Jam) map[string]any {
		return tree(t, &schemas.Report{Match: schemas.Match{StartS: start, EndS: start}, Jams: []schemas.Jam{j}})
	}
	a := report(0, schemas.Jam{Stage: "lift", StartS: 10, EndS: 12, PeakA: schemas.Some(35), Cause: "1.4 of 2"})
	for _, other := range []schemas.Jam{
		{Stage: "gate", StartS: 11, EndS: 13, PeakA: schemas.Some(35), Cause: "1.4 of 2"},
		{Stage: "lift", StartS: 10, EndS: 13, PeakA: schemas.Some(35), Cause: "1.4 of 2"},
		{Stage: "lift", StartS: 11, EndS: 13, PeakA: schemas.Some(36), Cause: "1.4 of 2"},
		{Stage: "lift", StartS: 11, EndS: 13, Cause: "1.4 of 2"},
		{Stage: "lift", StartS: 11, EndS: 13, PeakA: schemas.Some(35), Cause: "1.4 of 3"},
		{Stage: "lift", StartS: 11, EndS: 13, PeakA: schemas.Some(35), Cause: "1.6 of 2"},
		{Stage: "lift", StartS: 11, EndS: 13, PeakA: schemas.Some(35), Cleared: true, Cause: "1.4 of 2"},
	} {
		assert.Len(t, differences("report", a, report(1, other), 1), 1, "%+v", other)
	}
	same := schemas.Jam{Stage: "lift", StartS: 11, EndS: 13, PeakA: schemas.Some(35), Cause: "1.5 of 2"}
	assert.Empty(t, differences("report", a, report(1, same), 1))
	assert.Len(t, differences("report", a, tree(t, &schemas.Report{Jams: []schemas.Jam{}}), 0), 1)
}

// However the samples of a match are written, the report is the same to the byte: long or
// wide, in any order of rows or columns, and with rows that come twice.
func TestTheFormOfALogChangesNothing(t *testing.T) {
	t.Parallel()
	for _, s := range samples {
		t.Run(s.name, func(t *testing.T) {
			report := func(path string) string {
				return done(t, afterbell("analyze", "--json", "--profile", sample(s.profile), path)).stdout
			}
			var b bytes.Buffer
			require.NoError(t, csvlog.WriteLong(&b, readLog(t, sample(s.log))))
			header, rows, _ := strings.Cut(b.String(), "\n")
			all := strings.SplitAfter(strings.TrimSuffix(rows, "\n"), "\n")
			all[len(all)-1] += "\n"
			want := sampleAnalysis(t, s.name).stdout
			sameReport(t, want, report(written(t, s.name+".csv", b.String())), "a log and its export")

			all = append(all, all[:len(all)/4]...)
			rand.New(rand.NewPCG(7, 8)).Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
			shuffled := written(t, s.name+".csv", header+"\n"+strings.Join(all, ""))
			sameReport(t, want, report(shuffled), "a log, and it shuffled with a quarter of it twice,")
			if strings.HasSuffix(s.log, ".csv.gz") {
				sameReport(t, want, report(written(t, s.name+".csv", columnsShuffled(t, unpacked(t, s.log)))), "a log, and it with other columns first,")
			}
		})
	}
}

// columnsShuffled is a CSV with its columns in another order behind the first.
func columnsShuffled(t *testing.T, text []byte) string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(text)).ReadAll()
	require.NoError(t, err)
	if rows[0][1] == "signal" {
		return string(text) // in the long form the order of columns is fixed
	}
	order := rand.New(rand.NewPCG(9, 10)).Perm(len(rows[0]) - 1)
	var b strings.Builder
	w := csv.NewWriter(&b)
	for _, row := range rows {
		out := row[:1:1]
		for _, i := range order {
			out = append(out, row[1+i])
		}
		require.NoError(t, w.Write(out))
	}
	w.Flush()
	require.NoError(t, w.Error())
	return b.String()
}

// What a robot logs beside the match, and signals nobody asks for, change no fact of it.
func TestOtherSignalsChangeNoFact(t *testing.T) {
	log := readLog(t, sample("jam-stuck.csv.zst")) // in which the radio never drops out: others would fill that
	before := analyzed(t, writeLog(t, log, "q14.csv"), "--profile", sample("heron.yaml"))
	first, last, _ := log.Bounds()
	for _, name := range []string{"aaa", "zzz"} {
		s := &schemas.Signal{Name: name, Kind: schemas.Float64}
		for at := first; at < last; at += 20_000 {
			s.Time, s.Float = append(s.Time, at), append(s.Float, math.Sin(float64(at)/1e6))
		}
		log.Signals = append(log.Signals, s)
	}
	log.Normalize()
	after := analyzed(t, writeLog(t, log, "q14.csv"), "--profile", sample("heron.yaml"))
	assert.Equal(t, before.Quality.Signals+2, after.Quality.Signals)
	after.Quality.Signals, after.Quality.Samples = before.Quality.Signals, before.Quality.Samples
	assert.Empty(t, differences("report", tree(t, before), tree(t, after), 0))
}

// Every report keeps to the schema that other programs are written by.
func TestReportsKeepToTheirSchema(t *testing.T) {
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(schemas.ReportSchema()))
	require.NoError(t, err)
	compiler := jsonschema.NewCompiler()
	require.NoError(t, compiler.AddResource("report.schema.json", doc))
	schema, err := compiler.Compile("report.schema.json")
	require.NoError(t, err)
	validate := func(text string) error {
		t.Helper()
		instance, err := jsonschema.UnmarshalJSON(strings.NewReader(text))
		require.NoError(t, err)
		return schema.Validate(instance)
	}
	for _, s := range samples {
		o := sampleAnalysis(t, s.name)
		assert.NoError(t, validate(o.stdout), s.name)
		assert.Empty(t, o.stderr, "with --json there is nothing else")
		assert.Error(t, validate(strings.Replace(o.stdout, `"robot":`, `"robbot":`, 1)), "a report with a wrong field")
	}
	other := done(t, afterbell("analyze", sample("rookie.csv.gz"), "--profile", sample("heron.yaml"), "--json"))
	assert.NoError(t, validate(other.stdout), "a log that lacks most signals")
	data := dataFolder(t)
	stored(t, data, "jam-stuck.csv.zst", "heron.yaml")
	again := done(t, afterbell("analyze", "q14", "--json", "--data", data))
	assert.NoError(t, validate(again.stdout), "a stored match")
}
