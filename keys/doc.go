// Package keys keeps a site's or a laboratory's key folder: the pseudonym key,
// the signing key, age recipients and identities, and the list of signers that
// are trusted.
//
// In: a folder path and, where a key has one, a passphrase. Out: keys that can
// be used but not printed. Most callers need [Create] and [Open]. Nothing here
// knows records or shipments.
package keys
