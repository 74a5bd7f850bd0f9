package main

import (
	"errors"
	"os"
)

// bench runs every benchmark, then measures the trace bench in a browser. Ratios count, not
// times: each file of benchmarks runs its peer beside it. Arguments go to `go test`
// (-benchtime, -count, -bench); `bench pages` measures in the browser only.
func (d *dev) bench(args []string) error {
	if len(args) == 1 && args[0] == "pages" {
		return d.benchPages()
	}
	base := []string{"test", "-run=^$", "-bench=.", "-benchmem", "-p=1"}
	err := d.exec(".", nil, "go", append(append(base, args...), "./...")...)
	if err == nil && len(args) == 0 {
		err = d.benchPages()
	}
	return err
}

// benchPages stores a match of seven million samples and measures its bench.
func (d *dev) benchPages() error {
	chromium := findChromium()
	if chromium == "" {
		return errors.New("no Chromium on this machine; install the package chromium, or name a binary in AFTERBELL_CHROMIUM")
	}
	if err := d.pages(nil); err != nil {
		return err
	}
	bin, err := d.build()
	if err != nil {
		return err
	}
	data, err := os.MkdirTemp("", "afterbell-bench-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(data)
	env := []string{"AFTERBELL_BENCH_DATA=" + data, "AFTERBELL_CHROMIUM=" + chromium, "AFTERBELL_BIN=" + bin}
	if err := d.exec(".", env, "go", "test", "-run=^$", "-bench=StoreLongMatch$", "-benchtime=1x", "./cmd/afterbell"); err != nil {
		return err
	}
	return d.exec(webDir, env, "node", "browser/perf.js")
}
