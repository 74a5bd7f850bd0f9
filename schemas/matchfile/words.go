package matchfile

import (
	"encoding/binary"
	"math"
	"unsafe"
)

// word is what files and hashes hold in eight bytes, little-endian.
type word interface{ int64 | float64 }

// sameOrder is whether this machine holds words in memory as files do.
var sameOrder = binary.NativeEndian.Uint16([]byte{1, 0}) == 1

// littleEndian are the values as files hold them, without a copy where memory holds them so:
// ok is false where it does not.
func littleEndian[T word](values []T) (raw []byte, ok bool) {
	return unsafe.Slice((*byte)(unsafe.Pointer(unsafe.SliceData(values))), 8*len(values)), sameOrder
}

// appendWords appends the values as files hold them.
func appendWords[T word](dst []byte, values []T) []byte {
	if raw, ok := littleEndian(values); ok {
		return append(dst, raw...)
	}
	return appendSwapped(dst, values)
}

// appendSwapped is appendWords for machines with the other order of bytes.
func appendSwapped[T word](dst []byte, values []T) []byte {
	for _, v := range values {
		var bits uint64
		switch v := any(v).(type) {
		case int64:
			bits = uint64(v)
		case float64:
			bits = math.Float64bits(v)
		}
		dst = binary.LittleEndian.AppendUint64(dst, bits)
	}
	return dst
}
