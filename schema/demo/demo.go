// Package demo makes invented collections from a seed.
package demo
