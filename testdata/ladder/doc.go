// Ladder measures, side by side, how long the circuit package and one process
// of ngspice take over the same work: a ladder of 500 rungs with 100 junctions,
// each of its 500 series wires open in turn, and the volts of every node each
// time. ngspice gets the ladder once and steps through the faults with `alter`,
// so that it neither starts nor reads a deck again. Both answers are compared.
//
//	go run ./testdata/ladder             # 500 rungs
//	go run ./testdata/ladder -rungs 100
//	go run ./testdata/ladder -curve      # ours only: cost of a fault by size
//
// Ours puts the faults in on all processors, as a person who waits would want
// it; ngspice is one process, as the bar says. So the program prints the time by
// the clock, which the bar is about, and the time that processors worked, which is
// the one to go by where the machine does other work too. Ours is the
// cheapest of the runs that -runs asks for. It exits with 1 when the two
// disagree or ngspice cannot be run.
package main
