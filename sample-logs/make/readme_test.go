package main

import (
	"os"
	"regexp"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/sample-logs/sim"
)

// The README's table of confounders has each there is, in their order, and says of it what
// the simulator says.
func TestReadmeListsTheConfounders(t *testing.T) {
	text, err := os.ReadFile("../README.md")
	require.NoError(t, err)
	rows := regexp.MustCompile("(?m)^\\| `([a-z0-9-]+)` \\| ([^|]+) \\| ([^|]+) \\|$").FindAllStringSubmatch(string(text), -1)
	var told, are [][2]string
	for _, r := range rows {
		told = append(told, [2]string{r[1], r[3]})
	}
	for _, c := range sim.Conditions() {
		if c.Kind == sim.Confounder {
			are = append(are, [2]string{c.Name, c.Summary})
		}
	}
	assert.Equal(t, are, told)
}
