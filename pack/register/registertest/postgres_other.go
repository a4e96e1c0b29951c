//go:build !unix

package registertest

import "testing"

// Postgres skips the test: the server is started on Unix alone.
func Postgres(t testing.TB) func() string {
	t.Skip("the server is started on Unix alone")
	return nil
}
