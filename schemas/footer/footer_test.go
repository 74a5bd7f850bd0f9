package footer

import (
	"bytes"
	"encoding/binary"
	"runtime"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

type record struct {
	Name   string   `parquet:"name,dict"`
	Values []string `parquet:"values,list"`
	Ratio  *float64 `parquet:"ratio,optional"`
}

func sample(t *testing.T) []byte {
	var b bytes.Buffer
	w := parquet.NewGenericWriter[record](&b, parquet.KeyValueMetadata("key", "value"),
		parquet.KeyValueMetadata("empty", ""), parquet.KeyValueMetadata("", "no key"))
	for range 3 {
		_, err := w.Write([]record{{Name: "a", Values: []string{"x", "y"}}, {Name: "b"}})
		require.NoError(t, err)
		require.NoError(t, w.Flush())
	}
	require.NoError(t, w.Close())
	return b.Bytes()
}

func check(b []byte) error { return Check(bytes.NewReader(b), int64(len(b))) }

func TestWholeFilesPass(t *testing.T) {
	require.NoError(t, check(sample(t)))
}

func TestKeyValues(t *testing.T) {
	raw := sample(t)
	end := len(raw) - tailLen
	got, err := KeyValues(raw[end-int(binary.LittleEndian.Uint32(raw[end:])) : end])
	require.NoError(t, err)
	assert.Equal(t, map[string]string{"key": "value", "empty": "", "": "no key"}, got)
}

func TestTruncationsFail(t *testing.T) {
	raw := sample(t)
	for n := range raw {
		require.Error(t, check(raw[:n]), "cut off at byte %d", n)
	}
}

// A list that claims more than the file has is what ends a process: the smallest such
// footer, {4: list of 2^31-1 structures}, the row groups of Parquet's FileMetaData.
func TestImpossibleListsFail(t *testing.T) {
	footer := binary.AppendUvarint([]byte{0x49, 0xfc}, 1<<31-1)
	assert.EqualError(t, CheckThrift(footer), "the footer is damaged near its byte 7 of 7: a list of 2147483647 in 0 bytes")
	deep := bytes.Repeat([]byte{0x1c}, 1000) // a structure in a structure in a structure
	assert.ErrorContains(t, CheckThrift(deep), "nested deeper than 24")
	deep = bytes.Repeat([]byte{0x19}, 1000)
	assert.ErrorContains(t, CheckThrift(deep), "nested deeper than 24")
}

// What passes the check costs the library memory in proportion, whichever byte is flipped.
func TestWhatPassesIsBounded(t *testing.T) {
	raw := sample(t)
	footer := len(raw) - tailLen - int(binary.LittleEndian.Uint32(raw[len(raw)-tailLen:]))
	passed := 0
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for i := footer; i < len(raw); i++ {
		for _, mask := range []byte{0x01, 0x10, 0x80, 0xff} {
			raw[i] ^= mask
			if check(raw) == nil {
				passed++
				openRecovered(raw)
			}
			raw[i] ^= mask
		}
	}
	runtime.ReadMemStats(&after)
	require.Positive(t, passed)
	each := (after.TotalAlloc - before.TotalAlloc) / uint64(passed)
	assert.Less(t, each, uint64(4<<20), "bytes allocated for a file of %d", len(raw))
}

func openRecovered(raw []byte) {
	defer func() { _ = recover() }()
	_, _ = parquet.OpenFile(bytes.NewReader(raw), int64(len(raw)))
}

// Whatever passes the check may be refused by the library, but not end the process.
func FuzzCheckThrift(f *testing.F) {
	f.Add([]byte{0x15, 0x04, 0x19, 0x2c, 0x00})
	f.Add([]byte{0x49, 0xfc, 0x03, 0x00, 0x00, 0x00, 0x00})
	f.Fuzz(func(t *testing.T, b []byte) {
		if CheckThrift(b) != nil {
			return
		}
		raw := append([]byte(magic), b...)
		raw = binary.LittleEndian.AppendUint32(raw, uint32(len(b)))
		raw = append(raw, magic...)
		require.NoError(t, check(raw))
		openRecovered(raw)
	})
}
