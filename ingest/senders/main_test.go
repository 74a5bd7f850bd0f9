package senders

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

func TestMain(m *testing.M) {
	if dir := os.Getenv(collectorDir); dir != "" {
		collect(dir, os.Getenv(collectorListen))
		return
	}
	os.Exit(run(m))
}

func run(m *testing.M) int {
	// They wait for programs and pauses most of the time.
	flag.Parse()
	if err := flag.Set("test.parallel", "4"); err != nil {
		panic(err)
	}
	var err error
	if scratch, err = os.MkdirTemp("", "afterbell-senders-"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(scratch)
	return m.Run()
}
