package home

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"regexp"

	"github.com/afterbell/afterbell/schemas"
)

// A sheet ends with a comment that says which report it shows, and by which it is told
// whole:
//
//	<!-- afterbell seal="3" report_sha256="..." sheet_sha256="..." -->
//
// seal and report_sha256 are those of report.json, sheet_sha256 is that of all bytes before
// the comment, both in hexadecimal.
const sheetSeal = "<!-- afterbell seal=%q report_sha256=%q sheet_sha256=%q -->\n"

var sealAtEnd = regexp.MustCompile(`<!-- afterbell seal="(\d*)" report_sha256="([0-9a-f]{64})" sheet_sha256="([0-9a-f]{64})" -->\n$`)

// WriteSheet writes the page that render writes, and behind it the comment that seals it as
// the sheet of that report. report is report.json as it is written.
func WriteSheet(w io.Writer, seal string, report []byte, render func(io.Writer) error) error {
	sum := sha256.New()
	if err := render(io.MultiWriter(w, sum)); err != nil {
		return err
	}
	_, err := fmt.Fprintf(w, sheetSeal, seal, sum256(report), hex.EncodeToString(sum.Sum(nil)))
	return err
}

func sum256(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// sheet checks that the page is whole and shows the report, whose bytes are given.
func (v *verifier) sheet(page []byte, seal string, report []byte) {
	at := bytes.LastIndex(page, []byte("<!--"))
	found := sealAtEnd.FindSubmatchIndex(page[max(at, 0):])
	if found == nil || found[0] != 0 {
		v.say(schemas.SheetFile, "the seal at its end is missing: cut off, or written by another program")
		return
	}
	part := func(i int) string { return string(page[at+found[2*i] : at+found[2*i+1]]) }
	switch {
	case part(3) != sum256(page[:at]):
		v.say(schemas.SheetFile, "it is damaged: sheet_sha256 differs")
	case part(1) != seal:
		v.say(schemas.SheetFile, "its seal is %q, that of %s is %q", part(1), schemas.ReportFile, seal)
	case part(2) != sum256(report):
		v.say(schemas.ReportFile, "it is not as it was when %s was made of it: damaged, or changed by hand", schemas.SheetFile)
	}
}
