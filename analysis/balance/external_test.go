package balance

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// columns reads testdata/name; lines with # say where it is from.
func columns(t *testing.T, name string) map[string][]float64 {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for c, s := range row {
			v, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			out[rows[0][c]] = append(out[rows[0][c]], v)
		}
	}
	return out
}

// The rate term that makes the swing of R's worked fit (wn 7.560652093, zeta 0.149137003) damped
// by 0.7, in parts of the proportional gain, is 0.145718382 s.
func TestRateTermOfAFittedSwing(t *testing.T) {
	const wn, zeta = 7.560652093, 0.149137003
	servo := rig{force: true, damp: 2 * zeta * wn, pull: wn * wn, tilt: 1}
	require.InDelta(t, 0.7, servo.closeLoop(law{gain: 1, lead: 0.145718382}).zeta, 1e-6)
}

// Reference: Octave 7.3.0, control 3.4.0, step() of 1/(s^2 + 2 zeta s + 1): the last exit
// from the 5 % band, times in units of 1/wn. A tilt of 10 degrees let go at once follows one
// minus that; sampled 50 times a second, level_deg is the 5 % band.
func TestSettlingOfAStepResponse(t *testing.T) {
	ref := columns(t, "expected_step2.csv")
	for i, zeta := range ref["zeta"] {
		const wn = 2.0
		in := Input{
			Tilt: &series.Float{Name: "imu/pitch"}, MountDeg: 6, LevelDeg: 0.5,
			HoldS: 2, // longer than a half swing, so that the last exit counts
		}
		for k := range 60 * 50 {
			at, v := float64(k)*0.02, 0.0
			if at >= 1 {
				s := wn * (at - 1)
				wd := math.Sqrt(1 - zeta*zeta)
				v = 10 * math.Exp(-zeta*s) * (math.Cos(wd*s) + zeta/wd*math.Sin(wd*s))
			}
			in.Tilt.T, in.Tilt.V = append(in.Tilt.T, int64(k)*20_000), append(in.Tilt.V, v)
		}
		in.End = in.Tilt.T[len(in.Tilt.T)-1]
		got := Detect(in, DefaultConfig()).Balances
		require.Len(t, got, 1)
		require.Equal(t, "level", got[0].Outcome)
		require.InDelta(t, ref["ts5"][i]/wn, *got[0].SettleS, 0.02, "zeta %g", zeta)
		require.NotNil(t, got[0].DampingRatio, "zeta %g", zeta)
		require.InDelta(t, zeta, *got[0].DampingRatio, 0.002)
		require.InDelta(t, wn/(2*math.Pi), *got[0].NaturalHz, 0.002)
		// One peak past level by the book's overshoot, as long as that is outside the band.
		if first := 10 * ref["overshoot_sim"][i]; first > in.LevelDeg {
			require.NotEmpty(t, got[0].Swings)
			require.InDelta(t, -first, got[0].Swings[0].Tilt, 0.01, "zeta %g", zeta)
			require.InDelta(t, 1+ref["tpeak_sim"][i]/wn, got[0].Swings[0].AtS, 0.021, "zeta %g", zeta)
		} else {
			require.Empty(t, got[0].Swings)
		}
	}
}

// Reference: Octave 7.3.0, control 3.4.0, c2d: a double integrator under u = -kp theta - kd
// omega, held for 20 ms: samples of theta, and the damping and frequency its poles amount to.
func TestLoopsOfTheBook(t *testing.T) {
	ref := columns(t, "expected_pd_discrete.csv")
	const deg, h, kp = 180 / math.Pi, 0.02, 25.0
	for i, kd := range ref["kd"] {
		in := Input{
			Tilt: &series.Float{Name: "imu/pitch"}, Drive: &series.Float{Name: "drive/command"},
			MountDeg: 1, LevelDeg: 0.1, HoldS: 1,
		}
		theta, omega := 0.2, 0.0
		const plant = 10.0 // rad/s² of a full command
		for k := range 300 {
			switch k {
			case 25:
				require.InDelta(t, ref["theta_25"][i], theta, 1e-10)
			case 50:
				require.InDelta(t, ref["theta_50"][i], theta, 1e-10)
			case 100:
				require.InDelta(t, ref["theta_100"][i], theta, 1e-10)
			}
			u := -kp*theta - kd*omega
			at := int64(k) * 20_000
			in.Tilt.T, in.Tilt.V = append(in.Tilt.T, at), append(in.Tilt.V, theta*deg)
			in.Drive.T, in.Drive.V = append(in.Drive.T, at), append(in.Drive.V, u/plant)
			theta, omega = theta+omega*h+u*h*h/2, omega+u*h
		}
		in.End = in.Tilt.T[len(in.Tilt.T)-1]
		b := Detect(in, DefaultConfig()).Balances[0]
		if kd == 10 { // critically damped: no swing to measure
			require.Nil(t, b.DampingRatio)
			require.Equal(t, "comes to level without a swing", b.Diagnosis)
			continue
		}
		require.NotNil(t, b.DampingRatio, "kd %g", kd)
		require.InDelta(t, ref["zeta_eq"][i], *b.DampingRatio, 2e-4)
		require.InDelta(t, ref["wn_eq"][i]/(2*math.Pi), *b.NaturalHz, 1e-3)
		switch kd {
		case 0:
			require.Contains(t, b.Diagnosis, "swings grow: answers the tilt but not its rate")
			require.Contains(t, b.Advice, "gain")
		case 2:
			require.Contains(t, b.Diagnosis, "too little damping")
			// More rate term, here another 3, damps as the book's rule has it.
			require.InDelta(t, 0.48668844, *b.DampingRatio+(5.0-2.0)/kp*ref["wn_eq"][i]/2, 0.02)
		case 5:
			require.Contains(t, b.Diagnosis, "lightly damped")
		}
	}
}

// Reference: Octave 7.3.0, control 3.4.0, damp(): J .5, b .2, k 1.5, kp 10 has wn 4.79583152
// and zeta .04170288, .25021730 with kd 1, and reaches .7 with kd 3.15708207.
func TestLoopOnAStiffPlatform(t *testing.T) {
	g := rig{force: true, damp: 0.2 / 0.5, stiff: 1.5 / 0.5, pull: 1 / 0.5, tilt: 1}
	for kd, zeta := range map[float64]float64{0: 0.04170288, 1: 0.25021730, 3.15708207: 0.7} {
		now := g.closeLoop(law{gain: 10, lead: kd / 10})
		require.InDelta(t, 4.79583152, now.wn, 1e-8)
		require.InDelta(t, zeta, now.zeta, 1e-8)
	}
}

// Reference: Octave 7.3.0, control 3.4.0, margin: kp 25 and kd 5 on a double integrator are
// stable up to a lateness of 0.14222373 s.
func TestDelayMargin(t *testing.T) {
	more := rig{force: true, pull: 1, tilt: 1}.margin(law{gain: 25, lead: 0.2})
	require.NotNil(t, more)
	require.InDelta(t, 0.14222373, *more, 0.0101, "in steps of a hundredth")
}
