// Command make writes the sample logs, their truth and their profiles into the folder it is
// given, sample-logs by default: run it from the project's folder as
//
//	go run ./sample-logs/make
package main

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"github.com/klauspost/compress/zstd"

	"github.com/afterbell/afterbell/sample-logs/sim"
)

func main() {
	os.Exit(run(os.Args[1:], os.Stdout, os.Stderr))
}

func run(args []string, stdout, stderr io.Writer) int {
	folder := "sample-logs"
	if len(args) > 0 {
		folder = args[0]
	}
	for _, s := range samples {
		if err := s.write(folder, stdout); err != nil {
			fmt.Fprintf(stderr, "%s: %v\n", s.scenario, err)
			return 1
		}
	}
	return 0
}

// write makes one sample: log, truth and the robot's profile.
func (s sample) write(folder string, stdout io.Writer) error {
	m, err := sim.Run(s.scenario, 0)
	if err != nil {
		return err
	}
	rows, err := s.rows(m)
	if err != nil {
		return err
	}
	packed, err := s.pack(rows)
	if err != nil {
		return err
	}
	truth, err := truthJSON(m)
	if err != nil {
		return err
	}
	for name, content := range map[string][]byte{
		s.file():                   packed,
		s.scenario + ".truth.json": truth,
		m.Robot + ".yaml":          m.Profile,
	} {
		if err := os.WriteFile(filepath.Join(folder, name), content, 0o644); err != nil {
			return err
		}
	}
	fmt.Fprintf(stdout, "%-22s %7d bytes, %7d samples\n", s.file(), len(packed), m.Log.Samples())
	return nil
}

// rows is the log as CSV.
func (s sample) rows(m *sim.Match) ([]byte, error) {
	var out bytes.Buffer
	form := writeLong
	if s.wide {
		form = writeWide
	}
	if err := form(&out, m.Log); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func (s sample) pack(rows []byte) ([]byte, error) {
	var out bytes.Buffer
	var w io.WriteCloser
	var err error
	if s.zstd {
		w, err = zstd.NewWriter(&out, zstd.WithEncoderLevel(zstd.SpeedBestCompression))
	} else {
		w, err = gzip.NewWriterLevel(&out, gzip.BestCompression)
	}
	if err != nil {
		return nil, err
	}
	if _, err := w.Write(rows); err != nil {
		return nil, err
	}
	if err := w.Close(); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}

func truthJSON(m *sim.Match) ([]byte, error) {
	out, err := json.MarshalIndent(m.Truth, "", " ")
	return append(out, '\n'), err
}
