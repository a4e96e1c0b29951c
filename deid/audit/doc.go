// Package audit measures what leaves: how far subjects can be told apart, what
// an attacker gets out of it, and whether each field was treated as the plan
// says.
//
// In: the files as the laboratory reads them, put into an [Output]. Out: a
// [Report], figures only. Callers need [Output.Add] and [Examine]. The search
// for leftover identifiers and the checks of treatments are written apart from
// deid and deid/leak on purpose, so that one fault does not blind both.
//
// Nothing here is a legal verdict.
package audit
