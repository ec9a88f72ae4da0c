// Package rules reads the rule language: part files, harness files, guides and
// the list of sources. All are YAML, read strictly: an unknown key, a
// duplicate, a pin that is not there, a value that cannot be and a condition
// that does not compile are each a [Problem] with file, line and column, and a
// file's problems are all reported at once, as [Problems].
//
// Expressions are compiled once, typed, and bounded in nodes and memory; files
// are bounded in size, depth and nodes. Nothing in a file can run a program,
// read another file or reach a network.
package rules
