package score

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
)

func TestZonesAndLiningUp(t *testing.T) {
	yes, no := true, false
	cycle := func(pickup, goal string, a *schemas.Align) schemas.Report {
		return schemas.Report{Cycles: []schemas.Cycle{{Kind: "score", Period: "driver", StartS: 10, EndS: 20, Complete: true, Pickup: pickup, Goal: goal, Align: a}}}
	}
	truth := cycle("oven", "shelf", &schemas.Align{PlacedM: schemas.Some(0.04), AlignS: schemas.Some(2), Assisted: &yes})
	s := scoreCycles(caseOfHand(truth, cycle("oven", "stand", &schemas.Align{PlacedM: schemas.Some(0.05), Assisted: &no})))
	assert.Equal(t, Sum{1, 1}, s.Sums["pickup zone right, where both name one"])
	assert.Equal(t, Sum{0, 1}, s.Sums["goal zone right, where both name one"])
	assert.InDelta(t, 0.01, s.Values["distance from the aim when placed error"][0], 1e-9)
	assert.Empty(t, s.Values["lining up took error"], "one of them does not say")
	assert.Equal(t, Sum{0, 1}, s.Sums["lined up by itself or by hand right"])

	s = scoreCycles(caseOfHand(truth, cycle("", "shelf", nil)))
	assert.Zero(t, s.Sums["pickup zone right, where both name one"])
	assert.Equal(t, Sum{1, 1}, s.Sums["goal zone right, where both name one"])
	assert.Zero(t, s.Sums["lined up by itself or by hand right"])
}

func TestQuickerApproach(t *testing.T) {
	said := func(quicker string) schemas.Report {
		return schemas.Report{Placing: &schemas.Placing{Quicker: quicker}}
	}
	const name = "quicker approach right, where it is said"
	right := scoreCycles(caseOfHand(said(schemas.QuickerAssisted), said(schemas.QuickerAssisted)))
	wrong := scoreCycles(caseOfHand(said(schemas.QuickerAssisted), said(schemas.QuickerByHand)))
	none := scoreCycles(caseOfHand(said(schemas.QuickerAssisted), said(schemas.QuickerUnknown)))
	assert.Equal(t, Sum{1, 1}, right.Sums[name])
	assert.Equal(t, Sum{0, 1}, wrong.Sums[name])
	assert.Zero(t, none.Sums[name])
}
