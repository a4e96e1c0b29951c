// Package sheet reads and writes tables as people keep them: workbooks (Office
// Open XML, .xlsx) and text tables (values parted by commas, semicolons or
// tabs).
//
// In goes the whole file as bytes, out come tables of cells, as stored and as
// shown: [Read]. What a cell means, which column is which field, whether 03.04.
// is in March or in April, is not decided here. Out goes a workbook to be
// filled in: [Write].
//
// Read trusts nothing. It goes by what the bytes are and not by the file's
// name, never follows a link out of the file, never computes a formula and
// never runs a macro. A file of any content takes at most 200 MB of memory; what
// is not read is refused with a *[Refusal], which says where and what to do.
//
// Sources: ECMA-376 Part 1 (SpreadsheetML) and Part 2 (packages); RFC 4180
// (text/csv). That "sep=;" in a first line names the separator, and that a text
// of bytes which is no UTF-8 is mostly Windows-1252, is common practice, no
// source.
package sheet

// Bounds of what Read accepts.
const (
	MaxFile    = 64 << 20 // bytes of a workbook's file
	MaxText    = 16 << 20 // bytes of a text table
	MaxSheets  = 20       // of a workbook
	MaxRows    = 20_000   // of a table, headings included
	MaxColumns = 500      // of a table
	MaxCells   = 250_000  // of a file, all tables together, formatted empty cells included
	MaxCell    = 32_767   // UTF-16 units in a cell, the bound that spreadsheet programs keep
)
