// Package keys keeps a site's or a laboratory's key folder: the pseudonym key,
// the signing key, age recipients and identities, and the list of signers that
// are trusted.
//
// In: a folder path and, where a key has one, a passphrase. Out: keys that can
// be used but not printed. Most callers need [Create] and [Open]; then, at a site,
// [Folder.PseudonymKey], [Folder.Recipients] and [Folder.Signer]; at a laboratory,
// [Folder.Allowed] and [Folder.Identities]. Nothing here knows records or shipments.
//
// Secrets are wiped where Go allows it: passphrases and key texts that this package reads
// or makes. It cannot wipe what filippo.io/age and x/crypto keep of a key in use, strings,
// or copies that the runtime has moved. For those the program relies on a process that ends
// soon, writes no core dump and cannot be read by others.
package keys
