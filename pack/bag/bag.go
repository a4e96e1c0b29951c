// Package bag reads and writes the tag files of an RFC 8493 bag (BagIt 1.0).
package bag
