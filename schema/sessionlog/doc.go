// Package sessionlog turns the log that a site keeps of its sessions, in a
// spreadsheet or as text tables, into session records.
//
// In go a plan, from which the log's sheets and columns follow ([Columns],
// [Workbook]), and the tables of a log as they were read from its files ([Read]).
// Out comes a [Reading]: what was understood, a record a session as single values
// with the cell that each came from, the roster's rows, and, where a value can be
// read in two ways, a [Doubt] with the choices. Nothing is written here, and nothing
// is guessed: a cell that two readings fit is read only where another cell of its
// column, or of its table, settles it, or where a person has chosen ([Settings]).
//
// Equal logs give equal records, byte for byte, whatever their spelling: the order
// of columns, decimal comma or point, the form of dates.
//
// Words of everyday logs in English, German, French and Spanish are in the folder
// words: common practice, no source.
//
// No message holds the value of a cell, which may be somebody's name: a message
// names sheet and cell. Headings are named.
package sessionlog
