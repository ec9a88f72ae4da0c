// Package trial plays hidden causes and recorded readings through real courses:
// worked cases with the verdict that they must reach.
package trial
