package main

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
)

const (
	webDir  = "viewer/web"
	distDir = "viewer/dist"
)

// pages builds the viewer's scripts into viewer/dist. Nothing is done when the sources are
// those of the last build. The tracked placeholder is put back, so that a clone without
// Node still compiles.
func (d *dev) pages([]string) error {
	if err := d.npmInstall(); err != nil {
		return err
	}
	stamp := filepath.Join(d.root, distDir, ".built-from")
	sum, err := d.webSum()
	if err != nil {
		return err
	}
	if old, err := os.ReadFile(stamp); err == nil && string(old) == sum {
		return nil
	}
	d.say("building the pages")
	if err := d.exec(webDir, nil, npm(), "run", "--silent", "build"); err != nil {
		return err
	}
	placeholder := filepath.Join(d.root, distDir, "placeholder")
	if err := os.WriteFile(placeholder, []byte(placeholderText), 0o644); err != nil {
		return err
	}
	return os.WriteFile(stamp, []byte(sum), 0o644)
}

const placeholderText = "Built pages lie beside this file: go run ./cmd/dev pages\n"

// npmInstall installs what package-lock.json names, once for each lock file.
func (d *dev) npmInstall() error {
	lock, err := os.ReadFile(filepath.Join(d.root, webDir, "package-lock.json"))
	if err != nil {
		return err
	}
	sum := sha256.Sum256(lock)
	want := hex.EncodeToString(sum[:])
	stamp := filepath.Join(d.root, webDir, "node_modules", ".installed-from")
	if old, err := os.ReadFile(stamp); err == nil && string(old) == want {
		return nil
	}
	d.say("installing the pages' packages with npm")
	if err := d.exec(webDir, nil, npm(), "ci", "--no-audit", "--no-fund", "--loglevel=error"); err != nil {
		return err
	}
	return os.WriteFile(stamp, []byte(want), 0o644)
}

// webSum is a hash over the names and contents of the page sources.
func (d *dev) webSum() (string, error) {
	h := sha256.New()
	root := filepath.Join(d.root, webDir)
	err := filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case e.IsDir() && e.Name() == "node_modules":
			return filepath.SkipDir
		case !e.Type().IsRegular():
			return nil
		}
		data, err := os.ReadFile(path)
		if errors.Is(err, fs.ErrNotExist) {
			return nil // removed while we walked
		}
		rel, _ := filepath.Rel(root, path)
		h.Write([]byte(filepath.ToSlash(rel) + "\x00"))
		h.Write(data)
		return err
	})
	return hex.EncodeToString(h.Sum(nil)), err
}
