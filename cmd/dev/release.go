package main

import (
	"crypto/sha256"
	"fmt"
	"os"
	"path/filepath"
	"strings"
)

// release builds the pages, then one binary without cgo for each kind of pit laptop, with
// their SHA-256 sums, into dist/.
func (d *dev) release([]string) error {
	if err := d.pages(nil); err != nil {
		return fmt.Errorf("a release needs the pages: %w", err)
	}
	version := "dev"
	if out, err := d.command(".", nil, "git", "describe", "--tags", "--always", "--dirty").Output(); err == nil {
		version = strings.TrimSpace(string(out))
	}
	out := filepath.Join(d.root, "dist")
	if err := os.MkdirAll(out, 0o755); err != nil {
		return err
	}
	var sums strings.Builder
	for _, goos := range []string{"windows", "darwin", "linux"} {
		for _, arch := range []string{"amd64", "arm64"} {
			name := fmt.Sprintf("afterbell-%s-%s-%s", version, goos, arch)
			if goos == "windows" {
				name += ".exe"
			}
			d.say("%s", name)
			env := []string{"CGO_ENABLED=0", "GOOS=" + goos, "GOARCH=" + arch}
			err := d.exec(".", env, "go", "build", "-trimpath", "-ldflags=-s -w -X main.version="+version,
				"-o", filepath.Join(out, name), "./cmd/afterbell")
			if err != nil {
				return err
			}
			data, err := os.ReadFile(filepath.Join(out, name))
			if err != nil {
				return err
			}
			fmt.Fprintf(&sums, "%x  %s\n", sha256.Sum256(data), name)
		}
	}
	if err := os.WriteFile(filepath.Join(out, "SHA256SUMS"), []byte(sums.String()), 0o644); err != nil {
		return err
	}
	fmt.Fprintf(d.stdout, "six binaries in %s\n", out)
	return nil
}
