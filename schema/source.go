package schema

import "slices"

// BuiltinSchema returns the annotated schema of the built-in plans, with the treatments of
// the plan "shifted". The others have other treatments, and the same keywords.
func BuiltinSchema() []byte { return slices.Clone(sessionSchema) }
