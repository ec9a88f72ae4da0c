// Package coverage measures what a guide can find: it plays every cause through
// real courses, names what is not told apart, and counts the checks against the
// fewest that entropy allows.
package coverage
