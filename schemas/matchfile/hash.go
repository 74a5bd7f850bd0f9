package matchfile

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"hash"

	"github.com/afterbell/afterbell/schemas"
)

// ContentSHA256 is the signals_sha256 of a log: it depends on names, units, kinds, boots,
// times and the bits of the values, and on nothing else (not on how a file holds them).
//
// A signal's own hash is SHA-256 over, all integers little-endian: "afterbell signal 1\n";
// name, unit and kind, each as u32 length and bytes; the number of samples, u64; the boots
// as runs of i32 boot, u64 samples; the times, i64; the values, float64 as their bits,
// int64 as i64, bool as one byte 0 or 1, text as u32 length and bytes. The hash of the log
// is SHA-256 over "afterbell signals 1\n" and the signals' hashes in order of name.
//
// The log must be normalized; an error says where it is not.
func ContentSHA256(log *schemas.Log) (string, error) {
	if err := check(log); err != nil {
		return "", err
	}
	sums := make([][sha256.Size]byte, len(log.Signals))
	err := inOrder(len(log.Signals), func() func(int) ([sha256.Size]byte, error) {
		return func(i int) ([sha256.Size]byte, error) { return signalHash(log.Signals[i]), nil }
	}, func(i int, sum [sha256.Size]byte) error {
		sums[i] = sum
		return nil
	})
	return logHash(sums), err
}

func logHash(sums [][sha256.Size]byte) string {
	h := sha256.New()
	h.Write([]byte("afterbell signals 1\n"))
	for _, sum := range sums {
		h.Write(sum[:])
	}
	return hex.EncodeToString(h.Sum(nil))
}

func signalHash(s *schemas.Signal) (sum [sha256.Size]byte) {
	w := hashWriter{h: sha256.New()}
	w.h.Write([]byte("afterbell signal 1\n"))
	w.text(s.Name)
	w.text(s.Unit)
	w.text(s.Kind.String())
	w.u64(uint64(s.Len()))
	for i := 0; i < s.Len(); {
		j := i + 1
		for j < s.Len() && (s.Boot == nil || s.Boot[j] == s.Boot[i]) {
			j++
		}
		w.u32(uint32(s.BootAt(i)))
		w.u64(uint64(j - i))
		i = j
	}
	hashWords(&w, s.Time)
	switch s.Kind {
	case schemas.Float64:
		hashWords(&w, s.Float)
	case schemas.Int64:
		hashWords(&w, s.Int)
	case schemas.Bool:
		for _, v := range s.Bool {
			w.byte(bit(v))
		}
	case schemas.Text:
		for _, v := range s.Text {
			w.text(v)
		}
	}
	w.flush()
	w.h.Sum(sum[:0])
	return sum
}

// hashWriter gathers small pieces, because a call of Write for each would cost more than
// the hash.
type hashWriter struct {
	h   hash.Hash
	n   int
	buf [8192]byte
}

func (w *hashWriter) flush() {
	w.h.Write(w.buf[:w.n])
	w.n = 0
}

// hashWords hashes integers, or floats by their bits: most of what a log holds.
func hashWords[T word](w *hashWriter, values []T) {
	if raw, ok := littleEndian(values); ok {
		w.flush()
		w.h.Write(raw)
		return
	}
	for len(values) > 0 {
		n := min(len(values), len(w.buf)/8)
		w.flush()
		w.n = len(appendWords(w.buf[:0], values[:n]))
		values = values[n:]
	}
}

func (w *hashWriter) u64(v uint64) {
	if w.n > len(w.buf)-8 {
		w.flush()
	}
	binary.LittleEndian.PutUint64(w.buf[w.n:], v)
	w.n += 8
}

func (w *hashWriter) u32(v uint32) {
	if w.n > len(w.buf)-4 {
		w.flush()
	}
	binary.LittleEndian.PutUint32(w.buf[w.n:], v)
	w.n += 4
}

func (w *hashWriter) byte(v byte) {
	if w.n == len(w.buf) {
		w.flush()
	}
	w.buf[w.n] = v
	w.n++
}

func (w *hashWriter) text(s string) {
	w.u32(uint32(len(s)))
	w.flush()
	w.h.Write([]byte(s))
}

func bit(v bool) byte {
	if v {
		return 1
	}
	return 0
}
