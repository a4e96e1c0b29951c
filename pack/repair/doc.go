// Package repair makes and uses repair data: blocks from which lost or altered
// blocks of a file, or of a file in parts, can be computed again.
//
// In: the parts. Out: one repair file, by [Encode]; later [Scan] says which
// bytes of the parts are damaged, and [Restore] writes the parts anew.
//
// # Format
//
// The file is a head, a section for each group of blocks, and the head again.
// The head is 512 bytes of text whose first line names the format. The parts
// are cut into blocks of 1024 bytes, each part beginning a new block, and the
// last block of a part is thought to be filled up with zero bytes. Runs of 256 blocks
// go to the groups in turn, so that a hole in the medium hits all groups alike.
// A section is a table, the repair blocks, and the table again; the table has 8
// bytes of SHA-256 of every block of the group, data first, and a SHA-256 of
// itself. Repair blocks are Reed-Solomon shards over GF(2^16).
//
// # Promise
//
// With n repair blocks in a group, any n of its blocks may be lost. Damage is
// counted in blocks: one altered byte costs one block. Equal parts and share
// give equal repair data. Nothing here proves who wrote what: compare what was
// restored with signed digests. Memory is bounded, about 64 MiB at most, and
// one bit for each block.
package repair
