// Package matchfile is signals.parquet: the samples of one match, written once and read
// in part many times.
//
// The file is an ordinary Parquet file of six columns, sorted by signal, boot and time:
//
//	signal      string            dictionary of one entry: a row group holds one signal
//	boot        int32             which power-up; dictionary of one entry where constant
//	time_us     int64             DELTA_BINARY_PACKED
//	value       double, optional  the sample as a number; null for text
//	value_int   int64, optional   DELTA_BINARY_PACKED, the exact value of an int64 signal
//	value_text  string, optional  the value of a text signal
//
// A signal has one row group, or several when it is longer than a group may be; a row
// group is the pages of its six columns in that order, each an optional dictionary page
// and one data page (version 2, with the CRC of the format). Values go through a
// dictionary where that pays, else plain; pages are compressed (zstd level 1) where that
// pays, which the page header says. Columns that are constant or all null in a row group
// cost some ten bytes, whatever its length.
//
//	"PAR1"
//	row group, row group, ...
//	guard        16 bytes: "afterbell\x00\x00\x01", CRC-32C of the footer (u32 LE)
//	footer       Thrift; its key-value metadata holds, besides what the caller gave,
//	             signals         JSON, an array of Info with the place of each row group
//	             signals_sha256  SHA-256 over the content, see ContentSHA256
//	footer length (u32 LE), "PAR1"
//
// The bytes between the last row group and the footer mean nothing to other readers.
// Each row group's place in the index carries its own CRC-32C, so that no damaged byte
// reaches a decoder: what Read returns is what was written, or an error. Another program
// can rewrite the file as Parquet, but then it is another file, and Open says so.
//
// Why not the general writer of the Parquet library: it takes every sample as a row, and
// builds the constant columns value by value, which costs more than the samples
// themselves. Here the library supplies the encodings and the format's structures, and
// this package puts pages together column by column. The benchmarks hold both.
package matchfile
