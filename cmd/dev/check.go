package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
)

// check does every check that needs no run of the product, all of them even when one fails.
func (d *dev) check([]string) error {
	steps := []struct {
		name string
		run  func() error
	}{
		{"vet", func() error { return d.exec(".", nil, "go", "vet", "./...") }},
		{"staticcheck", func() error { return d.exec(".", nil, "go", "run", staticcheck, "./...") }},
		{"gofumpt", d.formatted},
		{"types of the pages", func() error {
			if err := d.npmInstall(); err != nil {
				return err
			}
			return d.exec(webDir, nil, npm(), "run", "--silent", "typecheck")
		}},
		{"links in documents", d.links},
	}
	failed := false
	for _, s := range steps {
		d.say("%s", s.name)
		if err := s.run(); err != nil {
			d.say("%s: %v", s.name, err)
			failed = true
		}
	}
	if failed {
		return errShown
	}
	fmt.Fprintln(d.stdout, "all checks passed")
	return nil
}

func (d *dev) formatted() error {
	cmd := d.command(".", nil, "go", "run", gofumpt, "-l", "analysis", "cmd", "ingest", "sample-logs", "schemas", "viewer")
	var out bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, d.stderr
	if err := cmd.Run(); err != nil {
		return err
	}
	if names := strings.TrimSpace(out.String()); names != "" {
		return fmt.Errorf("not formatted, run `go run %s -w` on them:\n%s", gofumpt, names)
	}
	return nil
}

var (
	markdownLink = regexp.MustCompile(`\]\(([^)\s]+)\)`)
	heading      = regexp.MustCompile(`(?m)^#+ +(.+)$`)
	notInAnchor  = regexp.MustCompile(`[^\p{L}\p{N} _-]`)
	fenced       = regexp.MustCompile("(?s)```.*?```")
)

// links checks that every relative link in a tracked Markdown file leads to a file, and
// every anchor to a heading.
func (d *dev) links() error {
	out, err := d.command(".", nil, "git", "ls-files", "-co", "--exclude-standard", "*.md").Output()
	if err != nil {
		return fmt.Errorf("git ls-files: %w", err)
	}
	var bad []string
	for _, file := range strings.Fields(string(out)) {
		text, err := os.ReadFile(filepath.Join(d.root, file))
		if err != nil {
			return err
		}
		for _, m := range markdownLink.FindAllStringSubmatch(fenced.ReplaceAllString(string(text), ""), -1) {
			if why := d.deadLink(file, m[1]); why != "" {
				bad = append(bad, fmt.Sprintf("%s: %s: %s", file, m[1], why))
			}
		}
	}
	if len(bad) > 0 {
		return fmt.Errorf("dead links:\n%s", strings.Join(bad, "\n"))
	}
	return nil
}

// deadLink says why a link of a document leads nowhere; links to other hosts are not followed.
func (d *dev) deadLink(file, link string) string {
	if strings.Contains(link, "://") || strings.HasPrefix(link, "mailto:") {
		return ""
	}
	path, anchor, _ := strings.Cut(link, "#")
	target := filepath.Join(d.root, file)
	if path != "" {
		target = filepath.Join(d.root, filepath.Dir(file), filepath.FromSlash(path))
	}
	info, err := os.Stat(target)
	if err != nil {
		return "no such file"
	}
	if anchor == "" || info.IsDir() {
		return ""
	}
	text, err := os.ReadFile(target)
	if err != nil {
		return err.Error()
	}
	for _, h := range heading.FindAllStringSubmatch(fenced.ReplaceAllString(string(text), ""), -1) {
		if anchorOf(h[1]) == anchor {
			return ""
		}
	}
	return "no such heading"
}

// anchorOf is the anchor Markdown viewers give a heading.
func anchorOf(h string) string {
	h = notInAnchor.ReplaceAllString(strings.ToLower(strings.TrimSpace(h)), "")
	return strings.ReplaceAll(h, " ", "-")
}
