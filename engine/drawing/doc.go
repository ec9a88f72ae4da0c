// Package drawing draws a harness as SVG, so that it can be printed and taken
// to the vehicle: [Page.Harness] the wiring, [Page.Labels] the pin-outs of its
// connectors.
//
// The wiring is laid out in layers by distance from the supply. Between two
// layers runs a channel; a wire leaves its pin on a row of its own, turns on a
// vertical track of the channel, and enters the other pin on that one's row. A
// wire that passes a layer has a row in it too. Labels stand where only the
// wire's own row passes, so no line crosses a text. What does not fit the
// width of the page goes on in a band below; wires from band to band end in an
// arrow that names the far end.
//
// Nothing is told by colour, and equal harnesses give equal bytes.
package drawing
