package schema

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/santhosh-tekuri/jsonschema/v5"
)

// newCompiler returns the schema library configured for untrusted input: it loads nothing, and
// always checks formats, with our own functions.
func newCompiler() *jsonschema.Compiler {
	c := jsonschema.NewCompiler()
	c.Draft = jsonschema.Draft2020
	c.AssertFormat = true
	c.LoadURL = func(string) (io.ReadCloser, error) {
		return nil, errors.New("nothing is loaded from elsewhere")
	}
	for name, ok := range formats {
		c.Formats[name] = func(v any) bool {
			s, text := v.(string)
			return !text || ok(s)
		}
	}
	return c
}

const schemaURL = "outbreath:///schema.json"

// compile compiles a schema. The library panics on some schemas, which becomes an error.
func compile(c *jsonschema.Compiler, data []byte) (s *jsonschema.Schema, err error) {
	defer func() {
		if recover() != nil {
			err = errors.New("the schema library gave up")
		}
	}()
	if err := c.AddResource(schemaURL, bytes.NewReader(data)); err != nil {
		return nil, err
	}
	return c.Compile(schemaURL)
}

// run validates v against s. A nil result means that v is valid. The error is for a value that
// the library cannot judge.
func run(s *jsonschema.Schema, v any) (result *jsonschema.ValidationError, err error) {
	defer func() {
		if recover() != nil {
			err = errors.New("the schema library gave up")
		}
	}()
	switch err := s.Validate(v).(type) {
	case nil:
		return nil, nil
	case *jsonschema.ValidationError:
		return err, nil
	default:
		return nil, fmt.Errorf("the schema library gave up (%T)", err)
	}
}
