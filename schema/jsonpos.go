package schema

// Kind is the JSON type of a [Node].
type Kind uint8

const (
	Null Kind = iota
	Bool
	Number
	String
	Object
	Array
)

// A Node is one JSON value and the place where it stands.
type Node struct {
	Kind         Kind
	Text         string   // String: the value; Number: the literal as written; Bool: "true" or "false"
	Members      []Member // Object: in the order written, names unique
	Items        []*Node  // Array
	Line, Column int      // from 1, where the value begins; column in characters
}

// A Member is one name and value of an object.
type Member struct {
	Name  string
	Value *Node
}

// A SyntaxError says where a text is not the strict JSON that we read.
type SyntaxError struct {
	Line, Column int
	Message      string // in plain words, without any value of the text
}

func (e *SyntaxError) Error() string { return e.Message }

// ParseJSON reads one strict JSON text (RFC 8259): valid UTF-8, no byte-order
// mark, no equal names in one object, nothing after the value. Bounds: 16 MiB,
// 64 levels, numbers of at most 64 bytes and three exponent digits.
// The error is a *[SyntaxError].
func ParseJSON(data []byte) (*Node, error) { panic("todo") }

// Member returns the value of the member called name, or nil.
func (n *Node) Member(name string) *Node { panic("todo") }

// At returns the value at an RFC 6901 pointer ("" is n itself), or nil.
func (n *Node) At(pointer string) *Node { panic("todo") }

// Value returns n as the schema library takes it: map[string]any, []any,
// string, json.Number, bool, nil.
func (n *Node) Value() any { panic("todo") }

// Encode writes n as JSON, indented by two spaces, members in their order, with
// a final line feed. Equal nodes give equal bytes. Characters are written as
// themselves except the JSON escapes, C0/C1 controls and U+2028/2029.
func (n *Node) Encode() []byte { panic("todo") }
