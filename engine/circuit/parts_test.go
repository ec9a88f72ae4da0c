package circuit_test

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine/circuit"
	"probable/kb"
	"probable/rules"
)

// onBench is one kind of part, named x, in the least harness that shows what it
// does, and what a meter or a person sees there. Wires are "from>to", w1 and so
// on, too short to matter unless a gauge and metres follow.
//
// A row is "fault | settings | what is asked | answer". The fault is a mode of
// x, or a whole ID; @n is its n-th point (an added resistance of 1 to 100 ohm is
// 10 at @2), else the first. Asked is volts, ohms, diode (red, black; black is
// ground if left out), amps (a fuse) or shows (an indicator). The answer is
// "lowest highest", OL or a word. All answers are worked out by hand from the
// part's own values; the junctions' are those of the trade: silicon 0.5 to 0.8 V
// on a diode test (source latch-diode-range), a red LED 1.8 to 2.4 V at its
// current (source latch-led-reverse).
type onBench struct {
	kind, parts string
	wires, rows []string
}

const (
	pack12 = "pack: {kind: battery, volts: 12, inner_ohms: 0.1}, r: {kind: resistor, ohms: 12}, "
	pack36 = "pack: {kind: battery, volts: 36, inner_ohms: 0.1}, r: {kind: resistor, ohms: 12}, "
	pack5  = "pack: {kind: battery, volts: 5, inner_ohms: 0.001}, r: {kind: resistor, ohms: 47000}, "
)

// inLine are the wires of a part with pins a and b in front of 12 ohm at 12 V:
// the load gets 11.9 V, 6.5 V behind 10 ohm more, nothing behind an open.
var inLine = []string{"pack.plus>x.a", "x.b>r.a", "r.b>pack.minus"}

// contact are the rows of a plain contact, closed in one setting.
func contact(open, closed string) []string {
	return []string{
		"| x=" + open + " | volts r.a | 0 0.01",
		"| x=" + closed + " | volts r.a | 11.8 12",
		"| x=" + open + " | ohms x.a x.b | OL",
		"| x=" + closed + " | ohms x.a x.b | 0.2 0.31",
		"stuck open | x=" + closed + " | volts r.a | 0 0.01",
		"stuck closed | x=" + open + " | volts r.a | 11.8 12",
		"resistive@2 | x=" + closed + " | volts r.a | 6.45 6.55",
	}
}

var benches = []onBench{
	{"battery", "x: {kind: battery, volts: 36}, r: {kind: resistor, ohms: 36}", []string{"x.plus>r.a", "r.b>x.minus"}, []string{
		"| | volts x.plus | 35.85 35.95",
		"no output@0 | | volts x.plus | 0 0.01",
		"no output@1 | | volts x.plus | 0 0.01",
		"low@0 | | volts x.plus | 32.2 32.4",
		"low@3 | | volts x.plus | 10.7 10.8",
	}},
	{"bms-pack", "x: {kind: bms-pack, cells: 10}, s: {kind: switch}, r: {kind: resistor, ohms: 10}", []string{"x.plus>s.a", "s.b>r.a", "r.b>x.minus"}, []string{
		"| | volts x.plus | 36.9 37.1",
		"| s=closed | volts x.plus | 36.55 36.7",
		"cut off@0 | | volts x.plus | 0.33 0.38", // 37 V over 1e9 and the meter's 10 Mohm
		"cut off@1 | | volts x.plus | 33.2 33.8", // nearly all of it, and nothing under load
		"cut off@1 | s=closed | volts x.plus | 0 0.01",
		"sags@2 | s=closed | volts x.plus | 32.5 32.8", // 1.22 ohm more
		"one group dead | | volts x.plus | 33.2 33.4",
		"low@1 | | volts x.plus | 27.6 27.9",
	}},
	{"breaker", pack12 + "x: {kind: breaker, amps: 10}", inLine, []string{
		"| | volts r.a | 11.8 12",
		"| x=open | volts r.a | 0 0.01",
		"| x=closed | volts r.a | 11.8 12",
		"tripped | | volts r.a | 0 0.01",
		"stuck closed | x=open | volts r.a | 11.8 12",
		"resistive@2 | | volts r.a | 6.45 6.55",
	}},
	{"bus-bar", pack12 + "x: {kind: bus-bar}", []string{"pack.plus>x.plus_1", "x.plus_2>r.a", "r.b>x.minus_1", "x.minus_2>pack.minus"}, []string{
		"| | volts r.a r.b | 11.8 12",
		"| | ohms x.plus_1 x.plus_2 | 0.2 0.21",
		"way x.plus_2 open | | volts r.a | 0 0.01",
		"way x.minus_1 open | | volts r.b | 11.9 12.1",
		"way x.plus_1 resistive@2 | | volts r.a | 6.45 6.55",
		"ways x.plus x.minus bridged | | ohms x.plus_1 x.minus_1 | 0.2 0.23",
	}},
	{"button", pack12 + "x: {kind: button}", inLine, contact("released", "pressed")},
	{"changeover", pack12 + "x: {kind: changeover}, q: {kind: resistor, ohms: 12}", []string{"pack.plus>x.common", "x.a>r.a", "x.b>q.a", "r.b>pack.minus", "q.b>pack.minus"}, []string{
		"| x=a | volts r.a | 11.8 12", "| x=a | volts q.a | 0 0.01",
		"| x=b | volts r.a | 0 0.01", "| x=b | volts q.a | 11.8 12",
		"a open | x=a | volts r.a | 0 0.01",
		"b open | x=b | volts q.a | 0 0.01",
		"stuck at a | x=b | volts r.a | 11.8 12",
		"stuck at b | x=a | volts q.a | 11.8 12",
		"a resistive@2 | x=a | volts r.a | 6.45 6.55",
		"b resistive@2 | x=b | volts q.a | 6.45 6.55",
	}},
	{"chassis", pack12 + "x: {kind: chassis}", []string{"pack.plus>r.a", "r.b>x.seat", "x.strap>pack.minus"}, []string{
		"| | volts x.seat | 0 0.01",
		"way x.seat open | | volts x.seat | 11.9 12.1", // the frame's own point is up to the supply
		"way x.strap resistive@2 | | volts x.seat | 5.35 5.5",
	}},
	{"cluster", pack12 + "x: {kind: cluster, volts: 12, tail_watts: 1, stop_watts: 3, turn_watts: 3}, s: {kind: switch}, t: {kind: switch}",
		[]string{"pack.plus>x.plus", "x.tail>pack.minus", "x.stop>s.a", "s.b>pack.minus", "x.turn>t.a", "t.b>pack.minus"}, []string{
			"| | shows x.tail | lit", "| | shows x.stop | dark", "| s=closed | shows x.stop | lit", "| t=closed | shows x.turn | lit",
			"tail open | | shows x.tail | dark",
			"stop open | s=closed | shows x.stop | dark",
			"turn open | t=closed | shows x.turn | dark",
			"tail to stop | | shows x.stop | lit",
		}},
	{"connector", pack12 + "x: {kind: connector, ways: 2}", []string{"pack.plus>x.1a", "x.1b>r.a", "r.b>x.2b", "x.2a>pack.minus"}, []string{
		"| | volts r.a r.b | 11.8 12",
		"way x.1 open | | volts r.a | 0 0.01",
		"way x.2 open | | volts x.2b | 11.9 12.1",
		"way x.1 resistive@2 | | volts r.a | 6.45 6.55",
		"ways x.1 x.2 swapped | | volts r.a r.b | -12 -11.8",
		"ways x.1 x.2 bridged | | ohms x.1a x.2a | 0.2 0.23",
		"connector x mirrored | | volts r.a r.b | -12 -11.8",
	}},
	{"contactor", pack12 + "x: {kind: contactor, coil_volts: 12, coil_watts: 6}, k: {kind: switch}",
		[]string{"pack.plus>k.a", "k.b>x.coil_plus", "x.coil_minus>pack.minus", "pack.plus>x.a", "x.b>r.a", "r.b>pack.minus"}, []string{
			"| | volts r.a | 0.13 0.15", // through 1000 ohm of pre-charge
			"| k=closed | volts r.a | 11.7 12", "| | shows x | released", "| k=closed | shows x | pulled in",
			"| | diode x.coil_minus x.coil_plus | 0.02 0.03", // the coil's 24 ohm, and not its diode
			"coil open | k=closed | volts r.a | 0.13 0.15",
			"coil open | k=closed | shows x | released",
			"coil open | | diode x.coil_minus x.coil_plus | 0.5 0.8",
			"coil shorted | | ohms x.coil_plus x.coil_minus | 0.2 0.22",
			"stuck open | k=closed | volts r.a | 0.13 0.15",
			"welded | | volts r.a | 11.7 12",
			"resistive@1 | k=closed | volts r.a | 10.85 11.05", // 1 ohm
			"precharge open | | volts r.a | 0 0.01",
		}},
	{"controller", pack36 + "x: {kind: controller}, k: {kind: switch}, t: {kind: resistor, ohms: 1000}, b: {kind: resistor, ohms: 1000}",
		[]string{"pack.plus>x.plus", "x.minus>pack.minus", "pack.plus>k.a", "k.b>x.key", "x.five>t.a", "t.b>x.signal", "x.signal>b.a", "b.b>x.ground", "r.a>x.u", "r.b>x.v"}, []string{
			"| k=closed | volts x.five | 4.9 5.05", "| | volts x.five | 0 0.01",
			"| k=closed | volts x.signal | 2.42 2.52", "| k=closed | shows x | in_range", "| | shows x | too_low",
			"| k=closed | volts x.brake | 4.9 5.05", "| k=closed | shows x.brake | free", "| | shows x.brake | braking",
			"| k=closed | volts x.ha | 4.9 5.05", "| | ohms x.u x.minus | 49000 51000", // two phases of 100 kohm, joined by r
			// 5 V over 1000 and 47000 ohm leave 4.9 V, past the 4.4 V that lock out.
			"wire w8 open | k=closed | volts x.signal | 4.8 4.92", "wire w8 open | k=closed | shows x | too_high",
			"part t shorted | k=closed | shows x | too_high", "wire w6 open | k=closed | shows x | too_low",
			"no 5 V | k=closed | volts x.five | 0 0.01",
			"signal input shorted | k=closed | volts x.signal | 0 0.01",
			"signal input open | k=closed | shows x | too_low",
			"deaf | k=closed | shows x | too_low",
			"phase shorted@0 | | ohms x.u x.minus | 0.2 0.22",
			"phase shorted@3 | | ohms x.u x.plus | 0.2 0.22",
		}},
	{"converter", pack36 + "f: {kind: fuse, amps: 3}, x: {kind: converter, in_volts: 36, out_volts: 12, amps: 3, start_volts: 15}, " +
		"g: {kind: fuse, amps: 3}, y: {kind: converter, in_volts: 36, out_volts: 12, amps: 3, start_volts: 15, hiccup: yes}, q: {kind: resistor, ohms: 12}, k: {kind: switch}, l: {kind: resistor, ohms: 4}",
		[]string{"pack.plus>f.a", "f.b>x.input", "x.ground>pack.minus", "x.output>r.a", "r.b>x.ground",
			"pack.plus>g.a", "g.b>y.input", "y.ground>pack.minus", "y.output>q.a", "q.b>y.ground", "y.output>k.a", "k.b>l.a", "l.b>y.ground"}, []string{
			"| | volts x.output | 11.9 12",
			"| | amps f | 0.38 0.4",                       // 12 W over 0.88 and 36 V, and 10 mA of its own
			"part pack low@3 | | volts x.output | 0 0.01", // 10.8 V are under its lockout
			"part r shorted | | volts x.output | 0 0.07",  // at its limit of 3 A
			"part r shorted | | amps f | 1.14 1.16",       // 3 A times 12 over 0.88 and 36, and its own
			"part r wrong value@1 | | volts x.output | 3.58 3.62",
			// The same in hiccup: 3 A for a tenth of the time.
			"| | volts y.output | 11.9 12", "| | amps g | 0.38 0.4",
			"part q shorted | | amps g | 0.122 0.125",
			"part q wrong value@1 | | volts y.output | 0.35 0.37",
			"| k=closed | volts y.output | 8.9 9.1", // 3 A into 3 ohm, which 12 V would drive 4 A through: low, and no hiccup yet
			"part pack low@3 | | volts y.output | 0 0.01",
			"part y no output@0 | | volts y.output | 0 0.01",
			"part y no output@1 | | volts y.output | 0.59 0.61", // 1.2 V behind the 12 ohm of its trial
			"part y low output@2 | | volts y.output | 5.9 6",
			"no output@0 | | volts x.output | 0 0.01",
			"no output@1 | | volts x.output | 1.15 1.2",
			"output follows input | | volts x.output | 35 36",
			"low output@1 | | volts x.output | 8.3 8.4",
			"input shorted | | ohms x.input x.ground | 0.2 0.22",
		}},
	{"diode", pack12 + "x: {kind: diode}", []string{"pack.plus>x.anode", "x.cathode>r.a", "r.b>pack.minus"}, []string{
		"| | volts r.a | 11 11.25",
		"| | diode x.anode x.cathode | 0.5 0.7",
		"| | diode x.cathode x.anode | OL",
		"open | | diode x.anode x.cathode | OL",
		"shorted | | diode x.cathode x.anode | 0 0.02",
		"reversed | | diode x.cathode x.anode | 0.5 0.7",
		"reversed | | volts r.a | 0 0.01",
	}},
	{"fuse", pack12 + "x: {kind: fuse, amps: 3}", inLine, []string{
		"| | volts r.a | 11.8 12", "| | amps x | 0.98 1",
		"blown | | volts r.a | 0 0.01",
		"resistive@2 | | volts r.a | 6.45 6.55",
		"holder open | | volts r.a | 0 0.01",
	}},
	{"highside", pack12 + "x: {kind: highside}, k: {kind: switch}, d: {kind: resistor, ohms: 1000}",
		[]string{"pack.plus>x.supply", "x.load>r.a", "r.b>pack.minus", "x.ground>pack.minus", "pack.plus>k.a", "k.b>d.a", "d.b>x.control"}, []string{
			"| | volts r.a | 0 0.01", "| k=closed | volts r.a | 11.8 12",
			"| | diode x.load x.supply | 0.5 0.7",
			"shorted | | volts r.a | 11.8 12",
			"open | k=closed | volts r.a | 0 0.01",
			"control shorted | k=closed | volts r.a | 0 0.01",
		}},
	{"horn", pack12 + "x: {kind: horn, volts: 12, watts: 12}", []string{"pack.plus>x.plus", "x.minus>pack.minus"}, []string{
		"| | shows x | sounds", "| | ohms x.plus x.minus | 12 12.4",
		"open | | shows x | silent",
		"shorted | | ohms x.plus x.minus | 0.2 0.22",
		"weak | | shows x | weak",
	}},
	{"iso-converter", pack36 + "x: {kind: iso-converter, in_volts: 36, out_volts: 12, amps: 3, start_volts: 15}, " +
		"y: {kind: iso-converter, in_volts: 36, out_volts: 12, amps: 3, start_volts: 15, hiccup: yes, try_share: 0.05}, q: {kind: resistor, ohms: 12}",
		[]string{"pack.plus>x.in_plus", "x.in_minus>pack.minus", "x.out_plus>r.a", "r.b>x.out_minus",
			"pack.plus>y.in_plus", "y.in_minus>pack.minus", "y.out_plus>q.a", "q.b>y.out_minus"}, []string{
			"| | volts y.out_plus y.out_minus | 11.9 12",
			"part r wrong value@1 | | volts x.out_plus x.out_minus | 3.58 3.62",
			"part q wrong value@1 | | volts y.out_plus y.out_minus | 0.175 0.185", // 3 A into 1.2 ohm for a twentieth of the time
			"part y no output@1 | | volts y.out_plus y.out_minus | 0.35 0.37",     // 1.2 V behind 28 ohm
			"| | volts x.out_plus x.out_minus | 11.9 12",
			"| | ohms x.out_minus x.in_minus | OL",
			"part pack low@3 | | volts x.out_plus x.out_minus | 0 0.01",
			"no output@0 | | volts x.out_plus x.out_minus | 0 0.01",
			"low output@1 | | volts x.out_plus x.out_minus | 8.3 8.4",
			"input shorted | | ohms x.in_plus x.in_minus | 0.2 0.22",
			"isolation broken | | ohms x.out_minus x.in_minus | 0.2 0.22",
		}},
	{"key-switch", pack12 + "x: {kind: key-switch}", inLine, contact("off", "on")},
	{"lamp", pack12 + "x: {kind: lamp, volts: 12, watts: 6, cold_ohms: 2.4}", []string{"pack.plus>x.plus", "x.minus>pack.minus"}, []string{
		"| | shows x | lit", "| | ohms x.plus x.minus | 2.55 2.65",
		"open | | shows x | dark", "open | | ohms x.plus x.minus | OL",
		"shorted | | ohms x.plus x.minus | 0.2 0.22",
	}},
	{"led", pack12 + "f: {kind: fuse, amps: 1}, x: {kind: led, volts: 12}", []string{"pack.plus>f.a", "f.b>x.plus", "x.minus>pack.minus"}, []string{
		"| | shows x | lit", "| | amps f | 0.019 0.021",
		"| | diode x.plus x.minus | 2.25 2.45", // 500 ohm take 0.5 V of it
		"| | diode x.minus x.plus | OL",
		"open | | shows x | dark", "open | | diode x.plus x.minus | OL",
		"shorted | | shows x | dark", "shorted | | diode x.plus x.minus | 0.45 0.55",
		"reversed | | shows x | dark", "reversed | | diode x.minus x.plus | 2.25 2.45",
	}},
	{"lit-switch", pack12 + "f: {kind: fuse, amps: 3}, x: {kind: lit-switch, volts: 12}", []string{"pack.plus>f.a", "f.b>x.supply", "x.load>r.a", "r.b>pack.minus", "x.ground>pack.minus"}, []string{
		"| x=open | volts r.a | 0 0.01", "| x=closed | volts r.a | 11.8 12", "| x=open | shows x | dark", "| x=closed | shows x | lit",
		"lamp open | x=closed | shows x | dark",
		"stuck open | x=closed | volts r.a | 0 0.01",
		"stuck closed | x=open | volts r.a | 11.8 12",
		"resistive@2 | x=closed | volts r.a | 6.4 6.55",
		"load and ground swapped | x=closed | volts r.a | 0 0.01",    // and the fuse is blown
		"supply and ground swapped | x=open | volts r.a | 0.11 0.13", // through the lamp's 1200 ohm
		"supply and ground swapped | x=closed | volts r.a | 0 0.01",
		"supply and load swapped | x=open | shows x | lit",
	}},
	{"lowside", pack12 + "x: {kind: lowside}, k: {kind: switch}, d: {kind: resistor, ohms: 1000}",
		[]string{"pack.plus>r.a", "r.b>x.drain", "x.source>pack.minus", "pack.plus>k.a", "k.b>d.a", "d.b>x.gate"}, []string{
			"| | volts x.drain | 11.9 12.1", "| k=closed | volts x.drain | 0 0.05",
			"| | diode x.source x.drain | 0.5 0.7", "| | diode x.drain x.source | OL",
			"shorted | | volts x.drain | 0 0.05",
			"open | k=closed | volts x.drain | 11.9 12.1",
			"gate shorted | k=closed | volts x.drain | 11.9 12.1",
			"all shorted | | ohms x.gate x.drain | 0.2 0.23",
		}},
	{"motor", pack5 + "x: {kind: motor}, a: {kind: resistor, ohms: 10000}, b: {kind: resistor, ohms: 10000}, c: {kind: resistor, ohms: 10000}",
		[]string{"pack.plus>x.five", "x.ground>pack.minus", "pack.plus>a.a", "a.b>x.ha", "pack.plus>b.a", "b.b>x.hb", "pack.plus>c.a", "c.b>x.hc", "r.a>x.u", "r.b>x.u"}, []string{
			// The codes ha hb hc of one turn: 101 100 110 010 011 001, one change a step.
			"| x=p1 | shows x.ha | high", "| x=p1 | shows x.hb | low", "| x=p1 | shows x.hc | high",
			"| x=p2 | shows x.ha | high", "| x=p2 | shows x.hb | low", "| x=p2 | shows x.hc | low",
			"| x=p3 | shows x.ha | high", "| x=p3 | shows x.hb | high", "| x=p3 | shows x.hc | low",
			"| x=p4 | shows x.ha | low", "| x=p4 | shows x.hb | high", "| x=p4 | shows x.hc | low",
			"| x=p5 | shows x.ha | low", "| x=p5 | shows x.hb | high", "| x=p5 | shows x.hc | high",
			"| x=p6 | shows x.ha | low", "| x=p6 | shows x.hb | low", "| x=p6 | shows x.hc | high",
			"| | ohms x.u x.v | 0.38 0.42", "| | diode x.ground x.ha | 0.5 0.7",
			"u open | | ohms x.u x.v | OL", "v open | | ohms x.v x.w | OL", "w open | | ohms x.w x.u | OL",
			"windings shorted@0 | | ohms x.u x.v | 0.2 0.22", "windings shorted@1 | | ohms x.v x.w | 0.2 0.22",
			"ha stuck low | x=p1 | volts x.ha | 0 0.05", "ha stuck high | x=p4 | volts x.ha | 4.9 5",
			"hb stuck low | x=p3 | volts x.hb | 0 0.05", "hb stuck high | x=p1 | volts x.hb | 4.9 5",
			"hc stuck low | x=p1 | volts x.hc | 0 0.05", "hc stuck high | x=p2 | volts x.hc | 4.9 5",
			"hall supply shorted | | ohms x.five x.ground | 0.2 0.22",
			"hall supply open | | ohms x.five x.ground | 3e6 4e6", // only three pull-ups and the outputs' leakage are left
			"hall supply open | x=p1 | shows x.hb | high",         // 111, which no motor gives
		}},
	{"pot", pack12 + "x: {kind: pot, ohms: 1000}, l: {kind: resistor, ohms: 1e6}", []string{"pack.plus>x.a", "x.b>pack.minus", "x.wiper>l.a", "l.b>pack.minus", "r.a>x.b", "r.b>x.b"}, []string{
		"| x=0 | volts x.wiper | 0 0.02", "| x=quarter | volts x.wiper | 2.95 3.05", "| x=half | volts x.wiper | 5.95 6.05",
		"| x=three_quarter | volts x.wiper | 8.95 9.05", "| x=full | volts x.wiper | 11.95 12", "| | ohms x.a x.b | 995 1005",
		"wiper open | x=half | volts x.wiper | 0 0.02",
		"track open@1 | x=half | volts x.wiper | 11.9 12",
		"wrong value@0 | | ohms x.a x.b | 9990 10010", "wrong value@1 | | ohms x.a x.b | 100 100.4",
		"log for linear@0 | x=half | volts x.wiper | 1.5 1.6", "log for linear@1 | x=half | volts x.wiper | 10.4 10.5",
	}},
	{"pot-throttle", pack5 + "x: {kind: pot-throttle}", []string{"pack.plus>x.supply", "x.ground>pack.minus", "x.signal>r.a", "r.b>pack.minus"}, []string{
		"| x=rest | volts x.signal | 0.69 0.72", "| x=half | volts x.signal | 2.39 2.43", "| x=full | volts x.signal | 4.18 4.24",
		"wiper open | x=half | volts x.signal | 0 0.01",
		"ground end open@0 | x=rest | volts x.signal | 4.35 4.5",
		"supply end open@0 | x=half | volts x.signal | 0 0.01",
		"stuck at rest | x=full | volts x.signal | 0.69 0.72",
		"stuck at full | x=rest | volts x.signal | 4.18 4.24",
		"supply shorted | | ohms x.supply x.ground | 0.2 0.22",
	}},
	{"reed-nc", pack12 + "x: {kind: reed-nc}", inLine, contact("pulled", "released")},
	{"reed-no", pack12 + "x: {kind: reed-no}", inLine, contact("released", "pulled")},
	{"regulator", pack12 + "f: {kind: fuse, amps: 1}, x: {kind: regulator, out_volts: 5}, l: {kind: resistor, ohms: 50}",
		[]string{"pack.plus>f.a", "f.b>x.input", "x.ground>pack.minus", "x.output>l.a", "l.b>x.ground", "r.a>x.ground", "r.b>x.ground"}, []string{
			"| | volts x.output | 4.95 5", "| | amps f | 0.105 0.112",
			"part pack low@2 | | volts x.output | 3.9 4.05", // 6 V less the dropout
			"no output | | volts x.output | 0 0.05",
			"output follows input | | volts x.output | 11.8 12",
			"low output@1 | | volts x.output | 2.95 3.05",
			"input shorted | | ohms x.input x.ground | 0.2 0.22",
		}},
	{"relay", pack12 + "x: {kind: relay, coil_volts: 12}, k: {kind: switch}, q: {kind: resistor, ohms: 12}",
		[]string{"pack.plus>k.a", "k.b>x.a1", "x.a2>pack.minus", "pack.plus>x.common", "x.no>r.a", "r.b>pack.minus", "x.nc>q.a", "q.b>pack.minus"}, []string{
			"| | volts r.a | 0 0.01", "| | volts q.a | 11.8 12", "| k=closed | volts r.a | 11.8 12", "| k=closed | volts q.a | 0 0.01",
			"| k=closed | shows x | pulled in", "| | ohms x.a1 x.a2 | 90 90.4",
			"coil open | k=closed | shows x | released", "coil open | k=closed | volts r.a | 0 0.01", "coil open | k=closed | volts q.a | 11.8 12",
			"coil shorted | | ohms x.a1 x.a2 | 0.2 0.22",
			"no open | k=closed | volts r.a | 0 0.01",
			"nc open | | volts q.a | 0 0.01",
			"welded | | volts r.a | 11.8 12",
			"no resistive@2 | k=closed | volts r.a | 6.4 6.55",
		}},
	{"resistor", pack12 + "x: {kind: resistor, ohms: 100}", inLine, []string{
		"| | ohms x.a x.b | 100 100.4",
		"open | | ohms x.a x.b | OL",
		"shorted | | ohms x.a x.b | 0.2 0.22",
		"wrong value@0 | | ohms x.a x.b | 1000 1000.4", "wrong value@1 | | ohms x.a x.b | 10.1 10.3",
	}},
	{"soft-light", pack12 + "x: {kind: soft-light, volts: 12, watts: 6, start_volts: 5}, k: {kind: button}, " +
		"y: {kind: soft-light, volts: 12, watts: 6, start_volts: 5, cells: 3, pulse_seconds: 0.2}, z: {kind: soft-light, volts: 7.4, watts: 6, start_volts: 5, cells: 2}",
		[]string{"pack.plus>x.plus", "x.minus>pack.minus", "x.button_a>k.a", "k.b>x.button_b", "r.a>x.minus", "r.b>x.minus",
			"pack.plus>y.plus", "y.minus>pack.minus", "pack.plus>z.plus", "z.minus>pack.minus", "z.button_a>z.button_b"}, []string{
			"| x=pulsed | shows x | lit", "| y=pulsed | shows y | dark", // 1 s is longer than half a second, 0.2 s is not
			"| y=latched | shows y | lit", "| z=latched | shows z | dark", "| z=pressing | shows z | dark", // 12 V may be 3 cells, 9 to 12.9 V, and not 2, 6 to 8.6 V
			"part pack low@1 | z=latched | shows z | lit", "part pack low@1 | z=pressing | shows z | lit", // 8.4 V may be 2 cells
			"part pack low@1 | y=latched | shows y | dark", // and not 3
			"part pack low@1 | x=latched | shows x | dim",  // which a light that does not count minds not
			"| x=waiting | shows x | dark", "| x=latched | shows x | lit", "| x=pressing k=pressed | shows x | lit", "| x=pressing | shows x | dark",
			"| | volts x.button_a | 2.9 3", // the meter's 10 Mohm on 100 kohm
			"part pack low@3 | x=latched | shows x | dark",
			"no start | x=latched | shows x | dark",
			"does not hold | x=latched | shows x | dark",
			"button input dead | x=pressing k=pressed | shows x | dark",
			"lamp open | x=latched | shows x | dark",
			"stays on | x=waiting | shows x | lit",
			"supply shorted | | ohms x.plus x.minus | 0.2 0.22",
		}},
	{"splice", pack12 + "x: {kind: splice}", []string{"pack.plus>x.in", "x.out>r.a", "r.b>pack.minus"}, []string{
		"| | volts r.a | 11.8 12",
		"way x.in open | | volts r.a | 0 0.01",
		"way x.out resistive@2 | | volts r.a | 6.45 6.55",
	}},
	{"strip", pack12 + "f: {kind: fuse, amps: 3}, x: {kind: strip}, kr: {kind: switch}, kg: {kind: switch}, kb: {kind: switch}",
		[]string{"pack.plus>f.a", "f.b>x.plus", "x.r>kr.a", "kr.b>pack.minus", "x.g>kg.a", "kg.b>pack.minus", "x.b>kb.a", "kb.b>pack.minus", "r.a>pack.minus", "r.b>pack.minus"}, []string{
			"| kr=closed | shows x.near_r | lit", "| kr=closed | shows x.far_r | lit", "| kr=closed | shows x.near_g | dark",
			"| kg=closed | shows x.far_g | lit", "| kg=closed | shows x.mid_g | lit", "| kb=closed | shows x.near_b | lit",
			"| kr=closed | amps f | 0.35 0.4",                        // a little less than 0.4 A, for the drop along its copper
			"| | diode x.plus x.r | OL", "| | diode x.r x.plus | OL", // three LEDs in a string want more than the meter's 3 V
			"r open | kr=closed | shows x.near_r | dark", "g open | kg=closed | shows x.far_g | dark", "b open | kb=closed | shows x.near_b | dark",
			"common open | kb=closed | shows x.near_b | dark",
			"ends bridged@0 | | ohms x.plus x.g | 0.75 0.9", // the copper there and back, 0.3 ohm each
			"ends bridged@1 | kr=closed | shows x.far_g | [lit dim]",
			"far end dim@3 | kr=closed | shows x.far_r | dim",
			"dead from a joint on@0 | kr=closed | shows x.mid_r | dark",
			"dead from a joint on@1 | kr=closed | shows x.far_r | dark",
			"segment dark in one colour@4 | kg=closed | shows x.mid_g | dark",
			"segment dark in one colour@4 | kg=closed | amps f | 0.23 0.27",          // a third less than 0.4 A
			"resistor of another colour@0 | kr=closed | shows x.near_r | too bright", // 6 V over 20 ohm in place of 45
			"resistor of another colour@8 | kb=closed | shows x.far_b | dim",         // 2.7 V over 45 ohm in place of 20
			"reversed | kr=closed | shows x.near_r | dark",
		}},
	{"strip-controller", pack12 + "x: {kind: strip-controller}, lr: {kind: resistor, ohms: 120}, lg: {kind: resistor, ohms: 120}, lb: {kind: resistor, ohms: 120}",
		[]string{"pack.plus>x.plus", "x.minus>pack.minus", "x.out_plus>lr.a", "lr.b>x.r", "x.out_plus>lg.a", "lg.b>x.g", "x.out_plus>lb.a", "lb.b>x.b", "r.a>x.minus", "r.b>x.minus"}, []string{
			"| x=off | volts x.r | 11.9 12", "| x=red | volts x.r | 0 0.05", "| x=red | volts x.g | 11.9 12", "| x=green | volts x.g | 0 0.05",
			"| x=blue | volts x.b | 0 0.05", "| x=white | volts x.r | 0 0.05", "| x=white | volts x.b | 0 0.05", "| | volts x.out_plus | 11.9 12",
			"no output | x=white | volts x.r | 11.8 12",
			"plus open | x=white | volts x.out_plus | 0 0.01",
			"r dead | x=red | volts x.r | 11.8 12", "g dead | x=green | volts x.g | 11.8 12", "b dead | x=blue | volts x.b | 11.8 12",
			"r stuck on | x=off | volts x.r | 0 0.05", "g stuck on | x=off | volts x.g | 0 0.05", "b stuck on | x=off | volts x.b | 0 0.05",
		}},
	{"switch", pack12 + "x: {kind: switch}", inLine, contact("open", "closed")},
	{"thermistor", pack12 + "x: {kind: thermistor}", inLine, []string{ // 10 kohm exp(3950 (1/T - 1/298.15))
		"| x=freezing | ohms x.a x.b | 33500 33700", "| x=room | ohms x.a x.b | 9990 10010", "| x=warm | ohms x.a x.b | 2480 2490", "| x=hot | ohms x.a x.b | 930 936",
		"open | | ohms x.a x.b | OL",
		"shorted | | ohms x.a x.b | 0.2 0.22",
		"wrong value@0 | | ohms x.a x.b | 99900 100100", "wrong value@1 | | ohms x.a x.b | 1995 2005",
	}},
	{"throttle", pack5 + "x: {kind: throttle}", []string{"pack.plus>x.supply", "x.ground>pack.minus", "x.signal>r.a", "r.b>pack.minus"}, []string{
		"| x=rest | volts x.signal | 0.84 0.86", "| x=half | volts x.signal | 2.5 2.54", "| x=full | volts x.signal | 4.17 4.21",
		"| | diode x.ground x.signal | 0.5 0.7", "| | diode x.signal x.ground | OL", "| | diode x.ground x.supply | 0.5 0.7",
		"no output | x=half | volts x.signal | 0 0.01",
		"stuck at rest | x=full | volts x.signal | 0.84 0.86",
		"stuck at full | x=rest | volts x.signal | 4.17 4.21",
		"supply shorted | | ohms x.supply x.ground | 0.2 0.22",
	}},
	{"toggle-2", pack12 + "x: {kind: toggle-2}, q: {kind: resistor, ohms: 12}", []string{"pack.plus>x.a1", "x.b1>r.a", "r.b>pack.minus", "pack.plus>x.a2", "x.b2>q.a", "q.b>pack.minus"}, []string{
		"| x=open | volts r.a | 0 0.01", "| x=closed | volts r.a | 11.7 12", "| x=closed | volts q.a | 11.7 12",
		"stuck open | x=closed | volts r.a | 0 0.01",
		"pole 1 open | x=closed | volts r.a | 0 0.01", "pole 2 open | x=closed | volts q.a | 0 0.01",
		"pole 1 stuck closed | x=open | volts r.a | 11.7 12", "pole 2 stuck closed | x=open | volts q.a | 11.7 12",
		"pole 1 resistive@2 | x=closed | volts r.a | 6.4 6.55", "pole 2 resistive@2 | x=closed | volts q.a | 6.4 6.55",
	}},
	{"voltmeter-2", pack12 + "x: {kind: voltmeter-2, volts: 12}", []string{"pack.plus>x.plus", "x.minus>pack.minus"}, []string{
		"| | shows x | right", "part pack low@1 | | shows x | low",
		"wire w1 resistive@4 | | shows x | low",          // 100 ohm beside its own 800 take a ninth
		"wire w1 resistive@3 | | shows x | a little low", // and 31.6 ohm 3.8 %
		"dead | | shows x | blank",
		"reads a little low | | shows x | a little low",
		"reads low | | shows x | low",
		"shorted | | ohms x.plus x.minus | 0.2 0.22",
	}},
	{"voltmeter-3", pack12 + "x: {kind: voltmeter-3, volts: 12}", []string{"pack.plus>x.supply", "pack.plus>x.sense", "x.ground>r.a", "r.b>pack.minus"}, []string{
		"| | shows x | right",
		"| | volts x.sense x.ground | 11.75 11.85", // 15 mA lift its ground by 0.18 V over r's 12 ohm, and it reads so much less
		"part pack low@1 | | shows x | low",
		// 31.6 ohm more: 12 V over 800 + 43.6 ohm are 14.2 mA, which lift its ground by 0.62 V; what it measures is still 12 V to the pack's minus.
		"wire w3 resistive@3 | | volts x.ground | 0.61 0.63",
		"wire w3 resistive@3 | | volts x.sense x.ground | 11.36 11.4",
		"wire w3 resistive@3 | | shows x | a little low",
		"wire w3 resistive@4 | | shows x | low", // 13.2 mA over 112 ohm, 1.47 V
		"dead | | shows x | blank or zero",
		"sense input dead | | shows x | blank or zero",
		"reads a little low | | shows x | a little low",
		"reads low | | shows x | low",
		"supply shorted | | ohms x.supply x.ground | 0.2 0.22",
	}},
	{"wire", pack12 + "q: {kind: resistor, ohms: 12}, s: {kind: switch}", []string{"pack.plus>r.a", "r.b>q.a 24 AWG 10", "q.b>pack.minus", "pack.plus>s.a", "s.b>pack.minus"}, []string{
		"| | volts r.b q.a | 0.4 0.42", // 0.859 ohm at 25 C
		"wire w1 open | | volts r.a | 0 0.01",
		"wire w4 open | | volts s.a | 0.1 0.13",        // the ghost that 10 Mohm show behind 1e9 ohm
		"wire w1 resistive@2 | | volts r.a | 8.5 8.56", // 24.86 of 34.96 ohm
		"wire w1 to ground | | volts r.a | 1 1.2",      // 12 V over the pack's 0.1 and the chafe's 0.01 ohm
		"wire w3 to supply | | volts r.a | 1 1.2",      // a dead short, w3 being on ground
		"wire w2 to supply | | volts q.a | 11 11.8",
		"wire w2 too thin@2 | | volts r.b q.a | 2.85 2.95",
	}},
}

// harness builds the bench's harness.
func (b onBench) harness(t *testing.T, base *rules.Base) *circuit.Harness {
	t.Helper()
	ground := "pack.minus"
	if !strings.Contains(b.parts, "pack:") {
		ground = "x.minus"
	}
	var wires []string
	for i, w := range b.wires {
		ends, gauge, _ := strings.Cut(w, " ")
		from, to, _ := strings.Cut(ends, ">")
		size := "gauge: 100 mm2, metres: 0.001"
		if gauge != "" {
			at := strings.LastIndex(gauge, " ")
			size = fmt.Sprintf("gauge: %s, metres: %s", gauge[:at], gauge[at+1:])
		}
		wires = append(wires, fmt.Sprintf("{name: w%d, from: %s, to: %s, %s}", i+1, from, to, size))
	}
	text := fmt.Sprintf("harness: bench\nground: %s\nparts: {%s}\nwires: [%s]\n", ground, strings.TrimSuffix(b.parts, ", "), strings.Join(wires, ", "))
	h, err := base.Harness(b.kind, []byte(text))
	require.NoError(t, err, "%s\n%s", b.kind, text)
	return h
}

// settings reads "x=closed k=pressed".
func settings(s string) circuit.State {
	st := circuit.State{Name: s, Settings: map[string]string{}}
	for _, f := range strings.Fields(s) {
		part, set, _ := strings.Cut(f, "=")
		st.Settings[part] = set
	}
	return st
}

// answer asks for what the row asks, and tells whether it is the row's answer.
func answer(sit *circuit.Situation, ground, asked, want string) (got string, ok bool, err error) {
	f := strings.Fields(asked)
	m := circuit.ReferenceMeter
	black := ground
	if len(f) > 2 {
		black = f[2]
	}
	var r circuit.Reading
	switch f[0] {
	case "shows":
		word := sit.Shows(f[1])
		return word, slices.Contains(strings.Split(strings.Trim(want, "[]"), " "), word) || word == want, nil
	case "volts":
		r = sit.Volts(&m, f[1], black)
	case "ohms":
		r = sit.Ohms(&m, f[1], black)
	case "diode":
		r = sit.Diode(&m, f[1], black)
	case "amps":
		r, err = sit.Amps(&m, f[1])
	}
	if r.Over {
		return "OL", want == "OL", err
	}
	low, high, _ := strings.Cut(want, " ")
	x, errLow := strconv.ParseFloat(low, 64)
	y, errHigh := strconv.ParseFloat(high, 64)
	return fmt.Sprintf("%.4g", r.Value), errLow == nil && errHigh == nil && r.Value >= x-1e-6 && r.Value <= y, err
}

// TestEveryPartOnTheBench holds each kind of part, in each setting and with
// each failure, to what a bench shows. A row with a fault must not come true on
// the healthy part.
func TestEveryPartOnTheBench(t *testing.T) {
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	var kinds []string
	for _, b := range benches {
		kinds = append(kinds, b.kind)
		t.Run(b.kind, func(t *testing.T) {
			h := b.harness(t, base)
			faults := h.Faults()
			modes, sets := map[string]bool{}, map[string]bool{}
			if p := h.Part("x"); p != nil {
				for _, f := range p.Failures {
					modes[f.Mode] = false
				}
				for s := range p.Settings {
					sets[s] = false
				}
			} else {
				for _, f := range h.Wires[1].Failures {
					modes[f.Mode] = false
				}
			}
			for _, row := range b.rows {
				c := strings.Split(row, "|")
				require.Len(t, c, 4, row)
				for i := range c {
					c[i] = strings.TrimSpace(c[i])
				}
				id, at, _ := strings.Cut(c[0], "@")
				point := 0
				if at != "" {
					point, err = strconv.Atoi(at)
					require.NoError(t, err, row)
				}
				state := settings(c[1])
				var f *circuit.Fault
				if id != "" {
					i := slices.IndexFunc(faults, func(f circuit.Fault) bool { return f.ID == id || f.ID == "part x "+id })
					require.GreaterOrEqual(t, i, 0, "%s: no such fault", row)
					f = &faults[i]
					for m := range modes {
						if !strings.HasPrefix(f.ID, "part pack") && strings.HasSuffix(f.ID, " "+m) && (f.ID == "part x "+m || !strings.HasPrefix(f.ID, "part ")) {
							modes[m] = true
						}
					}
				}
				if s := state.Settings["x"]; s != "" {
					sets[s] = true
				}
				off := strings.HasPrefix(c[2], "ohms") || strings.HasPrefix(c[2], "diode")
				bench, err := circuit.NewBench(h, state)
				require.NoError(t, err, row)
				sit, err := bench.Put(f, point, state, off)
				require.NoError(t, err, row)
				got, ok, err := answer(sit, h.Ground, c[2], c[3])
				require.NoError(t, err, row)
				require.True(t, ok, "%s: got %s", row, got)
				if f == nil {
					continue
				}
				sit, err = bench.Put(nil, 0, state, off)
				require.NoError(t, err, row)
				got, ok, err = answer(sit, h.Ground, c[2], c[3])
				require.NoError(t, err, row)
				require.False(t, ok, "%s: the healthy part gives the same, %s", row, got)
			}
			for m, seen := range modes {
				require.True(t, seen, "%s: no row for the failure %q", b.kind, m)
			}
			for s, seen := range sets {
				require.True(t, seen, "%s: no row for the setting %q", b.kind, s)
			}
		})
	}
	require.ElementsMatch(t, append(base.Kinds(), "wire"), kinds, "each kind in kb/parts has a bench")
}

// TestThrottleLockout breaks the lead of a throttle, of either kind, at half: a
// signal that stands at the rail locks the controller out, one that is gone asks
// for nothing.
func TestThrottleLockout(t *testing.T) {
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	for _, kind := range []string{"throttle", "pot-throttle"} {
		b := onBench{kind: kind, parts: pack36 + "k: {kind: switch}, x: {kind: controller}, p: {kind: connector, ways: 3}, g: {kind: " + kind + "}",
			wires: []string{"pack.plus>x.plus", "x.minus>pack.minus", "pack.plus>k.a", "k.b>x.key", "x.five>p.1a", "x.signal>p.2a", "x.ground>p.3a",
				"p.1b>g.supply", "p.2b>g.signal", "p.3b>g.ground", "r.a>x.minus", "r.b>x.minus"}}
		h := b.harness(t, base)
		faults := h.Faults()
		half := settings("k=closed g=half")
		bench, err := circuit.NewBench(h, half)
		require.NoError(t, err)
		for _, c := range []struct{ fault, volts, shows string }{
			{"", "2.38 2.54", "in_range"},
			{"way p.3 open", "4.5 5.05", "too_high"},
			{"wire w10 open", "4.5 5.05", "too_high"},
			{"ways p.1 p.2 bridged", "4.9 5.05", "too_high"},
			{"way p.2 open", "0 0.01", "too_low"},
			{"way p.1 open", "0 0.01", "too_low"},
			{"ways p.2 p.3 bridged", "0 0.05", "too_low"},
		} {
			var f *circuit.Fault
			if c.fault != "" {
				i := slices.IndexFunc(faults, func(f circuit.Fault) bool { return f.ID == c.fault })
				require.GreaterOrEqual(t, i, 0, c.fault)
				f = &faults[i]
			}
			sit, err := bench.Put(f, 0, half, false)
			require.NoError(t, err, c.fault)
			for asked, want := range map[string]string{"volts x.signal x.ground": c.volts, "shows x": c.shows} {
				got, ok, err := answer(sit, h.Ground, asked, want)
				require.NoError(t, err)
				require.True(t, ok, "%s, %s: %s is %s, want %s", kind, c.fault, asked, got, want)
			}
		}
	}
}

// TestLampOfUnknownSort checks that an ohms reading of a lamp of which nobody
// said what it reads cold takes a filament's tenth and the whole of volts
// squared over watts alike, of one lamp and of ten side by side, and that a
// short is far off.
func TestLampOfUnknownSort(t *testing.T) {
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	for _, lamps := range []int{1, 10} {
		b := onBench{kind: "lamp", parts: pack12, wires: []string{"r.a>pack.minus", "r.b>pack.minus"}}
		for i := range lamps {
			b.parts += fmt.Sprintf("l%d: {kind: lamp, volts: 12, watts: 6}, ", i)
			b.wires = append(b.wires, fmt.Sprintf("pack.plus>l%d.plus", i), fmt.Sprintf("l%d.minus>pack.minus", i))
		}
		h := b.harness(t, base)
		bench, err := circuit.NewBench(h)
		require.NoError(t, err)
		sit, err := bench.Put(nil, 0, circuit.State{}, true)
		require.NoError(t, err)
		r := sit.Ohms(&circuit.ReferenceMeter, "pack.plus", "pack.minus")
		hot := 24 / float64(lamps)
		for _, ohms := range []float64{0.1 * hot, hot} {
			require.Less(t, math.Abs(ohms+0.2-r.Value)/r.Sigma, 2.0, "%d lamps: %g ohm against %g, sigma %g", lamps, ohms, r.Value, r.Sigma)
		}
		require.Greater(t, r.Sigma, 0.2*hot, "%d lamps", lamps)
	}
}

// TestJunctionsInTheHarness checks what hall sensors and inputs do beyond their
// own pins: a throttle fed the wrong way round pulls the 5 V down to one
// junction, a short in the motor's halls takes the throttle's supply with it,
// and the controller's input shows its junctions behind 1000 ohm.
func TestJunctionsInTheHarness(t *testing.T) {
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	b := onBench{kind: "throttle and halls", parts: pack36 + "k: {kind: switch}, x: {kind: controller}, p: {kind: connector, ways: 3}, g: {kind: throttle}, m: {kind: motor}",
		wires: []string{"pack.plus>x.plus", "x.minus>pack.minus", "pack.plus>k.a", "k.b>x.key", "x.five>p.1a", "x.ground>p.2a", "x.signal>p.3a",
			"p.1b>g.supply", "p.2b>g.ground", "p.3b>g.signal", "x.hall_five>m.five", "x.hall_ground>m.ground", "x.ha>m.ha", "r.a>x.minus", "r.b>x.minus"}}
	h := b.harness(t, base)
	faults := h.Faults()
	on := settings("k=closed")
	bench, err := circuit.NewBench(h, on)
	require.NoError(t, err)
	for _, c := range []struct{ fault, set, asked, want string }{
		{"", "k=closed", "volts x.five", "4.9 5.05"},
		{"", "k=closed", "volts x.signal", "0.83 0.86"},
		{"ways p.1 p.2 swapped", "k=closed", "volts x.five", "0.7 0.9"},
		{"part m hall supply shorted", "k=closed", "volts g.supply g.ground", "0 0.01"},
		{"part g supply shorted", "k=closed", "volts m.five m.ground", "0 0.01"},
		{"wire w10 open", "", "diode x.ground x.signal", "1.5 1.7"}, // 0.61 V and 1 V over its resistor, the pull-down beside it
	} {
		var f *circuit.Fault
		if c.fault != "" {
			i := slices.IndexFunc(faults, func(f circuit.Fault) bool { return f.ID == c.fault })
			require.GreaterOrEqual(t, i, 0, c.fault)
			f = &faults[i]
		}
		sit, err := bench.Put(f, 0, settings(c.set), strings.HasPrefix(c.asked, "diode"))
		require.NoError(t, err, c.fault)
		got, ok, err := answer(sit, h.Ground, c.asked, c.want)
		require.NoError(t, err)
		require.True(t, ok, "%s: %s is %s, want %s", c.fault, c.asked, got, c.want)
	}
}

// TestHiccup plays every fault of two vehicles with a converter that gives its
// limit and with one that hiccups. They may differ only where the limit pulls
// the output down, and then the one that hiccups gives less: no fault may leave
// it in hiccup before a load that it can carry.
func TestHiccup(t *testing.T) {
	base, err := rules.OpenBase(kb.Files)
	require.NoError(t, err)
	for file, starts := range map[string]float64{"cart-converter": 36, "cart-strip": 9} {
		data, err := os.ReadFile(filepath.Join("..", "..", "testdata", "harness", file+".yaml"))
		require.NoError(t, err)
		steady, err := base.Harness(file, data)
		require.NoError(t, err)
		tries, err := base.Harness(file, bytes.Replace(data, []byte("kind: converter,"), []byte("kind: converter, hiccup: yes,"), 1))
		require.NoError(t, err)
		one, err := circuit.NewBench(steady, steady.States...)
		require.NoError(t, err)
		two, err := circuit.NewBench(tries, tries.States...)
		require.NoError(t, err)
		same, less, hunting := 0, 0, 0
		faults := tries.Faults()
		for i, f := range steady.Faults() {
			require.Equal(t, f.ID, faults[i].ID)
			if f.ID == "part conv no output" {
				continue // it hiccups of its own, in either kind
			}
			for point := range f.Points() {
				for _, s := range steady.States {
					x, errX := one.Put(&f, point, s, false)
					y, errY := two.Put(&faults[i], point, s, false)
					if errors.Is(errX, circuit.ErrNoRegions) {
						hunting++ // its lockout hunts behind a bad joint; in hiccup it may come to rest
						continue
					}
					require.NoError(t, errX)
					require.NoError(t, errY, "%s: %s at %d, %s", file, f.ID, point, s.Name)
					across := x.Node("conv.output") - x.Node("conv.ground")
					if across > 0.4*12 || x.Node("conv.input")-x.Node("conv.ground") < starts {
						require.InDeltaSlice(t, x.Nodes(), y.Nodes(), 1e-6, "%s: %s at %d, %s", file, f.ID, point, s.Name)
						same++
						continue
					}
					require.Less(t, y.Node("conv.output")-y.Node("conv.ground"), across, "%s: %s at %d, %s", file, f.ID, point, s.Name)
					less++
				}
			}
		}
		t.Logf("%s: %d alike, %d in hiccup, %d where the limit alone finds no rest", file, same, less, hunting)
		require.Greater(t, same, 100)
		require.Greater(t, less, 5)
	}
}

// TestOffWhereItHunts takes the faults of a vehicle with which its converter
// switches on and off in turn: with the power off nothing does, and an ohmmeter
// sees them: a switch with 100 ohm more reads these, and the leads', which are 0.2; two
// ways that are bridged read the leads and BridgeOhms.
func TestOffWhereItHunts(t *testing.T) {
	h, _ := load(t, "cart-strip")
	white := h.States[slices.IndexFunc(h.States, func(s circuit.State) bool { return s.Name == "white" })]
	bench, err := circuit.NewBench(h, circuit.State{}, white)
	require.NoError(t, err)
	meter := circuit.ReferenceMeter
	hunting, seen := 0, 0
	for _, f := range h.Faults() {
		for point := range f.Points() {
			if _, err := bench.Put(&f, point, white, false); !errors.Is(err, circuit.ErrNoRegions) {
				continue
			}
			hunting++
			sit, err := bench.Put(&f, point, white, true)
			require.NoError(t, err, "%s at %d", f.ID, point)
			switch f.ID {
			case "part sw resistive":
				require.InDelta(t, 100.2, sit.Ohms(&meter, "sw.a", "sw.b").Value, 0.1)
				seen++
			case "ways plug.1 plug.2 bridged":
				require.InDelta(t, 0.21, sit.Ohms(&meter, "plug.1a", "plug.2a").Value, 0.02)
				seen++
			}
		}
	}
	require.Greater(t, hunting, 5)
	require.Equal(t, 2, seen)
}
