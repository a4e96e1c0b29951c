// Package registertest starts a PostgreSQL server for tests.
package registertest
