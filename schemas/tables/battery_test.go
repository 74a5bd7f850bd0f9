package tables

import (
	"reflect"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// Whatever the report tells of a battery is a column of that name in the match's row, so that a
// season can follow each battery through its matches.
func TestTheMatchRowCarriesAllOfTheBattery(t *testing.T) {
	r := fullReport()
	b := reflect.ValueOf(&r.Battery).Elem()
	want := map[string]float64{}
	for i := range b.NumField() {
		if b.Field(i).Kind() == reflect.Pointer {
			name, _, _ := strings.Cut(b.Type().Field(i).Tag.Get("json"), ",")
			want[name] = float64(i) + 0.5
			b.Field(i).Set(reflect.ValueOf(schemas.Some(want[name])))
		}
	}
	r.Battery.Reason = "loads too steady"
	dir := t.TempDir()
	require.NoError(t, Write(dir, r))
	m, err := ReadMatch(dir)
	require.NoError(t, err)
	assert.Equal(t, "b7", *m.Battery)
	assert.Equal(t, "loads too steady", *m.BatteryReason)
	row := reflect.ValueOf(m)
	for i := range row.NumField() {
		name, _, _ := strings.Cut(row.Type().Field(i).Tag.Get("parquet"), ",")
		if v, ok := want[name]; ok {
			require.False(t, row.Field(i).IsNil(), name)
			assert.Equal(t, v, row.Field(i).Elem().Float(), name)
			delete(want, name)
		}
	}
	assert.Empty(t, want, "in the report and not in the row")
}
