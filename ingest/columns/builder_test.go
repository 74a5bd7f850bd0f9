package columns

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// Most of the builder is tested through package csvlog, against a model of the rules. Here
// are values that come typed, as they do from forms that are not text.
func TestTypedValues(t *testing.T) {
	typed := map[string][]cell.Value{
		"numbers": {{Class: cell.Int, Int: 5}, {Class: cell.Float, Float: 2.5}},
		"states":  {{Class: cell.Bool, Int: 1}, {Class: cell.Bool}},
		"words":   {{Class: cell.Text, Raw: []byte("on")}, {Class: cell.Text, Raw: []byte("off")}},
	}
	b := New(Options{})
	b.Open("log.parquet")
	for name, values := range typed {
		lane, fault := b.Signal([]byte(name), nil)
		require.Nil(t, fault)
		for i := range values {
			require.Nil(t, b.Add(lane, i+1, int64(i), &values[i]))
		}
	}
	lane, _ := b.Signal([]byte("declared"), nil)
	for i, v := range []cell.Value{{Class: cell.Float, Float: 0.1}, {Class: cell.Int, Int: -7}, {Class: cell.Bool, Int: 1}, {Class: cell.Text, Raw: []byte("x")}} {
		require.Nil(t, b.AddDeclared(lane, i+1, int64(i), &v, schemas.Text))
	}
	require.False(t, b.Again())
	log := b.Log()
	assert.Equal(t, []float64{5, 2.5}, log.Find("numbers").Float)
	assert.Equal(t, []bool{true, false}, log.Find("states").Bool)
	assert.Equal(t, []string{"on", "off"}, log.Find("words").Text)
	assert.Equal(t, []string{"0.1", "-7", "true", "x"}, log.Find("declared").Text)
}

func TestMisfitOfATypedValue(t *testing.T) {
	b := New(Options{})
	feed := func() (last *Fault) {
		b.Open("log.arrow")
		lane, _ := b.Signal([]byte("s"), nil)
		for i, v := range []cell.Value{{Class: cell.Bool, Int: 1}, {Class: cell.Float, Float: 2.5}} {
			last = b.Add(lane, i+1, int64(i), &v)
		}
		return last
	}
	require.Nil(t, feed())
	require.True(t, b.Again())
	fault := feed()
	require.NotNil(t, fault)
	assert.Equal(t, `"2.5" is not true or false (signal s holds true and false since line 1); write true or false`, fault.Error())
	require.False(t, b.Again())
}

func TestQuoteFitsOnALine(t *testing.T) {
	assert.Equal(t, `"a\nb"`, Quote([]byte("a\nb")))
	assert.Equal(t, `"`+string(make59())+`…"`, Quote(append(make59(), "é and more"...)), "cut before a letter, not inside it")
	assert.Equal(t, "a\\x00", Excerpt([]byte("a\x00")))
}

func make59() []byte {
	b := make([]byte, 59)
	for i := range b {
		b[i] = 'x'
	}
	return b
}
