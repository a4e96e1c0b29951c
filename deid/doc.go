// Package deid treats every field of a collection, searches what is about to
// leave for identifiers that slipped through, and releases what is clean.
//
// In: a schema.Collection and the site's pseudonym key. Out: a [Cleared], the
// only thing that can be sealed. Callers need [Treat] and [Release].
//
// Nothing that the search found is in a Cleared, unless a person decided to keep it.
// These do hold identifiers: [Passage], Traced.SubjectID and what [Known] returns,
// for the site alone; [Origin], which holds a whole record, for the audit. They must
// not be logged, stored or sent.
//
// This package knows neither who has withdrawn nor which shipment numbers were
// given: package site does, and a program that seals for a site uses its Seal.
// Without it, call [LeaveOut] before [Treat].
package deid
