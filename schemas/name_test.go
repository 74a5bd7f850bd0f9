package schemas_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

func TestCheckName(t *testing.T) {
	longest := strings.Repeat("a", 64)
	for _, c := range []struct {
		what, name string
		err        string // empty: the name is good
	}{
		{"robot", "heron", ""},
		{"robot", "a", ""},
		{"robot", longest, ""},
		{"match", "q14", ""},
		{"event", "millbrook-open", ""},
		{"event", "a.b_c-", ""},
		{"season", "2031", ""},
		{"season", "2031-spring", ""},
		{"robot", "", `robot "" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"robot", longest + "a", `robot "` + longest + `a" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"robot", "Heron", `robot "Heron" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"robot", "he ron", `robot "he ron" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"robot", "héron", `robot "héron" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"robot", "heron\n", `robot "heron\n" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"robot", "a/b", `robot "a/b" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"robot", "..", `robot ".." is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"season", ".2031", `season ".2031" is not a name: use 1 to 64 of a-z 0-9 . _ -`},
		{"match", "14", `match "14" must begin with a letter`},
		{"event", "7up", `event "7up" must begin with a letter`},
	} {
		err := schemas.CheckName(c.what, c.name)
		if c.err == "" {
			assert.NoError(t, err, "%s %q", c.what, c.name)
			continue
		}
		assert.EqualError(t, err, c.err)
	}
}

func TestTidyName(t *testing.T) {
	for _, c := range []struct {
		what, in, want string
		changed        bool
	}{
		{"match", "q14", "q14", false},
		{"season", "2031", "2031", false},
		{"match", "Q14", "q14", true},
		{"match", "14", "m14", true},
		{"event", "2nd round", "e2nd-round", true},
		{"robot", "42", "r42", true},
		{"match", "practice match (2).csv", "practice-match-2-.csv", true},
		{"match", "  final  ", "final", true},
		{"match", "..hidden", "hidden", true},
		{"match", "../../etc", "etc", true},
		{"match", "finale – été", "finale-t", true},
		{"event", strings.Repeat("x", 70), strings.Repeat("x", 64), true},
		{"event", strings.Repeat("x", 63) + " y", strings.Repeat("x", 63), true},
	} {
		name, changed, err := schemas.TidyName(c.what, c.in)
		require.NoError(t, err, "%s %q", c.what, c.in)
		assert.Equal(t, c.want, name, "%s %q", c.what, c.in)
		assert.Equal(t, c.changed, changed, "%s %q", c.what, c.in)
	}
	for _, in := range []string{"", "---", "...", "été"[:2], "日本", "\x00"} {
		_, _, err := schemas.TidyName("match", in)
		assert.ErrorContains(t, err, "cannot be turned into a name: use a-z 0-9 . _ -", "%q", in)
	}
}

// Whatever is typed, what comes back is a name, is left alone the second time, and is told
// as changed exactly when it differs.
func TestTidyNameProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		what := rapid.SampledFrom([]string{"season", "event", "match", "robot"}).Draw(t, "what")
		in := rapid.OneOf(rapid.String(), rapid.StringMatching(`[A-Za-z0-9 ._/-]{0,80}`)).Draw(t, "in")
		name, changed, err := schemas.TidyName(what, in)
		if err != nil {
			return
		}
		require.NoError(t, schemas.CheckName(what, name))
		require.Equal(t, name != in, changed)
		again, changed, err := schemas.TidyName(what, name)
		require.NoError(t, err)
		require.Equal(t, name, again)
		require.False(t, changed)
	})
}
