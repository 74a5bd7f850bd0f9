package tables

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func ptr[T any](v T) *T { return &v }

// fullReport has zeros, nulls and values side by side in every nullable column.
func fullReport() *schemas.Report {
	r := &schemas.Report{
		Report: 1,
		From:   schemas.From{Afterbell: "1.0", ProfileSHA256: "aa", SignalsSHA256: "bb", Seal: "41"},
		Match: schemas.Match{
			Season: "2031", Event: "millbrook-open", Match: "q14", Robot: "heron", At: ptr("2031-03-01T10:20:00+01:00"),
			StartS: 3, EndS: 153,
			Periods: []schemas.Period{{Name: "autonomous", StartS: 3, EndS: 23}, {Name: "driver", StartS: 24, EndS: 153}},
		},
		Verdict: schemas.Verdict{Severity: "fix", Text: "Mend the mouth."},
		Quality: schemas.Quality{Samples: 1234, Signals: 5},
		Findings: []schemas.Finding{
			{ID: "jam-mouth-1", Kind: "jam", Severity: "fix", CostS: ptr(4.5), Confidence: 0.9, Spans: make([]schemas.Span, 2), Title: "Jam", Because: "It stood."},
			{ID: "brownout-1", Kind: "brownout", Severity: "watch", CostS: ptr(0.0)},
			{ID: "sensor-1", Kind: "sensor", Severity: "watch"},
		},
		Passes: []schemas.Pass{
			{Piece: 1, EnterS: ptr(0.0), LeaveS: ptr(2.0), Outcome: "released", Stages: []schemas.StagePass{
				{Stage: "mouth", EnterS: ptr(0.0), LeaveS: ptr(0.5)},
				{Stage: "tunnel", EnterEstS: ptr(0.5), LeaveEstS: ptr(1.5)},
			}},
			{Piece: 2, EnterS: ptr(9.0), Outcome: "held"},
		},
		Stages:        []schemas.StageSum{{Stage: "mouth", Sensor: true, TransitS: ptr(0.5), Passes: 1, Jams: 1}, {Stage: "tunnel"}},
		Jams:          []schemas.Jam{{Stage: "mouth", StartS: 10, EndS: 14.5, Cleared: true, Confidence: 0.9, How: "moved_on", Piece: ptr(2), StillS: ptr(0.0), Reversals: 2}},
		SuspectedJams: []schemas.Jam{{Stage: "tunnel", StartS: 20, EndS: 21, Confidence: 0.3}},
		Brownouts: []schemas.Brownout{
			{StartS: 30, EndS: ptr(30.2), MinV: 6.1, MinAtS: 30.1, Branches: []schemas.Share{{Name: "drive left", Share: 0.6, ShortfallV: ptr(0.3)}, {Name: "lift", Share: 0}}, OtherShare: ptr(0.4), Cause: "overload", Period: "driver"},
			{StartS: 150, MinV: 5},
		},
		Battery: schemas.Battery{ID: "b7", ResistanceOhm: ptr(0.018), ResistanceLowOhm: ptr(0.017), ResistanceHighOhm: ptr(0.019), LowestV: ptr(5.0), EnergyWh: ptr(0.0)},
		Cycles: []schemas.Cycle{
			{Kind: "score", Pieces: 1, Period: "autonomous", StartS: 3, EndS: 11, DurationS: 8, Complete: true},
			{Kind: "score", Pieces: 1, Period: "driver", StartS: 24, EndS: 36, DurationS: 12, Complete: true, Phases: schemas.Phases{ReturnS: ptr(0.0), CollectS: ptr(7.0)}},
			{Kind: "handover", Pieces: 1, Period: "driver", StartS: 40, EndS: 40},
			{Kind: "score", Pieces: 2, Period: "driver", StartS: 36, EndS: 56, DurationS: 20, Complete: true, Slow: true, Why: ptr("jam"), P: ptr(0.001), PhaseP: schemas.PhaseChances{Carry: ptr(0.02)}, LostS: ptr(6.5), Confidence: ptr(0.97), Events: []schemas.CycleEvent{{What: "stood"}}, Align: &schemas.Align{ArrivedM: ptr(0.2), Corrections: ptr(2), AlignS: ptr(1.5), PlacedM: ptr(0.03), Assisted: ptr(false)}},
			{Kind: "score", Period: "driver", StartS: 56, EndS: 153, DurationS: 97},
		},
		Balances: []schemas.Balance{
			{StartS: 130, EndS: 134, Outcome: "level", SettleS: ptr(3.0), Overshoots: 2, DampingRatio: ptr(0.3), PeakDeg: 11, Period: "driver", Diagnosis: "swings"},
			{StartS: 140, EndS: 153, Outcome: "ran_out", PeakDeg: 9},
		},
		Moves:      []schemas.Move{{Name: "lift", StartS: 5, EndS: 6, From: 0, To: 1, SettleS: ptr(0.8), RiseS: ptr(0.5), Outcome: "settled"}, {Name: "lift", Outcome: "superseded"}},
		Motors:     []schemas.Motor{{Name: "mouth", Side: "winding", ResistanceOhm: ptr(0.3), StalledS: ptr(0.0), Idle: []schemas.Stall{{StartS: 5, EndS: 8, MeanA: 3}}}},
		Autonomous: schemas.Autonomous{Pieces: ptr(0), EndX: ptr(0.0), EndY: ptr(2.5)},
	}
	for _, name := range []string{"path", "power", "cycles", "balance", "moves", "autonomous", "quality"} {
		r.Analyses = append(r.Analyses, schemas.Analysis{Name: name, Ran: true})
	}
	r.Finish()
	return r
}

func TestTheMatchRowCarriesWhatASeasonAsks(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, Write(dir, fullReport()))
	m, err := ReadMatch(dir)
	require.NoError(t, err)
	assert.Equal(t, matchRow(fullReport()), m)
	assert.Equal(t, "41", m.Seal)
	// 2031-03-01T10:20:00+01:00 is 09:20 UTC: date -u -d 2031-03-01T09:20:00Z +%s (GNU coreutils 9.1)
	assert.Equal(t, ptr(int64(1930123200)*1e6), m.At)
	assert.Equal(t, []float64{20, 129}, []float64{m.AutonomousS, m.DriverS})
	assert.Equal(t, []int64{0, 1, 2}, []int64{m.Stops, m.Fixes, m.Watches})
	assert.Equal(t, ptr(4.5), m.CostS)
	assert.Equal(t, []*int64{ptr(int64(2)), ptr(int64(1)), ptr(int64(1))}, []*int64{m.Passes, m.Jams, m.SuspectedJams})
	assert.Equal(t, ptr(int64(4)), m.Pieces)
	assert.Equal(t, ptr(int64(2)), m.Cycles)
	assert.Equal(t, ptr(16.0), m.CycleS, "the median of 12 and 20: autonomous, censored and handed-over cycles are left out")
	assert.Equal(t, ptr(int64(1)), m.BalanceLevel)
	assert.Equal(t, ptr(3.0), m.BalanceSettleS)
	assert.Equal(t, ptr(int64(0)), m.AutonomousPieces)
}

func TestRowsSurvive(t *testing.T) {
	dir := t.TempDir()
	r := fullReport()
	require.NoError(t, Write(dir, r))
	same(t, dir, "cycles.parquet", cycleRows(r), 5)
	jammed := cycleRows(r)[3]
	assert.Equal(t, []any{6.5, 0.97, int32(1), 0.2, int64(2), 1.5, 0.03, false}, []any{
		*jammed.LostS, *jammed.Confidence, jammed.Events, *jammed.ArrivedM, *jammed.Corrections, *jammed.AlignS, *jammed.PlacedM, *jammed.Assisted,
	})
	assert.Equal(t, 0.02, *jammed.CarryP)
	assert.Nil(t, cycleRows(r)[0].Corrections, "not seen: null")
	same(t, dir, "passes.parquet", passRows(r), 3)
	same(t, dir, "stages.parquet", stageRows(r), 2)
	same(t, dir, "jams.parquet", jamRows("41", r.Jams), 1)
	same(t, dir, "suspected_jams.parquet", jamRows("41", r.SuspectedJams), 1)
	same(t, dir, "brownouts.parquet", brownoutRows(r), 2)
	same(t, dir, "brownout_branches.parquet", branchRows(r), 2)
	same(t, dir, "balances.parquet", balanceRows(r), 2)
	same(t, dir, "moves.parquet", moveRows(r), 2)
	same(t, dir, "motors.parquet", motorRows(r), 1)
	same(t, dir, "findings.parquet", findingRows(r), 3)
}

func same[T any](t *testing.T, dir, name string, want []T, n int) {
	t.Helper()
	got, err := Read[T](filepath.Join(dir, name))
	require.NoError(t, err, name)
	assert.Len(t, got, n, name)
	assert.Equal(t, want, got, name)
}

// An analysis that could not look leaves nulls, not zeros; a report of nothing still gives
// files that say their seal.
func TestWhatWasNotLookedAtIsNull(t *testing.T) {
	dir := t.TempDir()
	r := &schemas.Report{Report: 1, From: schemas.From{Seal: "9"}, Analyses: []schemas.Analysis{{Name: "path", Reason: "no path in the profile"}}}
	r.Finish()
	require.NoError(t, Write(dir, r))
	m, err := ReadMatch(dir)
	require.NoError(t, err)
	assert.Equal(t, Match{Seal: "9", ReportVersion: 1}, m, "every nullable column is null")
	for _, name := range Names() {
		seal, err := Verify(filepath.Join(dir, name))
		require.NoError(t, err, name)
		assert.Equal(t, "9", seal, name)
	}
	jams, err := Read[Jam](filepath.Join(dir, "jams.parquet"))
	require.NoError(t, err)
	assert.Empty(t, jams)
}

// columnOf is a column of one of the tables as Apache Arrow's independent reader sees it.
func columnOf(t *testing.T, path, name string) arrow.Array {
	pf, err := file.OpenParquetFile(path, false)
	require.NoError(t, err)
	defer pf.Close()
	r, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{}, memory.DefaultAllocator)
	require.NoError(t, err)
	table, err := r.ReadTable(context.Background())
	require.NoError(t, err)
	at := table.Schema().FieldIndices(name)
	require.Len(t, at, 1, name)
	chunks := table.Column(at[0]).Data().Chunks()
	require.Len(t, chunks, 1)
	return chunks[0]
}

func TestNullsAndZerosAreToldApartByOthers(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, Write(dir, fullReport()))
	cost := columnOf(t, filepath.Join(dir, "findings.parquet"), "cost_s").(*array.Float64)
	assert.Equal(t, []bool{true, true, false}, []bool{cost.IsValid(0), cost.IsValid(1), cost.IsValid(2)})
	assert.Equal(t, []float64{4.5, 0}, []float64{cost.Value(0), cost.Value(1)})
	end := columnOf(t, filepath.Join(dir, "brownouts.parquet"), "end_s")
	assert.Equal(t, []bool{true, false}, []bool{end.IsValid(0), end.IsValid(1)})
	pieces := columnOf(t, filepath.Join(dir, MatchFile), "autonomous_pieces").(*array.Int64)
	assert.True(t, pieces.IsValid(0))
	assert.Zero(t, pieces.Value(0))
	at := columnOf(t, filepath.Join(dir, MatchFile), "at")
	assert.Equal(t, &arrow.TimestampType{Unit: arrow.Microsecond, TimeZone: "UTC"}, at.DataType())
}

func TestDamagedTablesAreTold(t *testing.T) {
	dir := t.TempDir()
	require.NoError(t, Write(dir, fullReport()))
	path := filepath.Join(dir, "cycles.parquet")
	raw, err := os.ReadFile(path)
	require.NoError(t, err)
	spoilt := filepath.Join(dir, "spoilt.parquet")
	for n := 0; n < len(raw); n += 7 {
		require.NoError(t, os.WriteFile(spoilt, raw[:n], 0o644))
		_, err := Read[Cycle](spoilt)
		require.ErrorContains(t, err, spoilt+": ", "cut off at byte %d", n)
	}
	noticed := 0
	for i := 0; i < len(raw); i += 3 {
		raw[i] ^= 0xff
		require.NoError(t, os.WriteFile(spoilt, raw, 0o644))
		if _, err := Read[Cycle](spoilt); err != nil {
			noticed++
		}
		_, _ = Verify(spoilt)
		raw[i] ^= 0xff
	}
	assert.Greater(t, noticed, len(raw)/3/3, "page checksums and structure find most flips; none may panic")
	_, err = Read[Cycle](filepath.Join(dir, "absent.parquet"))
	assert.ErrorIs(t, err, os.ErrNotExist)
	_, err = Read[Match](path)
	assert.NoError(t, err, "columns a file lacks are null")
}
