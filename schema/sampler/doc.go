// Package sampler reads recordings as samplers write them: tables of text in
// many forms, and EDF.
//
// [Propose] looks at the beginning of a text table and says which column seems to
// be what, as a [Profile] that a person checks once, with a [Question] wherever
// the file leaves it open: nothing is guessed. [Convert] turns a table with its
// profile into the form that a collection holds, and its [Report] names every
// column that could not be used. [Look] says what a file tells about itself: when
// it began, how long it is, which sampler wrote it, and whose it is.
//
// What a file says about a person is only ever compared. No error, question or
// report of this package quotes a value; questions quote the headings of columns.
//
// Memory does not grow with the file: a line has at most 64 KiB, a table 500
// columns, and its head 1,000 lines.
package sampler

// Bounds of a text table.
const (
	MaxLine    = 64 << 10 // bytes of a line
	MaxColumns = 500
	MaxHead    = 1000    // lines before the first row of numbers
	HeadSize   = 1 << 20 // bytes that Propose and Look look at, at most
)
