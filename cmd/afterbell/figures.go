package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

// figureScale is device pixels of an image for each pixel of a picture: sharp in print at the
// width of a page.
const figureScale = 2

// captionsFile says what each figure shows, to be copied below it.
const captionsFile = "captions.txt"

// figureFile is a file of the figures' folder.
type figureFile struct {
	name string
	body []byte
}

// writeFigures writes every picture of the sheet into a folder.
func (a *app) writeFigures(dir string, j *job, r *schemas.Report) error {
	of := strings.Trim(strings.Join([]string{j.id.Match, j.id.Robot, j.id.Event}, " "), " ")
	return a.writePictures(dir, of, func() []*draw.Picture { return draw.Figures(draw.NewScene(r, j.profile.Profile, j.log)) })
}

// writePictures writes pictures of something into a folder as SVG, PNG and PDF, with a list of
// captions. All of it is drawn before the first file is written.
func (a *app) writePictures(dir, of string, make func() []*draw.Picture) error {
	if info, err := os.Stat(dir); err == nil && !info.IsDir() {
		return usagef("--figures %s is a file: name a folder", dir)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("figures: %w", err)
	}
	pictures := make()
	files, err := drawFigures(pictures, of)
	if err != nil {
		return fmt.Errorf("figures: %w", err)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return fmt.Errorf("figures: %w", err)
	}
	for _, f := range files {
		err := replaceFile(filepath.Join(dir, f.name), func(w io.Writer) error {
			_, err := w.Write(f.body)
			return err
		})
		if err != nil {
			return err
		}
	}
	a.say("%d figures written to %s, each as SVG, PNG and PDF", len(pictures), dir)
	return nil
}

// drawFigures are the files of the pictures, the captions last.
func drawFigures(pictures []*draw.Picture, of string) ([]figureFile, error) {
	var files []figureFile
	var captions strings.Builder
	for _, p := range pictures {
		for _, as := range []struct {
			ending string
			write  func(io.Writer) error
		}{
			{".svg", p.WriteSVG},
			{".png", func(w io.Writer) error { return p.WritePNG(w, figureScale) }},
			{".pdf", p.WritePDF},
		} {
			var b bytes.Buffer
			if err := as.write(&b); err != nil {
				return nil, fmt.Errorf("%s%s: %w", p.Name, as.ending, err)
			}
			files = append(files, figureFile{p.Name + as.ending, b.Bytes()})
		}
		words := strings.TrimRight(p.Title, ".") + ". " + strings.TrimRight(p.Desc, ".")
		fmt.Fprintf(&captions, "%s: %s.\n", p.Name, strings.TrimRight(oneLine(words), "."))
	}
	return append(files, figureFile{captionsFile, []byte("Figures of " + of + "\n\n" + captions.String())}), nil
}

// oneLine keeps text of a robot from breaking out of its line.
func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
