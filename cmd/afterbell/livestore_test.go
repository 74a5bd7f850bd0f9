package main

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis"
)

// While a sheet is being made, whoever asks learns how far its analyses are; before and after, that
// none is made. What the report says does not depend on being asked.
func TestASheetSaysHowFarItIs(t *testing.T) {
	p, err := parseProfile("curlew.yaml", []byte("profile: 1\nrobot: curlew\n"))
	require.NoError(t, err)
	m := sealedOnce(named("2031", "practice", "m1", "curlew"), 12.1, 12.2)
	j := &job{id: m.ID, log: m.Log, match: m.Match, profile: p}
	quiet, err := j.analyze()
	require.NoError(t, err)
	var told []int
	j.tell = func(done, all int) {
		assert.Equal(t, len(analysis.All()), all)
		told = append(told, done)
	}
	said, err := j.analyze()
	require.NoError(t, err)
	assert.Equal(t, quiet, said)
	for i := range analysis.All() {
		require.Equal(t, i+1, told[i])
	}
	assert.Len(t, told, len(analysis.All()))

	s := &liveStore{}
	s.making.Store("curlew", howFar{3, 8})
	done, all := s.far("curlew")
	assert.Equal(t, []int{3, 8}, []int{done, all})
	done, all = s.far("heron")
	assert.Equal(t, []int{0, 0}, []int{done, all})
}
