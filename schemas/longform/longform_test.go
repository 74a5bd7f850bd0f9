package longform

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/units"
)

func TestTitle(t *testing.T) {
	for _, s := range []schemas.Signal{{Name: "a"}, {Name: "a", Unit: "V"}, {Name: "a [x]", Unit: "y"}, {Name: "motor[0]"}, {Name: "motor[0]", Unit: "A"}} {
		title, err := Title(&s, "CSV")
		require.NoError(t, err)
		name, unit := units.Split(title)
		assert.Equal(t, [2]string{s.Name, s.Unit}, [2]string{name, unit})
	}
	for _, s := range []schemas.Signal{{Name: ""}, {Name: " a"}, {Name: "a\n"}, {Name: "a", Unit: "[V"}, {Name: "a", Unit: " V"}, {Name: "a [V]"}, {Name: "\xff"}} {
		_, err := Title(&s, "CSV")
		assert.ErrorContains(t, err, "cannot be written as CSV: rename it", "%q [%s]", s.Name, s.Unit)
	}
}

func TestCheck(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Text, Time: []int64{5, -1_500_000}, Text: []string{"é", "\xfe"}}}}
	assert.EqualError(t, Check(log, "JSON lines"), `signal a at -1.5 s: the text "\xfe" is not UTF-8 and cannot be written as JSON lines`)
	log.Signals[0].Text[1] = ""
	assert.NoError(t, Check(log, "JSON lines"))
	log.Signals[0].Name = "a [V]"
	assert.EqualError(t, Check(log, "JSON lines"), `signal "a [V]" with unit "" cannot be written as JSON lines: rename it`)
}
