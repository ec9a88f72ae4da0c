// Package casefile keeps a case as an append-only journal: JSON lines, each
// written whole and synced before it counts.
//
// Record kinds:
//
//	opened  first line: what the case is about, with the texts it was opened on
//	event   a result, skip, undo, repair or giving up (engine.Event)
//	note    words of the person, no part in the reasoning
//
// A torn last line, as a power cut leaves it, is cut off when the case is
// opened for writing and passed over when it is read. A lock file next to the
// journal keeps a second writer out.
package casefile
