// Package audit measures what leaves: how far subjects can be told apart, what
// an attacker gets out of it, and whether each field was treated as the plan
// says.
//
// In: the files as the laboratory reads them, put into an [Output]. Out: a
// [Report], figures only. Callers need [Output.Add] and [Examine]. The search
// for leftover identifiers and the checks of treatments do not use the code that
// they judge, so that one fault there does not blind both. They do share what reads
// JSON and ids (schema), EDF headers (schema/edf) and the figures of recordings
// (schema/breath), and deid's ledger, which says what is claimed to have been done.
//
// Nothing here is a legal verdict.
package audit
