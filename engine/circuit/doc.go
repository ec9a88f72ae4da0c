// Package circuit knows the electricity: it solves the DC network of a harness,
// healthy or with a fault in it, and says what a meter reads there.
//
// A [Harness] is parts, wires and states with every value worked out. Its
// elements become branches of a linear network, each with its own unknown
// current (modified nodal analysis), so that a closed switch of 5 mohm and an
// insulation of 1e9 ohm stand in one matrix without loss. [Bench.Put] puts a
// fault in; the network is factored once for each state and every fault is a
// low-rank change to it. Parts that behave differently in different regions (a
// supply at its current limit, a controller asleep) are settled by a bounded
// search for a consistent set of regions.
//
// Every node has a conductance of [GMin] to the reference node, so that a
// floating node has one answer: it is stated here, it is in the deck of the
// outside check, and it is far below what a 10 Mohm meter draws.
//
// Units are SI throughout. The package imports nothing of ours.
package circuit
