package pack

import (
	"io"
	"strings"

	"outbreath/schema"
	"outbreath/schema/edf"
)

// A form proves that a recording is of its format while its bytes pass: the site
// may be broken or hostile, and what is called CSV could be a program.
type form interface {
	io.Writer // that never fails
	Close() error
}

// newForm returns the form of the recording called name, of size bytes.
func newForm(name string, size int64) form {
	if strings.HasSuffix(name, ".edf") {
		return edf.NewCheck(size)
	}
	return new(schema.CSVArrival)
}

// An arrivedForm is a CSV recording whose columns are still to be compared.
type arrivedForm struct {
	name string
	csv  *schema.CSVArrival
}

// recording notes that a recording is there, and of which form.
func (r *records) recording(name string, f form) {
	r.found[name] = false
	err := f.Close()
	if csv, ok := f.(*schema.CSVArrival); ok {
		r.forms = append(r.forms, arrivedForm{name, csv})
		return
	}
	if err != nil {
		what := "the file"
		if fault, ok := err.(*edf.FieldError); ok {
			what = fault.Field
		}
		r.problem("data/%s is not an EDF recording (%s)", name, what)
	}
}

// proveForms compares the CSV recordings with the columns that the schema declares.
func (r *records) proveForms(columns []schema.Column) {
	for _, f := range r.forms {
		fault := f.csv.Fault(columns)
		switch {
		case fault == nil:
		case fault.Line > 0:
			r.problem("data/%s is not a table of numbers under the columns that the schema declares: line %d (%s)",
				f.name, fault.Line, fault.Rule)
		default:
			r.problem("data/%s is not a table of numbers under the columns that the schema declares (%s)", f.name,
				fault.Rule)
		}
	}
	r.forms = nil
}
