package main

import (
	"errors"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"syscall"
	"time"

	"probable/testdata/ladder/rungs"
)

func main() {
	n := flag.Int("rungs", 500, "rungs of the ladder; a fifth of them have a junction")
	runs := flag.Int("runs", 15, "how often each is timed, ngspice 3 times at most; the cheapest run counts")
	curve := flag.Bool("curve", false, "only ours, at several sizes")
	flag.Parse()
	if err := run(*n, *runs, *curve); err != nil {
		fmt.Fprintln(os.Stderr, "ladder:", err)
		os.Exit(1)
	}
}

func run(n, runs int, curve bool) error {
	if n < 1 || runs < 1 {
		return errors.New("rungs and runs are at least 1")
	}
	if curve {
		return costBySize(runs)
	}
	pins := rungs.Harness(n).Pins()
	fmt.Printf("%d rungs, %d opens, %d pins each\n", n, n, len(pins))
	theirs, theirCost, err := timeNgspice(n, min(runs, 3))
	if err != nil {
		return err
	}
	fmt.Printf("ngspice, one process: %s\n", theirCost.perFault(n))
	ours, ourCost, err := timeOurs(n, runs)
	if err != nil {
		return err
	}
	fmt.Printf("ours, %2d processors:  %s\n", runtime.GOMAXPROCS(0), ourCost.perFault(n))
	fmt.Printf("ours takes 1/%.3g of the time by the clock, 1/%.3g of the processor's\n",
		theirCost.wall.Seconds()/ourCost.wall.Seconds(), theirCost.cpu.Seconds()/ourCost.cpu.Seconds())
	worst, at, err := compare(ours, theirs, pins)
	if err != nil {
		return err
	}
	fmt.Printf("worst difference %.2g V, at %s\n", worst, at)
	return nil
}

// cost is the time that a job took, and the time that processors worked on it.
// The second hardly hangs on what else the machine does.
type cost struct{ wall, cpu time.Duration }

func (c cost) perFault(n int) string {
	return fmt.Sprintf("%8.3f s, %8.3f s of processor (%.0f us a fault)", c.wall.Seconds(), c.cpu.Seconds(), 1e6*c.cpu.Seconds()/float64(n))
}

// worked is the processor time of this process so far.
func worked() (time.Duration, error) {
	var u syscall.Rusage
	err := syscall.Getrusage(syscall.RUSAGE_SELF, &u)
	return time.Duration(u.Utime.Nano() + u.Stime.Nano()), err
}

// timeOurs solves the ladder several times over, from the harness on, and
// returns the cost of the cheapest run.
func timeOurs(n, runs int) (all [][]float64, least cost, err error) {
	for i := range runs {
		start := time.Now()
		before, err := worked()
		if err != nil {
			return nil, cost{}, err
		}
		if all, err = rungs.Solve(rungs.Harness(n)); err != nil {
			return nil, cost{}, err
		}
		after, err := worked()
		if err != nil {
			return nil, cost{}, err
		}
		if took := (cost{time.Since(start), after - before}); i == 0 || took.cpu < least.cpu {
			least = took
		}
	}
	return all, least, nil
}

// timeNgspice has one process solve the same, several times over, and returns
// the cost of the cheapest from start to end; writing the deck and reading the
// answers are not in it.
func timeNgspice(n, runs int) (all [][]float64, least cost, err error) {
	dir, err := os.MkdirTemp("", "ladder")
	if err != nil {
		return nil, cost{}, err
	}
	defer os.RemoveAll(dir)
	deck, raw := filepath.Join(dir, "ladder.cir"), filepath.Join(dir, "ladder.raw")
	f, err := os.Create(deck)
	if err != nil {
		return nil, cost{}, err
	}
	if err := errors.Join(writeDeck(f, n, raw), f.Close()); err != nil {
		return nil, cost{}, err
	}
	var out []byte
	var failed error
	for i := range runs {
		if err := os.RemoveAll(raw); err != nil { // ngspice adds to what is there
			return nil, cost{}, err
		}
		cmd := exec.Command("ngspice", "-b", "-n", deck)
		cmd.Dir = dir
		start := time.Now()
		out, failed = cmd.CombinedOutput()
		wall := time.Since(start)
		if errors.Is(failed, exec.ErrNotFound) {
			return nil, cost{}, fmt.Errorf("NOT CHECKED AGAINST NGSPICE: %w", failed)
		}
		if took := (cost{wall, cmd.ProcessState.UserTime() + cmd.ProcessState.SystemTime()}); i == 0 || took.cpu < least.cpu {
			least = took
		}
	}
	answers, err := os.Open(raw)
	if err != nil {
		return nil, cost{}, fmt.Errorf("ngspice wrote no answers (%w): %s", errors.Join(failed, err), out)
	}
	defer answers.Close()
	all, err = readRaw(answers, rungs.Harness(n).Pins())
	return all, least, err
}

// Two answers agree within agreeVolts or, of more than a volt, agreeShare.
const (
	agreeVolts = 1e-3
	agreeShare = 1e-3
)

// compare returns the worst difference in V and where it is, and an error
// where two voltages do not agree.
func compare(ours, theirs [][]float64, pins []string) (worst float64, at string, err error) {
	if len(ours) != len(theirs) {
		return 0, "", fmt.Errorf("%d faults of ours, %d of ngspice", len(ours), len(theirs))
	}
	for i := range ours {
		for j, v := range ours[i] {
			off, where := math.Abs(v-theirs[i][j]), fmt.Sprintf("%s with %s open", pins[j], rungs.Rail(i))
			if !(off <= max(agreeVolts, agreeShare*math.Abs(theirs[i][j]))) {
				return off, where, fmt.Errorf("%s: %.7g V, ngspice says %.7g V", where, v, theirs[i][j])
			}
			if off >= worst {
				worst, at = off, where
			}
		}
	}
	return worst, at, nil
}

// costBySize prints what a fault costs at several sizes, and the exponent of
// the size in it: the slope of a straight line through the logarithms.
func costBySize(runs int) error {
	var sx, sy, sxx, sxy, count float64
	for _, n := range []int{50, 100, 200, 500, 1000, 2000} {
		_, took, err := timeOurs(n, runs)
		if err != nil {
			return err
		}
		fmt.Printf("%5d rungs: %s\n", n, took.perFault(n))
		x, y := math.Log(float64(n)), math.Log(took.cpu.Seconds()/float64(n))
		sx, sy, sxx, sxy, count = sx+x, sy+y, sxx+x*x, sxy+x*y, count+1
	}
	fmt.Printf("cost of a fault grows as the size to the power %.2f\n", (count*sxy-sx*sy)/(count*sxx-sx*sx))
	return nil
}
