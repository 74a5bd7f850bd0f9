package power

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// A battery whose resistance falls with the current, as real cells do (gnuplot's battery
// data: the quadratic term is 5.6 standard errors from 0), and one whose does not.
func TestResistanceThatDependsOnTheCurrent(t *testing.T) {
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(seed, 21))
		load := drive(rng, 120)
		volts, amps := board(100, 0)
		straight := healthy.volts(load, fine)
		bent := make([]float64, len(straight))
		for k, v := range straight {
			bent[k] = v + 4e-5*load[k]*load[k] // 0.018 ohm at nothing, 0.010 at 100 A
		}
		r := measure(volts.read(rng, bent), amps.read(rng, load))
		require.NotNil(t, r.Line, r.Battery.Reason)
		assert.Contains(t, strings.Join(r.Notes, "\n"), "the resistance depends on the current")
		r = measure(volts.read(rng, straight), amps.read(rng, load))
		require.NotNil(t, r.Line)
		assert.NotContains(t, strings.Join(r.Notes, "\n"), "depends on the current")
	}
}

// The same measurements as a log: a second at each load in turn, and one at the lightest between. The cell has no
// one resistance (R 4.2.2 lm: 5.06 ohm over all loads, 6.25 ohm over the light ones), and the
// report says so.
func TestARealCellHasNoOneResistance(t *testing.T) {
	f, err := os.Open("../stat/testdata/battery_load_line.csv")
	require.NoError(t, err)
	defer f.Close()
	rows := csv.NewReader(f)
	rows.Comment = '#'
	all, err := rows.ReadAll()
	require.NoError(t, err)
	var volts, amps []float64
	for _, row := range all[1:] {
		ohm, err := strconv.ParseFloat(row[slices.Index(all[0], "R_ohm")], 64)
		require.NoError(t, err)
		watt, err := strconv.ParseFloat(row[slices.Index(all[0], "P_W")], 64)
		require.NoError(t, err)
		if ohm > 0 {
			volts, amps = append(volts, math.Sqrt(watt*ohm)), append(amps, math.Sqrt(watt/ohm))
		}
	}
	require.Len(t, volts, 17)
	in := Input{Voltage: &series.Float{}, Current: &series.Float{}}
	for k := range 50 * 200 {
		n := 0
		if second := k / 50; second%2 == 1 {
			n = 1 + second/2%(len(volts)-1)
		}
		in.End = int64(k) * 20_000
		in.Voltage.T, in.Voltage.V = append(in.Voltage.T, in.End), append(in.Voltage.V, volts[n])
		in.Current.T, in.Current.V = append(in.Current.T, in.End), append(in.Current.V, amps[n])
	}
	r := Detect(in, DefaultConfig())
	require.NotNil(t, r.Battery.ResistanceOhm, r.Battery.Reason)
	assert.Contains(t, strings.Join(r.Notes, "\n"), "the resistance depends on the current")
	assert.Greater(t, *r.Battery.ResistanceOhm, 4.6)
	assert.Less(t, *r.Battery.ResistanceOhm, 6.3)
	assert.Nil(t, r.Battery.LoadTestA, "no 12 V battery")
}
