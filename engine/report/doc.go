// Package report writes the fault report of a case: what was seen, measured
// and found, how it was mended and proven, on which versions.
package report
