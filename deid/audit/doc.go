// Package audit measures what leaves: how well subjects can be distinguished, what an
// attacker gains, and whether each field was treated as the plan requires.
//
// In: the files as the laboratory reads them, collected in an [Output]. Out: a
// [Report] of figures without identifiers. Callers need [Output.Add] and [Examine].
// The search for leftover identifiers and the checks of treatments do not use the code
// that they judge: a fault in that code does not affect them. They do share the code
// that reads JSON and ids (schema), EDF headers (schema/edf) and the figures of
// recordings (schema/breath), and deid's ledger, which is the claim that they check.
//
// Nothing here is a legal verdict.
package audit
