package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/testdata/ngspice"
)

// message is any line of the protocol as an outside program sees it.
type message struct {
	Type, ID, Power, Mode, Red, Black, State, Part, Message, Status string
	N                                                               int
	Cautions, Answers, Symptoms                                     []string
	Causes                                                          []struct {
		ID string
		P  float64
	}
	SameRepair bool `json:"same_repair"`
	Minutes    float64
	Gain       float64 `json:"gain_bits"`
}

// player is a broken vehicle that answers the program: readings come from
// ngspice, looks from what the lamps do there, all else is skipped.
type player struct {
	v     *ngspice.Vehicle
	noise *rand.Rand // nil for exact readings
}

// played is how a case went.
type played struct {
	fault   string
	ohms    float64
	checks  int
	minutes float64
	verdict []string
	same    bool
	unsafe  []string
	trace   []string
}

// modeUnits are the modes that need two pins.
var modeUnits = map[string]string{"volts_dc": "V", "ohms": "ohm", "continuity": "ohm", "amps_dc": "A", "diode": "V"}

// settings returns the settings of a state by name, or of the "part setting,
// part setting" that the program makes up for a guide.
func (p *player) settings(state string) map[string]string {
	if s, ok := p.v.States()[state]; ok || state == "" {
		return s
	}
	s := map[string]string{}
	for _, pair := range strings.Split(state, ", ") {
		part, setting, _ := strings.Cut(pair, " ")
		s[part] = setting
	}
	return s
}

// blur is an error of the reference meter, uniform within its limits.
func (p *player) blur(x, share, least float64) float64 {
	if p.noise == nil {
		return x
	}
	full := least
	for full < math.Abs(x) {
		full *= 10
	}
	return x + (2*p.noise.Float64()-1)*(share*math.Abs(x)+2*full/6000)
}

func (p *player) answer(m message) (map[string]any, error) {
	skip := map[string]any{"type": "skip", "n": m.N, "why": "not in the drawing"}
	if _, ok := modeUnits[m.Mode]; ok && !strings.Contains(m.Red, ".") {
		return skip, nil // a guide's check in words
	}
	setup := ngspice.Setup{State: p.settings(m.State), Power: m.Power}
	reading := func() (ngspice.Reading, error) {
		r, err := p.v.Measure(context.Background(), []ngspice.Probe{{Setup: setup, Mode: m.Mode, Red: m.Red, Black: m.Black}})
		if err != nil {
			return ngspice.Reading{}, err
		}
		return r[0], nil
	}
	number := func(x float64) map[string]any {
		return map[string]any{"type": "reading", "n": m.N, "value": x}
	}
	switch m.Mode {
	case "volts_dc":
		if m.Power == "off" {
			return number(0), nil // everything is unplugged
		}
		r, err := reading()
		return number(p.blur(r.Value, 0.005, 0.6)), err
	case "ohms":
		r, err := reading()
		if r.Over {
			return map[string]any{"type": "reading", "n": m.N, "over": true}, err
		}
		return number(p.blur(r.Value, 0.008, 600)), err
	case "diode":
		r, err := reading()
		if r.Over {
			return map[string]any{"type": "reading", "n": m.N, "over": true}, err
		}
		return number(p.blur(r.Value, 0.005, 0.6)), err
	case "continuity":
		r, err := reading()
		answer := "no beep"
		if r.Beep {
			answer = "beep"
		}
		return map[string]any{"type": "answer", "n": m.N, "answer": answer}, err
	case "amps_dc":
		r, err := reading()
		if r.Over {
			return map[string]any{"type": "reading", "n": m.N, "over": true}, err
		}
		return number(p.blur(r.Value, 0.012, 0.6)), err
	case "look":
		shows, err := p.v.Shows(context.Background(), setup)
		if err != nil {
			return nil, err
		}
		for name, word := range shows {
			if slices.Contains(m.Answers, word) && strings.HasPrefix(m.ID, "look at "+name) {
				return map[string]any{"type": "answer", "n": m.N, "answer": word}, nil
			}
		}
	}
	return skip, nil
}

// unsafe says what is wrong with a check by the rules of the trade, without
// asking the program's own gate.
func unsafe(m message) string {
	switch {
	case slices.Contains([]string{"ohms", "continuity", "diode"}, m.Mode) && m.Power != "off":
		return "resistance with the power on"
	case m.Mode == "volts_dc" && m.Power == "off" && !strings.HasPrefix(m.ID, "discharged "):
		return "volts with the power off"
	case m.Mode == "amps_dc" && (m.Power == "off" || strings.HasPrefix(m.Red, "pack.") && strings.HasPrefix(m.Black, "pack.")):
		return "amps across a source"
	case m.Power == "live" && len(m.Cautions) == 0:
		return "live without cautions"
	}
	return ""
}

// play runs the program over its line protocol until the verdict.
func (p *player) play(args []string, symptom string) (played, error) {
	fromUs, toProgram := io.Pipe()
	fromProgram, toUs := io.Pipe()
	code := make(chan int, 1)
	var errs bytes.Buffer
	go func() {
		c := run(args, fromUs, toUs, &errs)
		toUs.Close()
		code <- c
	}()
	defer toProgram.Close()
	var out played
	in := bufio.NewScanner(fromProgram)
	in.Buffer(nil, 1<<20)
	send := func(v any) error {
		line, err := json.Marshal(v)
		if err == nil {
			_, err = toProgram.Write(append(line, '\n'))
		}
		return err
	}
	for in.Scan() {
		var m message
		if err := json.Unmarshal(in.Bytes(), &m); err != nil {
			return out, fmt.Errorf("%w: %s", err, in.Text())
		}
		var err error
		switch m.Type {
		case "choose":
			err = send(map[string]any{"type": "answer", "answer": symptom})
		case "check":
			if why := unsafe(m); why != "" {
				out.unsafe = append(out.unsafe, m.ID+": "+why)
			}
			out.checks++
			out.minutes += m.Minutes
			var a map[string]any
			if a, err = p.answer(m); err == nil {
				out.trace = append(out.trace, fmt.Sprintf("%s = %v (%.2f bits)", m.ID, fmt.Sprint(a["value"], a["answer"], a["over"], a["why"]), m.Gain))
				err = send(a)
			}
		case "verdict":
			for _, c := range m.Causes {
				out.verdict = append(out.verdict, c.ID)
			}
			out.same = m.SameRepair
			err = send(map[string]any{"type": "quit"})
		case "error":
			err = errors.New(m.Message)
		}
		if err != nil {
			return out, err
		}
	}
	if c := <-code; c != exitVerdict {
		return out, fmt.Errorf("exit code %d: %s", c, errs.String())
	}
	return out, in.Err()
}

// probes are enough readings to tell whether a fault changes anything that a
// meter could see: every reachable pin against ground, and both ends of every
// wire and part with the power off, at rest and in the first symptom's state.
func probes(h harnessPins) []ngspice.Probe {
	var ps []ngspice.Probe
	for _, state := range h.states {
		for _, pin := range h.pins {
			ps = append(ps, ngspice.Probe{Setup: ngspice.Setup{State: state, Power: ngspice.Live}, Mode: "volts_dc", Red: pin, Black: h.ground})
		}
		for _, e := range h.ends {
			ps = append(ps, ngspice.Probe{Setup: ngspice.Setup{State: state, Power: ngspice.Off}, Mode: "ohms", Red: e[0], Black: e[1]})
		}
	}
	return ps
}

type harnessPins struct {
	ground string
	pins   []string
	ends   [][2]string
	states []map[string]string
}

func pinsOf(t *testing.T, path string, v *ngspice.Vehicle) harnessPins {
	t.Helper()
	h := loadHarness(t, path)
	out := harnessPins{ground: h.Ground, states: []map[string]string{nil}}
	for _, pin := range h.Pins() {
		if !h.NoAccess[pin] && pin != h.Ground {
			out.pins = append(out.pins, pin)
		}
	}
	end := func(a, b string) {
		if a != b && !h.NoAccess[a] && !h.NoAccess[b] {
			out.ends = append(out.ends, [2]string{a, b})
		}
	}
	for _, w := range h.Wires {
		end(w.From, w.To)
	}
	for _, p := range h.Parts {
		for _, e := range p.Elements {
			end(p.Name+"."+e.A, p.Name+"."+e.B)
		}
		for i := 1; i <= p.Ways; i++ {
			end(fmt.Sprintf("%s.%da", p.Name, i), fmt.Sprintf("%s.%db", p.Name, i))
		}
	}
	first, _ := h.State(h.Symptoms[0].State)
	out.states = append(out.states, first.Settings)
	return out
}

// measurable reports whether any probe differs from the healthy vehicle's by
// more than a meter's error.
func measurable(healthy, broken []ngspice.Reading) bool {
	for i := range healthy {
		h, b := healthy[i], broken[i]
		if h.Over != b.Over {
			return true
		}
		if !h.Over && math.Abs(h.Value-b.Value) > 0.5+0.03*math.Abs(h.Value) {
			return true
		}
	}
	return false
}

// tally is how all faults of a harness went.
type tally struct {
	played, unmeasurable, alone, same, checks int
	minutes                                   float64
	lost                                      []played
}

func (a *tally) add(o played) {
	a.played++
	a.checks += o.checks
	a.minutes += o.minutes
	if len(o.verdict) == 1 {
		a.alone++
	}
	if o.same {
		a.same++
	}
	if !slices.Contains(o.verdict, o.fault) {
		a.lost = append(a.lost, o)
	}
}

// found is the share of faults whose cause is in the verdict.
func (a *tally) found() float64 { return 1 - float64(len(a.lost))/float64(a.played) }

// TestPlayAgainstNgspice plays every single fault of two harnesses, put in by
// ngspice and not by our solver, through the program's line protocol: once with
// exact readings, once with the errors of the reference meter.
func TestPlayAgainstNgspice(t *testing.T) {
	total := 0
	for _, name := range []string{"cart-tail", "cart-throttle"} {
		t.Run(name, func(t *testing.T) {
			path := filepath.Join("..", "..", "testdata", "harness", name+".yaml")
			healthy, err := ngspice.Load(path)
			require.NoError(t, err)
			if _, err := healthy.Nodes(context.Background(), ngspice.Setup{Power: ngspice.Live}); errors.Is(err, ngspice.ErrMissing) {
				t.Skip("NOT PLAYED AGAINST NGSPICE: it is not installed")
			}
			pins := pinsOf(t, path, healthy)
			base, err := healthy.Measure(context.Background(), probes(pins))
			require.NoError(t, err)
			var mu sync.Mutex
			var exact, noisy tally
			jobs := make(chan func() error)
			var wg sync.WaitGroup
			for range 2 {
				wg.Go(func() {
					for job := range jobs {
						if err := job(); err != nil {
							t.Error(err)
						}
					}
				})
			}
			for i, fault := range healthy.Faults() {
				if i%playedFault != 0 {
					continue
				}
				values := []float64{0}
				if strings.HasSuffix(fault, " resistive") {
					values = resistances
				}
				for _, ohms := range values {
					jobs <- func() error {
						v, symptom, err := breakAs(healthy, fault, ohms)
						if err != nil {
							return fmt.Errorf("%s: %w", fault, err)
						}
						readings, err := v.Measure(context.Background(), probes(pins))
						if err != nil {
							return fmt.Errorf("%s: %w", fault, err)
						}
						for n := range noises + 1 { // the first without the meter's error
							a := &noisy
							if n == 0 {
								a = &exact
							}
							if a == &noisy && i%noisyFault != 0 {
								continue
							}
							if !measurable(base, readings) {
								mu.Lock()
								a.unmeasurable++
								mu.Unlock()
								continue
							}
							p := &player{v: v}
							if a == &noisy {
								p.noise = rand.New(rand.NewPCG(uint64(i), 6+uint64(n)))
							}
							o, err := p.play([]string{"find", "--harness", path, "--pipe", "--dir", t.TempDir()}, symptom)
							if err != nil {
								return fmt.Errorf("%s: %w", fault, err)
							}
							o.fault, o.ohms = fault, ohms
							o.trace = append([]string{fmt.Sprintf("symptom %q, blown %v", symptom, v.Blown())}, o.trace...)
							if len(o.unsafe) > 0 {
								return fmt.Errorf("%s: %s", fault, strings.Join(o.unsafe, "; "))
							}
							mu.Lock()
							a.add(o)
							mu.Unlock()
						}
						return nil
					}
				}
			}
			close(jobs)
			wg.Wait()
			for _, a := range []struct {
				kind  string
				least float64
				*tally
			}{{"exact", 1, &exact}, {"noisy", 0.98, &noisy}} {
				n := float64(a.played)
				fmt.Printf("%s, %s readings: %d cases played (%d change nothing measurable), true cause in the verdict %.1f %%, alone %.0f %%, one repair %.0f %%, mean %.1f checks, %.1f minutes, 0 unsafe\n",
					name, a.kind, a.played, a.unmeasurable, 100*a.found(), 100*float64(a.alone)/n, 100*float64(a.same)/n, float64(a.checks)/n, a.minutes/n)
				for _, o := range a.lost {
					t.Logf("lost %s (%g ohm): verdict %v after\n  %s", o.fault, o.ohms, o.verdict, strings.Join(o.trace, "\n  "))
				}
				require.Positive(t, a.played)
				require.GreaterOrEqual(t, a.found(), a.least)
				total += a.played
			}
		})
	}
	if total > 0 {
		fmt.Printf("%d cases of a harness, a fault and an error of the meter played\n", total)
		require.GreaterOrEqual(t, total, leastPlayed)
	}
}

// breakAs breaks the vehicle and picks the first declared symptom that it then
// shows. That symptom was seen, so the vehicle has been powered in its state.
func breakAs(healthy *ngspice.Vehicle, fault string, ohms float64) (v *ngspice.Vehicle, symptom string, err error) {
	ctx := context.Background()
	for _, s := range healthy.Symptoms() {
		var tried []string
		for name, settings := range healthy.States() {
			if maps.Equal(settings, s.State) {
				tried = []string{name}
			}
		}
		if v, err = healthy.Break(ctx, fault, ohms, tried...); err != nil {
			return nil, "", err
		}
		shows, err := v.Shows(ctx, ngspice.Setup{State: s.State, Power: ngspice.Live})
		if err != nil {
			return nil, "", err
		}
		if s.Matches(shows) {
			return v, s.ID, nil
		}
	}
	v, err = healthy.Break(ctx, fault, ohms)
	return v, somethingElse, err
}
