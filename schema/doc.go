// Package schema reads a collection folder: what the files are, whether they
// are what they should be, and which treatment the plan gives to every field.
//
// In: a folder. Out: a [Collection], in which every file is accepted, omitted
// (with the reason) or the subject of a [Problem]. Most callers need [Load], whose
// Collection has its Plan. Nothing here knows keys, pseudonyms or shipments.
//
// # Words
//
// A subject takes part in the study. A session is one visit in which breath is
// collected from a subject onto sorbent tubes; its record is one JSON file. A
// recording is the CO2 and pressure curve written while the tubes were filled.
// A plan is the annotated JSON Schema that says how each field is treated.
package schema
