package main

import (
	"os/exec"
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestMissingLanguageIsNamed(t *testing.T) {
	have := func(names ...string) func(string) (string, error) {
		return func(name string) (string, error) {
			for _, n := range names {
				if n == name {
					return "/usr/bin/" + n, nil
				}
			}
			return "", exec.ErrNotFound
		}
	}
	l := language{"Java", "javac java|jre", "a JDK, 17 or later"}
	assert.Empty(t, l.missing(have("java", "javac")))
	assert.Empty(t, l.missing(have("jre", "javac")))
	assert.Equal(t, "no java or jre on this machine; install a JDK, 17 or later", l.missing(have("javac")))
	assert.Equal(t, "no javac on this machine; install a JDK, 17 or later", l.missing(have("java")))
}
