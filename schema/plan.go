package schema

// TreatmentKind names what is done to a field before it leaves.
type TreatmentKind string

const (
	Keep      TreatmentKind = "keep"
	Drop      TreatmentKind = "drop"
	Pseudonym TreatmentKind = "pseudonym" // Purpose: subject, session, operator
	Shift     TreatmentKind = "shift"     // date or date-time
	Year      TreatmentKind = "year"      // date or date-time
	AgeBand   TreatmentKind = "age-band"  // Width in years; from a birth date and the session's date
	Region    TreatmentKind = "region"    // postal code prefix
	Round     TreatmentKind = "round"     // Width: to the nearest multiple
	Text      TreatmentKind = "text"      // leak-checked free text
	Recording TreatmentKind = "recording" // the name of a recording file, treated by its format's rules
)

// A Treatment is the value of the annotation keyword "deid".
type Treatment struct {
	Kind    TreatmentKind
	Purpose string // Pseudonym only
	Width   int    // AgeBand (1..50 years) and Round (1..100) only
}

// String gives the treatment in one or two words, for example "age-band 5".
func (t Treatment) String() string { panic("todo") }

// A Field is one leaf of a plan.
//
// Path is an RFC 6901 pointer in which "*" stands for every array index, for
// example "/tubes/*/barcode".
type Field struct {
	Path      string
	Treatment Treatment
	Risk      string   // "quasi", "sensitive" or ""
	Types     []string // JSON types the leaf accepts
	Format    string   // "date", "date-time" or ""
	Enum      bool     // only listed values are accepted
	Required  bool     // required in its object
	Why       string   // one plain sentence
}

// A Plan says what every field is and how it is treated.
type Plan struct {
	Name   string  // "shifted", "limited", "year-only", or the path of the study's own schema
	Fields []Field // in the order of the schema
	// unexported: the compiled validator, the outgoing schema, an index by path
	planInternals
}

type planInternals struct{}

// Builtin lists the names of the plans that come with the tool.
func Builtin() []string { return []string{"shifted", "limited", "year-only"} }

// LoadPlan returns the built-in plan called name.
func LoadPlan(name string) (*Plan, error) { panic("todo") }

// ParsePlan reads a study's own annotated JSON Schema (draft 2020-12). It
// refuses, with a *[ConfigError] that names the pointer in the schema: a leaf
// without a treatment, an unknown or unfitting treatment, an object that lets
// unnamed properties through, a reference that leaves the document, keywords
// that the library gets wrong, and a schema without the fields the tool itself
// needs (see CoreFields).
func ParsePlan(name string, data []byte) (*Plan, error) { panic("todo") }

// Field returns the leaf at path ("/tubes/*/barcode").
func (p *Plan) Field(path string) (Field, bool) { panic("todo") }

// Validate checks a record against the plan's schema, formats asserted, and
// returns its problems ordered by position, at most 100.
func (p *Plan) Validate(file string, n *Node) []Problem { panic("todo") }

// Outgoing returns the JSON Schema of the records that leave: dropped fields
// gone, pseudonyms, bands, years and recording names typed with patterns. It
// is itself valid 2020-12, and carries no "deid" annotation.
func (p *Plan) Outgoing() []byte { panic("todo") }

// A Validator is a compiled schema that may come from outside.
type Validator struct{}

// CompileOutgoing reads a schema that came with a shipment. No reference
// leaves the document; a schema that is too deep or too large is refused.
func CompileOutgoing(data []byte) (*Validator, error) { panic("todo") }

// Validate works like [Plan.Validate].
func (v *Validator) Validate(file string, n *Node) []Problem { panic("todo") }
