// Package deid treats every field of a collection, searches what is about to
// leave for identifiers that slipped through, and releases what is clean.
//
// In: a schema.Collection and the site's pseudonym key. Out: a [Cleared], the
// only thing that can be sealed. Callers need [Treat] and [Release]. Raw
// identifiers never go above this package.
package deid
