// Package edf reads and rewrites EDF and EDF+ recordings.
package edf
