// Package deid treats every field of a collection, searches the result for
// identifiers that slipped through, and releases what is clean.
//
// In: a schema.Collection and the site's pseudonym key. Out: a [Cleared], the
// only thing that can be sealed. Callers need [Treat] and [Release].
//
// A Cleared holds nothing that the search found, unless a person decided to keep it.
// Some other results do hold identifiers: [Passage], Traced.SubjectID and the result
// of [Known], which are for the site alone, and [Origin], which holds a whole record
// and is for the audit. They must not be logged, stored or sent.
//
// This package knows neither who has withdrawn nor which shipment numbers are in
// use: package site does, and a program that seals for a site uses its Seal.
// Without it, call [LeaveOut] before [Treat].
package deid
