package main

import (
	"fmt"
	"io"
	"os"
	"os/exec"
	"strings"
	"sync"
	"time"
)

// suite is one group of tests and why it could not run, if it could not.
type suite struct {
	name   string
	run    func(*dev) error
	notRun string
}

// test sets up and runs every suite, also after one has failed. The last line says what
// was not run; under CI that is a failure. The browser waits for its pages most of the time,
// so its suites run beside Go's; what they say comes when Go's have ended.
func (d *dev) test([]string) error {
	ci := os.Getenv("CI") == "true"
	pagesErr := d.pages(nil) // Go's tests embed them
	goTests := suite{name: "go", run: func(d *dev) error { return d.exec(".", nil, "go", "test", "./...") }}
	chromium := findChromium()
	page := suite{name: "pages", run: func(d *dev) error { return d.exec(webDir, nil, npm(), "run", "--silent", "test") }}
	browser := suite{name: "browser", run: func(d *dev) error {
		bin, err := d.build()
		if err != nil {
			return err
		}
		return d.exec(webDir, []string{"AFTERBELL_CHROMIUM=" + chromium, "AFTERBELL_BIN=" + bin}, npm(), "run", "--silent", "test:browser")
	}}
	if pagesErr != nil {
		page.notRun = fmt.Sprintf("the pages' packages could not be set up: %v", pagesErr)
		browser.notRun = page.notRun
	} else if chromium == "" {
		browser.notRun = "no Chromium on this machine; install the package chromium, or name a binary in AFTERBELL_CHROMIUM"
	}

	later := &held{to: d.stderr}
	beside := *d
	beside.stdout, beside.stderr = later, later
	besides := make(chan outcome, 1)
	go func() { besides <- beside.runSuites(page, browser) }()
	all := d.runSuites(goTests)
	later.release()
	all.add(<-besides)
	for _, l := range senderLanguages { // they run with the go tests, which skip them in silence
		if why := l.missing(exec.LookPath); why != "" {
			all.notRun = append(all.notRun, fmt.Sprintf("not run: %s sender tests (%s)", l.name, why))
		}
	}

	fmt.Fprintf(d.stdout, "suites: %d passed, %d failed, %d skipped\n", all.passed, all.failed, len(all.notRun))
	if len(all.notRun) > 0 {
		fmt.Fprintln(d.stdout, strings.Join(all.notRun, "; "))
	}
	if all.failed > 0 || ci && len(all.notRun) > 0 {
		return errShown
	}
	return nil
}

// outcome is what came of some suites.
type outcome struct {
	passed, failed int
	notRun         []string
}

func (o *outcome) add(p outcome) {
	o.passed += p.passed
	o.failed += p.failed
	o.notRun = append(o.notRun, p.notRun...)
}

// runSuites runs one after the other.
func (d *dev) runSuites(suites ...suite) (o outcome) {
	for _, s := range suites {
		if s.notRun != "" {
			o.notRun = append(o.notRun, fmt.Sprintf("not run: %s tests (%s)", s.name, s.notRun))
			continue
		}
		d.say("%s tests", s.name)
		began := time.Now()
		if err := s.run(d); err != nil {
			o.failed++
			d.say("%s tests failed: %v", s.name, err)
			continue
		}
		o.passed++
		d.say("%s tests passed in %.0f s", s.name, time.Since(began).Seconds())
	}
	return o
}

// held keeps what is written until it is released, and then passes it on.
type held struct {
	to io.Writer

	mu       sync.Mutex
	kept     []byte
	released bool
}

func (h *held) Write(p []byte) (int, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.released {
		return h.to.Write(p)
	}
	h.kept = append(h.kept, p...)
	return len(p), nil
}

func (h *held) release() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.released = true
	h.to.Write(h.kept)
	h.kept = nil
}

// language is one that ingest/senders has a sender for, and what its tests need: one of each
// list of programs.
type language struct {
	name, tools, install string
}

var senderLanguages = []language{
	{"Python", "python3|python", "Python 3.9 or later"},
	{"Java", "javac java", "a JDK, 17 or later"},
	{"C++", "g++|clang++|c++", "g++, or another compiler of C++17"},
}

// missing says what this machine lacks; look is exec.LookPath.
func (l language) missing(look func(string) (string, error)) string {
	for need := range strings.FieldsSeq(l.tools) {
		found := false
		for name := range strings.SplitSeq(need, "|") {
			_, err := look(name)
			found = found || err == nil
		}
		if !found {
			return fmt.Sprintf("no %s on this machine; install %s", strings.ReplaceAll(need, "|", " or "), l.install)
		}
	}
	return ""
}

// findChromium is the browser the tests drive: AFTERBELL_CHROMIUM, or one on the PATH.
func findChromium() string {
	for _, name := range []string{os.Getenv("AFTERBELL_CHROMIUM"), "chromium", "chromium-browser"} {
		if name == "" {
			continue
		}
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	return ""
}
