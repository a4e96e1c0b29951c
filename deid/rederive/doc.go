// Package rederive computes again what leaves a collection, and compares.
//
// In: the collection folder, the plan's fields, the site's pseudonym keys, the
// decisions on findings, and the files of a bag one after another. Out: a [Result],
// which says how many values and bytes were computed again and are equal, which differ,
// and which could not be computed, with the reason. Callers need [New],
// [Comparison.File] and [Comparison.Result].
//
// The code shares nothing with the code that treats: it has its own JSON reader,
// canonical form, key derivation, calendar, bands, regions and readers of EDF and CSV,
// written from the project's format description. Of this module it imports only the
// statement of a plan, schema.Field and schema.Treatment. A fault that both sides have
// must therefore be a fault of the description.
//
// A Result holds places and counts and no value: a place that a file names in a form
// that the tool does not write is described, not quoted.
package rederive
