// Package pack seals a released collection into a shipment on removable media,
// and verifies and opens what arrived.
//
// In: a deid.Cleared, keys and a folder on the media; or a shipment folder. Out:
// a shipment whose signature was written last; or a [Verdict]. Callers need
// [Seal] and [Verify].
//
// # Format
//
// A shipment is a folder named by its number. It holds READ-ME-FIRST.txt,
// shipment.json, the archive (NAME.tar.zst.age, or NAME.tar.zst.age.001 ... of
// which the concatenation is the archive), SHA256SUMS over all of these, and
// SHA256SUMS.sig. The archive is an age file; inside are zstd frames one after
// another; inside them one tar stream; inside it one RFC 8493 bag.
package pack
