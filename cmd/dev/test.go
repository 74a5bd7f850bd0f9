package main

import (
	"fmt"
	"os"
	"os/exec"
	"strings"
)

// suite is one group of tests and why it could not run, if it could not.
type suite struct {
	name   string
	run    func() error
	notRun string
}

// test sets up and runs every suite, also after one has failed. The last line says what
// was not run; under CI that is a failure.
func (d *dev) test([]string) error {
	ci := os.Getenv("CI") == "true"
	suites := []suite{{name: "go", run: func() error { return d.exec(".", nil, "go", "test", "./...") }}}
	pagesErr := d.pages(nil)
	chromium := findChromium()
	page := suite{name: "pages", run: func() error { return d.exec(webDir, nil, npm(), "run", "--silent", "test") }}
	browser := suite{name: "browser", run: func() error {
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
	suites = append(suites, page, browser)
	for _, l := range senderLanguages { // they run with the go tests, which skip them in silence
		if why := l.missing(exec.LookPath); why != "" {
			suites = append(suites, suite{name: l.name + " sender", notRun: why})
		}
	}

	passed, failed := 0, 0
	var notRun []string
	for _, s := range suites {
		if s.notRun != "" {
			notRun = append(notRun, fmt.Sprintf("not run: %s tests (%s)", s.name, s.notRun))
			continue
		}
		d.say("%s tests", s.name)
		if err := s.run(); err != nil {
			failed++
			d.say("%s tests failed: %v", s.name, err)
			continue
		}
		passed++
	}
	fmt.Fprintf(d.stdout, "suites: %d passed, %d failed, %d skipped\n", passed, failed, len(notRun))
	if len(notRun) > 0 {
		fmt.Fprintln(d.stdout, strings.Join(notRun, "; "))
	}
	if failed > 0 || ci && len(notRun) > 0 {
		return errShown
	}
	return nil
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
