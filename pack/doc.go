// Package pack seals a released collection into a shipment on removable media,
// and verifies and opens what arrived.
//
// In: a deid.Cleared, keys and a folder on the media; or a shipment folder. Out:
// a shipment whose signature was written last; or a [Verdict]. Callers need
// [Seal] and [Verify].
//
// This package knows neither who has withdrawn nor which shipment numbers were
// given: package site does, and a program that seals for a site uses its Seal.
//
// # Format
//
// A shipment is a folder named by its number. It holds READ-ME-FIRST.txt,
// shipment.json, the archive (NAME.tar.zst.age, or NAME.tar.zst.age.001 ... of
// which the concatenation is the archive), SHA256SUMS over all of these, and
// SHA256SUMS.sig, written last. The archive is an age file; inside are zstd
// frames one after another, each of 1 MiB or less of plain data that says its
// size; inside them one tar stream of plain files with constant marks; inside
// it one RFC 8493 bag, whose tag manifest is signed too. Of its payload,
// handling.csv and recordings/summary.json came later: a shipment without them
// is accepted. discrepancies.csv (barcode, kind, reason) is there only when the
// packer stated a tube that box and records do not share. A shipment sealed with
// repair data has NAME.repair (package repair) too, listed in shipment.json and
// SHA256SUMS.
//
// # Promise
//
// A laboratory with age, zstd, tar, sha256sum and ssh-keygen alone can check
// and open every shipment: READ-ME-FIRST.txt says how. Equal payload, keys and
// number give the same tar stream, byte for byte. A shipment in which any file
// was changed, cut, added or taken away is never accepted. What is not exactly
// of this form is rejected, even when the site signed it; nothing plain is
// written before everything held. Memory does not grow with the data.
package pack
