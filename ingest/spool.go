package ingest

import (
	"errors"
	"fmt"
	"io"
	"os"
)

// spool is a file that can be read at any place: raw itself if it is one and the bytes are not
// packed, else a copy of them that is gone after done.
func spool(raw io.Reader, text *unpacked, most int64) (f *os.File, size int64, done func(), err error) {
	if file, ok := raw.(*os.File); ok && text.packing == "" {
		if info, err := file.Stat(); err == nil && info.Mode().IsRegular() {
			return file, info.Size(), func() {}, nil
		}
	}
	if most == 0 {
		most = defaultUnpacked
	}
	f, err = os.CreateTemp("", "afterbell-import-*")
	if err != nil {
		return nil, 0, nil, fmt.Errorf("no room for a copy of what is packed or comes through a pipe: %w", err)
	}
	done = func() {
		f.Close()
		os.Remove(f.Name())
	}
	size, err = io.Copy(f, io.LimitReader(text, most+1))
	switch {
	case errors.Is(err, io.ErrUnexpectedEOF): // the packing is cut short, and so is what was in it
		err = nil
	case err == nil && size > most:
		err = fmt.Errorf("the file has more than %d bytes; split it", most)
	}
	if err != nil {
		done()
		return nil, 0, nil, err
	}
	return f, size, done, nil
}
