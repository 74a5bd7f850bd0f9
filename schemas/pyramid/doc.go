// Package pyramid answers what a signal looks like in so many pixel columns of a stretch of
// time, over millions of samples and without losing one spike: of every column the first,
// the last, the least and the greatest reading (M4: Jugel, Jerzak, Hackenbroich and Markl,
// PVLDB 7(10), 2014), exactly those that a pass over all samples would find.
//
// First and last stand at the edges of a column. For least and greatest, buckets of 16
// samples each know where theirs are, buckets of 4 such buckets again, and so on; a column
// is then a few whole buckets and at most 15 samples at each of its ends.
//
// # The file
//
// pyramid.bin lies beside the samples of a match and holds the lowest level of every
// signal that has numbers, half a bit a sample, and what can be said of each signal without
// reading it (Summary). It is derived: a reader that finds none, a damaged one or one of
// other samples builds what it needs from the samples, and nothing is lost but a moment.
//
//	mark         12 bytes: "afterbell\x00p\x01"
//	length       u32 LE, of the index
//	CRC-32C      u32 LE, of the index
//	index        JSON: signals_sha256 of the match file, and a Summary of each signal with
//	             the place and CRC-32C of its buckets
//	buckets      for each 16 samples one byte: where the least lies in the low four bits,
//	             the greatest in the high four; both point at a sample that is no reading
//	             when the bucket has none
package pyramid
