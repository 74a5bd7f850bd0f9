package matchfile

import (
	"math"
	"math/bits"
	"slices"

	"github.com/parquet-go/parquet-go/encoding/rle"
)

// maxEntries is the largest dictionary: an index has at most 16 bits.
const maxEntries = 1 << 16

// dictionary numbers the distinct values of a column in order of first appearance. Values
// are told apart by their bits, so that NaNs and zeros of either sign keep theirs.
type dictionary struct {
	entries []uint64
	ids     []int32  // of each row
	slots   []uint32 // open addressing: 1 + index into entries, 0 where free
	shift   int      // 64 - log2(len(slots))
}

// index numbers values; false means that a dictionary would not pay.
func (d *dictionary) index(values []float64) bool {
	d.entries = d.entries[:0]
	d.ids = slices.Grow(d.ids[:0], len(values))[:len(values)]
	d.resize(1 << 10)
	last, id := uint64(0), int32(0)
	for i, v := range values {
		b := math.Float64bits(v)
		if b != last || i == 0 {
			last = b
			at := d.find(b)
			if d.slots[at] == 0 {
				if !pays(len(d.entries)+1, i, len(values)) {
					return false
				}
				d.entries = append(d.entries, b)
				d.slots[at] = uint32(len(d.entries))
				id = int32(len(d.entries) - 1)
				if 2*len(d.entries) > len(d.slots) {
					d.resize(4 * len(d.slots))
				}
			} else {
				id = int32(d.slots[at] - 1)
			}
		}
		d.ids[i] = id
	}
	return true
}

// pays is whether a dictionary is still worth it with so many entries in the first seen of
// all rows: an entry costs eight bytes, and each row one or two more. Noise in every bit
// is told by the first thousand rows.
func pays(entries, seen, rows int) bool {
	return entries <= min(rows/2, maxEntries) && entries <= 1024+seen/2
}

// find is the slot that holds b, or the free one where it belongs.
func (d *dictionary) find(b uint64) int {
	at := int(b * 0x9E3779B97F4A7C15 >> d.shift) // Fibonacci hashing: the product's high bits
	for d.slots[at] != 0 && d.entries[d.slots[at]-1] != b {
		at = (at + 1) & (len(d.slots) - 1)
	}
	return at
}

func (d *dictionary) resize(n int) {
	if cap(d.slots) < n {
		d.slots = make([]uint32, n)
	}
	d.slots = d.slots[:n]
	clear(d.slots)
	d.shift = 64 - bits.TrailingZeros(uint(n))
	for i, b := range d.entries {
		d.slots[d.find(b)] = uint32(i + 1)
	}
}

// appendIDs makes the body a page of dictionary indexes: their width in bits, then runs of the
// format's RLE/bit-packing hybrid. Up to 256 entries take whole bytes, although fewer bits
// would do: compression finds the repetitions of held and slow values in bytes, and saves
// more than narrow indexes would.
func (e *encoder) appendIDs(ids []int32, entries int) error {
	width := bits.Len(uint(entries - 1))
	if width > 0 && width < 8 {
		width = 8
	}
	runs, err := (&rle.Encoding{BitWidth: width}).EncodeInt32(e.runs[:0], ids)
	e.runs = runs
	e.body = append(append(e.body[:0], byte(width)), runs...)
	return err
}
