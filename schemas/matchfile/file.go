package matchfile

import (
	"bytes"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"maps"
	"math"
	"os"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/footer"
)

// File is an open match file. Its methods may be called from several goroutines at once,
// except Close.
type File struct {
	path    string
	r       io.ReaderAt
	close   func() error
	signals []Info
	meta    map[string]string
	sha256  string
}

// Open opens the match file at path. Only the footer is read and checked.
//
// An error is a *DamageError when the file is not a whole match file, else one of the
// operating system.
func Open(path string) (*File, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	info, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, err
	}
	file, err := NewFile(f, info.Size())
	if err != nil {
		f.Close()
		if damage := (*DamageError)(nil); errors.As(err, &damage) {
			damage.File = path
		}
		return nil, err
	}
	file.path, file.close = path, f.Close
	return file, nil
}

// NewFile is a match file of size bytes in r.
func NewFile(r io.ReaderAt, size int64) (*File, error) {
	raw, end, err := readFooter(r, size)
	if err != nil {
		return nil, err
	}
	f := &File{r: r, close: func() error { return nil }}
	if f.meta, err = footer.KeyValues(raw); err != nil {
		return nil, &DamageError{What: "the footer cannot be used", Err: err}
	}
	f.sha256 = f.meta[keySHA256]
	if f.signals, err = decodeIndex(f.meta[keySignals], end); err != nil {
		return nil, &DamageError{What: "the footer's list of signals cannot be used", Err: err}
	}
	delete(f.meta, keySHA256)
	delete(f.meta, keySignals)
	return f, nil
}

// Ours reports whether the Parquet file of size bytes in r carries the mark of this program's
// match files. One that does is opened with NewFile or is damaged; to one that another
// program has written anew it says no.
func Ours(r io.ReaderAt, size int64) bool {
	var tail [4]byte
	at := size - int64(len(tail)+len(magic))
	if at < 0 {
		return false
	}
	if _, err := r.ReadAt(tail[:], at); err != nil {
		return false
	}
	mark := make([]byte, len(guardMark))
	if at -= int64(binary.LittleEndian.Uint32(tail[:])) + int64(guardLen); at < 0 {
		return false
	}
	_, err := r.ReadAt(mark, at)
	return err == nil && string(mark) == guardMark
}

// readFooter returns the footer's bytes, checked against the guard before it, and where
// the data part of the file ends.
func readFooter(r io.ReaderAt, size int64) (raw []byte, end int64, err error) {
	const tailLen = 4 + len(magic)
	least := int64(len(magic) + guardLen + tailLen)
	if size < least {
		return nil, 0, &DamageError{What: fmt.Sprintf("the file has %d bytes, too few for a match file", size)}
	}
	guess := make([]byte, min(size, 256<<10)) // one read gets the whole footer of most files
	if _, err := r.ReadAt(guess, size-int64(len(guess))); err != nil {
		return nil, 0, err
	}
	tail := guess[len(guess)-tailLen:]
	if string(tail[4:]) != magic {
		return nil, 0, &DamageError{What: "the end of a Parquet file is missing: cut off, or another kind of file"}
	}
	length := int64(binary.LittleEndian.Uint32(tail))
	if length > size-least {
		return nil, 0, &DamageError{What: fmt.Sprintf("the footer claims %d bytes of a file of %d", length, size)}
	}
	whole := int64(guardLen) + length + int64(tailLen)
	if whole > int64(len(guess)) {
		guess = make([]byte, whole)
		if _, err := r.ReadAt(guess, size-whole); err != nil {
			return nil, 0, err
		}
	}
	guess = guess[int64(len(guess))-whole:]
	guard, raw := guess[:guardLen], guess[guardLen:int64(guardLen)+length]
	if !bytes.Equal(guard[:len(guardMark)], []byte(guardMark)) {
		return nil, 0, &DamageError{What: "a Parquet file, but not a match file as this program writes it"}
	}
	if binary.LittleEndian.Uint32(guard[len(guardMark):]) != crc32.Checksum(raw, castagnoli) {
		return nil, 0, &DamageError{What: "the footer is damaged: its checksum does not match"}
	}
	return raw, size - whole, nil
}

// recoverInto turns a panic of a decoder into an error.
func recoverInto(err *error) {
	if p := recover(); p != nil {
		*err = fmt.Errorf("decoder: %v", p)
	}
}

// Close closes the file.
func (f *File) Close() error { return f.close() }

// Signals describes all signals in order of name.
func (f *File) Signals() []Info { return slices.Clone(f.signals) }

// End is the time of the last sample of any signal, the least there is without samples.
func (f *File) End() int64 {
	end := int64(math.MinInt64)
	for _, s := range f.signals {
		if s.Samples > 0 {
			end = max(end, s.LastUS)
		}
	}
	return end
}

// Meta is the metadata given to Write.
func (f *File) Meta() map[string]string { return maps.Clone(f.meta) }

// SHA256 is the signals_sha256 that the file claims; Verify computes it.
func (f *File) SHA256() string { return f.sha256 }

// Verify reads every sample and says whether the content is the one whose hashes the file
// carries; the error is a *DamageError when it is not.
func (f *File) Verify() error {
	head := make([]byte, len(magic))
	if _, err := f.r.ReadAt(head, 0); err != nil {
		return err
	}
	if string(head) != magic { // which Read can do without, and other programs cannot
		return f.damage("the beginning of a Parquet file is damaged", nil)
	}
	log, err := f.Read()
	if err != nil {
		return err
	}
	sum, err := ContentSHA256(log)
	if err != nil {
		return f.damage("the samples are not in order", err)
	}
	if sum != f.sha256 {
		return f.damage("the samples are not those that were hashed: "+keySHA256+" differs", nil)
	}
	for i, s := range log.Signals {
		if sum := signalHash(s); f.signals[i].SHA256 != hex.EncodeToString(sum[:]) {
			return f.damage(fmt.Sprintf("the hash of signal %q differs", s.Name), nil)
		}
	}
	return nil
}

func (f *File) damage(what string, err error) error {
	return &DamageError{File: f.path, What: what, Err: err}
}

// find are the infos of the names asked for; all when there are none.
func (f *File) find(names []string) []Info {
	if len(names) == 0 {
		return f.signals
	}
	asked := map[string]bool{}
	for _, name := range names {
		asked[name] = true
	}
	out := make([]Info, 0, len(asked))
	for _, s := range f.signals {
		if asked[s.Name] {
			out = append(out, s)
		}
	}
	return out
}

// Read reads the signals of those names, or all; names the file does not have are left
// out. The log is normalized. Only the row groups of these signals are read, and a
// checksum is compared before they are decoded.
func (f *File) Read(names ...string) (*schemas.Log, error) {
	infos := f.find(names)
	log := &schemas.Log{}
	err := inOrder(len(infos), func() func(int) (*schemas.Signal, error) {
		d := decoder{file: f}
		return func(i int) (*schemas.Signal, error) { return d.signal(infos[i]) }
	}, func(_ int, s *schemas.Signal) error {
		log.Signals = append(log.Signals, s)
		return nil
	})
	if err != nil {
		return nil, err
	}
	return log, nil
}
