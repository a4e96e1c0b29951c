package main

// harden and ownFilesOnly: Windows keeps access lists and writes no dump of a
// program that has not asked for one.
func harden()       {}
func ownFilesOnly() {}
