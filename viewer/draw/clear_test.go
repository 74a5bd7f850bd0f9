package draw

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// A jam's words stand beside its ring, however short it stood and wherever it lies.
func TestJamWordsKeepOffTheRing(t *testing.T) {
	for _, width := range []float64{1040, 780, 560, 328} {
		tt := newTimetable(NewScene(fixture.Busy().Report, fixture.Profile(), nil), width)
		for _, at := range []float64{0, 0.3, 0.6, 0.9, 1} {
			for _, long := range []float64{10, 40, 120, 2000} {
				x0 := min(tt.x.p0+at*(tt.x.p1-tt.x.p0), tt.x.p1-10)
				x1 := min(x0+long, tt.x.p1)
				j := numberedJam{schemas.Jam{Stage: "lift", StartS: 60, EndS: 62.9, Cleared: true, How: "backed_out"}, 1}
				b := tt.jamLabel(j, x0, x1, 100).box()
				require.GreaterOrEqual(t, b.x0, 0.0)
				require.LessOrEqual(t, b.x1, min(tt.x.p1+14, width), "width %v, ring at %v", width, x0)
				if room := tt.x.p1 - x0; room > 150 {
					require.GreaterOrEqual(t, b.x0, x0+8, "width %v, ring at %v, bar to %v", width, x0, x1)
				}
			}
		}
	}
}

// No value of a dip is written over the ring of another.
func TestDipWordsKeepOffOtherRings(t *testing.T) {
	m := fixture.Busy()
	m.Report.Brownouts = nil
	for i, at := range []float64{30, 33, 36, 60, 75, 84, 90, 91, 139} {
		m.Report.Brownouts = append(m.Report.Brownouts, schemas.Brownout{StartS: 30 + at, MinAtS: 30 + at, MinV: 6.7 - 0.05*float64(i%4)})
	}
	for _, width := range []float64{1040, 780, 560, 328} {
		p, ok := VoltageStrip(NewScene(m.Report, m.Profile, m.Log), width)
		require.True(t, ok)
		st := &strip{scene: NewScene(m.Report, m.Profile, m.Log), width: width, x: scale{0, 140, 38, width - 6}}
		written := 0
		for _, l := range textsOf(p) {
			for _, b := range m.Report.Brownouts {
				if l.text == decimal(b.MinV, 2)+" V" || l.text == decimal(b.MinV, 2)+" V at "+decimal(b.MinAtS-30, 1)+" s" {
					written++
					for _, o := range m.Report.Brownouts {
						x := st.x.at(o.MinAtS - 30)
						require.False(t, x > l.box.x0-1 && x < l.box.x1+1, "%q covers the ring at %.0f s", l.text, o.MinAtS-30)
					}
				}
			}
		}
		require.Positive(t, written, "width %v", width)
	}
}

func TestCrossed(t *testing.T) {
	b := box{10, 10, 20, 20}
	for _, c := range []struct {
		name string
		line []pt
		want bool
	}{
		{"through the middle", []pt{{0, 15}, {30, 15}}, true},
		{"upright through it", []pt{{15, 0}, {15, 30}}, true},
		{"slanted through a corner", []pt{{5, 18}, {12, 25}}, false},
		{"slanted across", []pt{{5, 5}, {25, 25}}, true},
		{"inside of it", []pt{{12, 12}, {13, 13}}, true},
		{"ends before it", []pt{{0, 15}, {9.9, 15}}, false},
		{"beside it", []pt{{0, 9.9}, {30, 9.9}}, false},
		{"a later part crosses", []pt{{0, 0}, {0, 15}, {30, 15}}, true},
		{"a single point", []pt{{15, 15}}, false},
	} {
		require.Equal(t, c.want, crossed(b, c.line), c.name)
	}
}
