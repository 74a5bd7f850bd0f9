package matchfile

import (
	"bytes"
	"errors"
	"hash/crc32"
	"os"
	"path/filepath"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// smallLog has a signal of each kind, pages with and without a dictionary, two boots.
func smallLog() *schemas.Log {
	full := benchlog(0.5)
	log := &schemas.Log{}
	for _, name := range []string{"bus/voltage/00", "game/count/03", "imu/rate/00", "path/beam/00", "pose/03", "robot/mode/01"} {
		log.Signals = append(log.Signals, full.Find(name))
	}
	rate := log.Signals[2]
	rate.Boot = make([]int32, rate.Len())
	for i := rate.Len() / 2; i < rate.Len(); i++ {
		rate.Boot[i] = 1
	}
	return log
}

func readAll(b []byte) (*schemas.Log, error) {
	f, err := NewFile(bytes.NewReader(b), int64(len(b)))
	if err != nil {
		return nil, err
	}
	return f.Read()
}

func TestEveryTruncationIsNoticed(t *testing.T) {
	raw := write(t, smallLog(), nil)
	for n := range raw {
		_, err := readAll(raw[:n])
		damage := (*DamageError)(nil)
		require.True(t, errors.As(err, &damage), "cut off at byte %d of %d: %v", n, len(raw), err)
	}
}

// A flipped byte gives an error or changes nothing that is read: never other data.
func TestEveryFlippedByteIsNoticed(t *testing.T) {
	log := smallLog()
	raw := write(t, log, map[string]string{"seal": "1"})
	unnoticed := 0
	for i := range raw {
		for _, mask := range []byte{0x01, 0xff} {
			raw[i] ^= mask
			got, err := readAll(raw)
			raw[i] ^= mask
			if err == nil {
				unnoticed++
				require.True(t, sameLog(log, got), "byte %d xor %#x gave other data", i, mask)
				continue
			}
			damage := (*DamageError)(nil)
			require.True(t, errors.As(err, &damage), "byte %d xor %#x: %v", i, mask, err)
		}
	}
	assert.LessOrEqual(t, unnoticed, 2*len(magic), "only the opening magic is not looked at")
}

// The opening magic is not needed to read the samples, but other readers of Parquet look
// for it first (Parquet format, section File format), so Verify does.
func TestVerifyLooksAtTheOpeningMagic(t *testing.T) {
	raw := write(t, smallLog(), nil)
	require.NoError(t, open(t, raw).Verify())
	for i := range magic {
		raw[i] ^= 1
		damage := (*DamageError)(nil)
		require.ErrorAs(t, open(t, raw).Verify(), &damage)
		raw[i] ^= 1
	}
}

// A decoder must refuse or decode whatever bytes it gets, also when the checksum before it
// has let them through.
func TestDecodersStandDamage(t *testing.T) {
	f := open(t, write(t, smallLog(), nil))
	refused := 0
	for _, info := range f.signals {
		p := info.places[0]
		group := make([]byte, p.Bytes)
		_, err := f.r.ReadAt(group, p.Offset)
		require.NoError(t, err)
		for i := range group {
			for _, mask := range []byte{0x01, 0x04, 0x80, 0xff} {
				group[i] ^= mask
				in := info
				in.places = []place{{Bytes: len(group), Rows: p.Rows, CRC32C: crc32.Checksum(group, castagnoli)}}
				d := decoder{file: &File{r: bytes.NewReader(group)}}
				s, err := d.signal(in)
				group[i] ^= mask
				if err != nil {
					refused++
					continue
				}
				require.Equal(t, p.Rows, s.Len())
				require.True(t, wellFormed(s))
			}
		}
	}
	assert.Positive(t, refused)
}

// wellFormed is whether every sample has a value and a boot.
func wellFormed(s *schemas.Signal) bool {
	return len(s.Float)+len(s.Int)+len(s.Bool)+len(s.Text) == s.Len() && (s.Boot == nil || len(s.Boot) == s.Len())
}

func TestOtherFilesAreTold(t *testing.T) {
	dir := t.TempDir()
	foreign := filepath.Join(dir, "foreign.parquet")
	require.NoError(t, parquet.WriteFile(foreign, []row{{Signal: "a"}}))
	prose := filepath.Join(dir, "prose.txt")
	require.NoError(t, os.WriteFile(prose, []byte("time_s,signal,value\n1.25,power/voltage,11.9\n"), 0o644))
	empty := filepath.Join(dir, "empty")
	require.NoError(t, os.WriteFile(empty, nil, 0o644))
	for path, want := range map[string]string{
		foreign: "a Parquet file, but not a match file as this program writes it",
		prose:   "the end of a Parquet file is missing: cut off, or another kind of file",
		empty:   "the file has 0 bytes, too few for a match file",
	} {
		_, err := Open(path)
		assert.EqualError(t, err, path+": "+want)
	}
	_, err := Open(filepath.Join(dir, "absent"))
	assert.ErrorIs(t, err, os.ErrNotExist)
}

// Verify finds content that was exchanged with all checksums in order.
func TestVerifyComparesTheContent(t *testing.T) {
	f := open(t, write(t, smallLog(), nil))
	require.NoError(t, f.Verify())
	f.sha256 = "0" + f.sha256[1:]
	assert.ErrorContains(t, f.Verify(), "signals_sha256 differs")
}
