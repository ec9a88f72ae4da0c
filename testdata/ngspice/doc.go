// Package ngspice is an outside oracle for the circuit model: it reads a
// harness file by itself, puts one named fault into it, writes a SPICE deck,
// has ngspice solve it and reads the answer back. It shares no code with the
// rest of the module, so that an error in one is not an error in both.
//
// Tests use it in two ways: to compare node voltages, and to play a broken
// vehicle against the program.
//
//	v, err := ngspice.Load("../harness/cart-tail.yaml")
//	b, err := v.Break(ctx, "wire w2 open", 0, "tail on")
//	r, err := b.Measure(ctx, []ngspice.Probe{{
//		Setup: ngspice.Setup{State: v.States()["tail on"], Power: "live"},
//		Mode:  "volts_dc", Red: "p1.1a", Black: "pack.minus",
//	}})
//
// # What the deck holds
//
// Every pin, the middle of every whole wire and the centre of every splice is
// a node with 1e12 ohm to ground. A node floating behind an open of 1e9 ohm
// feels them all: a hundred such nodes take a tenth of its voltage. Compare
// such nodes loosely, or with the meter on them.
//
// A resistance below 10 ohm is written as a voltage source controlled by its
// own current (H1 a b H1 0.005), which is the same thing to a circuit, and
// keeps small conductances exact beside large ones. Only the junctions of hall
// sensors and controllers bend. The steps of a controller's 5 V supply and of fuses are taken in Go, from one
// solution to the next.
//
// # Limits
//
// Power "limited" and the diode mode are not modelled. Amps are read only in
// the place of a fuse. A shorted or open lamp gives no light whatever its
// power. A fuse that blows in a later setup is whole again in the next one;
// only Break makes blown fuses last.
package ngspice
