//go:build unix

package main

import (
	"fmt"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

// BenchmarkPowerBalanceMoves looks at the supply, the platform and the arms of a simulated
// match of 150 s, the battery's bootstrap and the robust fits included; beside it the same
// match with its path and cycles too. cpu-ms is what the processor spent, collecting garbage
// included, whatever else the machine does; the aim is under 100 on one core.
func BenchmarkPowerBalanceMoves(b *testing.B) {
	for _, rate := range []string{"as the story logs", "log-200-hz", "log-1000-hz"} {
		o := sim.Options{Scenario: "demo", Seed: 1}
		if rate != "as the story logs" {
			o.With = []string{rate}
		}
		m, err := sim.RunOptions(o)
		require.NoError(b, err)
		for _, part := range []string{"power balance moves", "all"} {
			p, err := parseProfile("robot.yaml", m.Profile)
			require.NoError(b, err)
			require.NotNil(b, p.Power)
			require.NotNil(b, p.Balance)
			if part != "all" {
				p.Path, p.Cycles = nil, nil
			}
			in, err := analysis.Inputs(p.Profile, m.Log)
			require.NoError(b, err)
			require.Len(b, in, 1)
			b.Run(fmt.Sprintf("%s/%s", rate, part), func(b *testing.B) {
				before := processor(b)
				for b.Loop() {
					r, err := analysis.Run(in[0])
					require.NoError(b, err)
					require.NotNil(b, r.Battery.ResistanceOhm)
					require.NotEmpty(b, r.Balances)
				}
				b.ReportMetric(float64((processor(b)-before).Milliseconds())/float64(b.N), "cpu-ms/op")
			})
		}
	}
}

// processor is the processor's time of this process so far.
func processor(t testing.TB) time.Duration {
	var u syscall.Rusage
	require.NoError(t, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
