// Package container keeps a trace small: without loss, and readable from any
// row on. What follows is all that another program needs to read it.
//
// # Numbers and parts
//
// A uvarint is an unsigned number in groups of seven bits, the lowest first;
// the highest bit of a byte says that another one follows (ten bytes at most,
// no longer than needed). A varint is a signed number n as the uvarint 2n, or
// -2n-1 where n is negative. A float is 8 bytes, IEEE 754 binary64, the lowest
// first. A text is a uvarint, its length in bytes, and so many bytes of UTF-8.
// Sums of whole numbers are taken modulo 2^64.
//
// A container is the 8 bytes "dbtrace" 0x01, where the last byte is the
// version of this layout, and then parts, each
//
//	1 byte   its kind: 'H' the head, 'B' a block, 'I' the index
//	4 bytes  length n of the content, the lowest byte first
//	n bytes  content
//	4 bytes  CRC-32C (Castagnoli; polynomial 0x1EDC6F41, reflected, as in
//	         RFC 9260, appendix A) of all the part's bytes before it, the
//	         lowest first
//
// in this order: the head, one or more blocks, the index. Last come 8 bytes,
// where the index begins, counted from the container's first byte, the lowest
// first, and the 8 bytes "dbt-end" 0x01. When the end was lost, the parts can
// still be read from the front, up to the last whole block.
//
// # Packed bytes
//
// n bytes, n being known from elsewhere, are packed as one byte and
//
//	0  the one byte that all of them are
//	1  the n bytes as they are
//	2  a uvarint, the length of what follows, and one frame of Zstandard
//	   (RFC 8878) that states its content size n and uses no dictionary
//
// # Head
//
// A uvarint n and n bytes, packed. They hold a uvarint, the number of comment
// lines, and for each two texts, its key and its value; then a uvarint, the
// number of columns, and for each one byte, 0 for numbers or 1 for texts, and
// a text, its name.
//
// # Block
//
// A block holds up to 65536 rows, and no more than 4194304 cells (rows times
// columns). It can be read alone, given the head:
//
//	uvarint  number of its first row in the trace, from 0
//	uvarint  number of its rows, n
//	float    time (column t_s) of its first row
//	float    time of its last row
//
// and then for each column a uvarint, the length of its content in bytes, and
// the content.
//
// # Column of numbers
//
// One byte says which rows hold a number; the others were not sampled, which
// is NaN in memory and an empty cell in the CSV: 0 all, 1 none (the content
// ends here), 2 a bit a row, (n+7)/8 bytes packed, the lowest bit first, 1
// where there is a number; unused bits are 0. Then the numbers that there are,
// as a list. A list of n numbers is one byte and
//
//	0  constant: a float, which all of them are
//	1  decimals: one byte, k (0 to 22), and n codes. The code c stands for
//	   c/10^k, rounded once as IEEE 754 does; a negative one for
//	   -(-c-1)/10^k, so that -1 is the negative zero. |c| is at most 2^53.
//	2  choice: a uvarint, d, a list of d numbers that is no choice itself, and
//	   n codes: which of the d numbers, from 0
//	3  bits: n codes, each a float's bits as a signed whole number
//
// # Codes
//
// n whole numbers of 64 bits, signed. One byte, the order:
//
//	0  a varint, b; code i is b + u(i), with u unsigned
//	1  a varint, b; code 0 is b, code i is code i-1 plus z(i)
//	2  two varints, b and s; code 0 is b; the steps between codes begin with
//	   s + z(1), and each next one is the one before plus z(i)
//
// In orders 1 and 2, z(i) is u(i)/2 for an even u(i) and -(u(i)+1)/2 for an
// odd one; what of u stands before those used is 0. u follows as planes: one
// byte, w (0 to 8), and w times n bytes packed: first the lowest byte of each
// u, then the next, and so on. Bytes above the w-th are 0.
//
// # Column of texts
//
//	uvarint  number of different texts, d
//	uvarint  length of all of them together, n
//	n bytes packed: the d texts
//	codes    which of the d texts each row holds, from 0
//
// # Index
//
// A uvarint, the number of blocks, and for each the uvarint length of its part
// (with kind, length and checksum), the uvarint number of its rows, and two
// floats, the times of its first and last row. The first block begins behind
// the head; each other one behind the one before.
//
// # What it holds
//
// All that makes the trace's CSV: comment lines, columns and cells. A number
// keeps all its bits, but for those inside a NaN. What a trace says of itself
// beside (missing values, resolution, warnings) is found anew, as reading the
// CSV would. Checksums find damage, not forgery: that is the log's part.
package container
