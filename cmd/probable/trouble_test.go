//go:build unix

package main

import (
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/casefile"
	"probable/engine/circuit"
)

const tail = "../../testdata/harness/cart-tail.yaml"

// typist types a line each time that one is asked for; a line may first change
// something.
type typist []func() string

func (p *typist) Read(b []byte) (int, error) {
	if len(*p) == 0 {
		return 0, io.EOF
	}
	line := (*p)[0]() + "\n"
	*p = (*p)[1:]
	return copy(b, line), nil
}

func line(s string) func() string { return func() string { return s } }

// alone runs a test in a process of its own, where a limit on files strikes
// nothing else, and reports whether it has done so.
func alone(t *testing.T) (done bool) {
	t.Helper()
	const own = "PROBABLE_TEST_ALONE"
	if os.Getenv(own) != "" {
		return false
	}
	self, err := os.Executable()
	require.NoError(t, err)
	c := exec.Command(self, "-test.run=^"+t.Name()+"$", "-test.v")
	c.Env = append(os.Environ(), own+"=1")
	said, err := c.CombinedOutput()
	require.NoError(t, err, "%s", said)
	require.Contains(t, string(said), "--- PASS: "+t.Name(), "it ran")
	return true
}

// noGrowth keeps files of this process from growing beyond so many bytes, as a
// full disk does, until the test or the caller ends it.
func noGrowth(t testing.TB, most int64) (end func()) {
	t.Helper()
	signal.Ignore(syscall.SIGXFSZ)
	var was syscall.Rlimit
	require.NoError(t, syscall.Getrlimit(syscall.RLIMIT_FSIZE, &was))
	now := was
	now.Cur = uint64(most)
	require.NoError(t, syscall.Setrlimit(syscall.RLIMIT_FSIZE, &now))
	end = func() { _ = syscall.Setrlimit(syscall.RLIMIT_FSIZE, &was) }
	t.Cleanup(end)
	return end
}

// journalFile is the path of the one case of a folder.
func journalFile(t testing.TB, dir string) string {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.case.jsonl"))
	require.NoError(t, err)
	require.Len(t, files, 1)
	return files[0]
}

func bytesOf(t testing.TB, file string) int64 {
	t.Helper()
	info, err := os.Stat(file)
	require.NoError(t, err)
	return info.Size()
}

// values are the readings of a case's records that stand.
func values(t testing.TB, dir string) []float64 {
	t.Helper()
	id := strings.TrimSuffix(filepath.Base(journalFile(t, dir)), ".case.jsonl")
	records, err := casefile.Read(dir, id)
	require.NoError(t, err)
	var out []float64
	for _, r := range casefile.Standing(records) {
		if r.Event != nil && r.Event.Value != nil {
			out = append(out, *r.Event.Value)
		}
	}
	return out
}

// TestTroubleAtTheBench breaks the place of the journal in several ways between two
// readings: it is said in plain words, no other reading is taken meanwhile, and
// retry saves the one that waits.
func TestTroubleAtTheBench(t *testing.T) {
	if alone(t) {
		return
	}
	for _, tt := range []struct {
		name, want string
		spoil      func(t *testing.T, dir string) (mend func())
	}{
		{"may not grow", "may not grow any further", func(t *testing.T, dir string) func() {
			return noGrowth(t, bytesOf(t, journalFile(t, dir))+40)
		}},
		{"folder moved away", "is gone", func(t *testing.T, dir string) func() {
			require.NoError(t, os.Rename(dir, dir+".away"))
			return func() { require.NoError(t, os.Rename(dir+".away", dir)) }
		}},
		{"folder deleted", "is gone", func(t *testing.T, dir string) func() {
			require.NoError(t, os.RemoveAll(dir))
			return func() { require.NoError(t, os.Mkdir(dir, 0o700)) }
		}},
		{"another file in its place", "is another file now", func(t *testing.T, dir string) func() {
			p := journalFile(t, dir)
			require.NoError(t, os.Rename(p, p+".away"))
			require.NoError(t, os.WriteFile(p, []byte("my shopping list\n"), 0o600))
			return func() { require.NoError(t, os.Rename(p+".away", p)) }
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			dir := filepath.Join(t.TempDir(), "cases")
			var mend func()
			keys := typist{line("36.2"),
				func() string { mend = tt.spoil(t, dir); return "0.35" },
				line("36.0"), // of the next check, typed too soon
				line("retry"),
				func() string { mend(); return "retry" },
				line("note saved again"), line("36.0"), line("stop")}
			var out, errs strings.Builder
			code := run([]string{"find", "--plain", "--dir", dir, "--harness", tail, "--symptom", "tail dark"}, &keys, &out, &errs)
			require.Equal(t, exitNoVerdict, code, errs.String())
			require.Equal(t, 2, strings.Count(unfolded(out.String()), tt.want), out.String())
			require.Equal(t, 2, strings.Count(unfolded(out.String()), "Nothing that you typed is lost."), out.String())
			require.Contains(t, out.String(), `Not taken: "36.0".`)
			require.Contains(t, out.String(), "  Saved.\n")
			require.Equal(t, []float64{0.35, 36}, values(t, dir))
			// And it is taken up where it was left.
			id := strings.TrimSuffix(filepath.Base(journalFile(t, dir)), ".case.jsonl")
			_, lines, _ := converse(t, "", "resume", id, "--pipe", "--dir", dir)
			require.Equal(t, 3, lines[0].N)
		})
	}
}

// TestTroubleGivenUp leaves while an answer is not saved: the exit code and the
// message say so.
func TestTroubleGivenUp(t *testing.T) {
	if alone(t) {
		return
	}
	dir := t.TempDir()
	keys := typist{line("36.2"), line("0.35"), func() string { noGrowth(t, bytesOf(t, journalFile(t, dir))); return "36.0" }, line("pause")}
	var out, errs strings.Builder
	code := run([]string{"find", "--plain", "--dir", dir, "--harness", tail, "--symptom", "tail dark"}, &keys, &out, &errs)
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs.String(), "the last answer is not saved; all before it is")
	require.Equal(t, []float64{0.35}, values(t, dir))
}

// TestTroubleOverThePipe has the same over the line protocol: an error, the same
// check again, and retry or the same answer again.
func TestTroubleOverThePipe(t *testing.T) {
	if alone(t) {
		return
	}
	for _, again := range []map[string]any{{"type": "retry"}, {"type": "reading", "n": 1, "value": 0.35}} {
		t.Run(fmt.Sprint(again["type"]), func(t *testing.T) {
			dir := t.TempDir()
			d := start(t, "find", "--pipe", "--dir", dir, "--harness", tail, "--symptom", "tail dark")
			first := d.want("check")
			d.say(map[string]any{"type": "retry"})
			require.Contains(t, d.want("error").raw, "nothing waits to be saved")
			require.Equal(t, first.raw, d.want("check").raw)
			end := noGrowth(t, bytesOf(t, journalFile(t, dir))+10)
			for range 2 {
				d.say(map[string]any{"type": "reading", "n": 1, "value": 0.35})
				require.Contains(t, d.want("error").raw, "may not grow any further")
				require.Equal(t, first.raw, d.want("check").raw)
			}
			end()
			require.Empty(t, values(t, dir))
			d.say(again)
			d.want("ranking")
			require.Equal(t, 2, d.want("check").N)
			require.Equal(t, exitNoVerdict, d.finish())
			require.Equal(t, []float64{0.35}, values(t, dir))
		})
	}
}

// TestTroubleAtTheStart cannot make the case at first: what was answered before
// the first check is not asked again.
func TestTroubleAtTheStart(t *testing.T) {
	if alone(t) {
		return
	}
	dir := filepath.Join(t.TempDir(), "cases")
	var end func()
	keys := typist{
		func() string { end = noGrowth(t, 100); return "36.2" },
		line("retry"),
		func() string { end(); return "retry" },
		line("0.35"), line("stop")}
	var out, errs strings.Builder
	code := run([]string{"find", "--plain", "--dir", dir, "--harness", tail, "--symptom", "tail dark"}, &keys, &out, &errs)
	require.Equal(t, exitNoVerdict, code, errs.String())
	require.Equal(t, 2, strings.Count(out.String(), "cannot be kept"), out.String())
	require.Equal(t, []float64{0.35}, values(t, dir))
	require.Contains(t, journalFile(t, dir), "-1.case.jsonl", "no empty case is left behind")

	// Over the pipe the end of the input is the end of it.
	dir = filepath.Join(t.TempDir(), "cases")
	end = noGrowth(t, 100)
	code, lines, said := converse(t, "", "find", "--pipe", "--dir", dir, "--harness", tail, "--symptom", "tail dark")
	end()
	require.Equal(t, exitFailed, code)
	require.Equal(t, "error", lines[0].Type)
	require.Contains(t, said, "may not grow any further")
}

// TestTroubleInAReplay leaves no half of a new case behind.
func TestTroubleInAReplay(t *testing.T) {
	if alone(t) {
		return
	}
	dir, _, id := twoReadings(t)
	end := noGrowth(t, bytesOf(t, journalFile(t, dir))-20)
	_, errs, code := program(t, "resume", id, "--replay", "--plain", "--dir", dir)
	end()
	require.Equal(t, exitFailed, code)
	require.Contains(t, errs, "the new case cannot be kept")
	require.Equal(t, id, onlyCase(t, dir))
}

// course is all that a console shows of a session.
func course(s *session) string {
	step := s.course.Next()
	var b strings.Builder
	if step.Check != nil {
		fmt.Fprintln(&b, step.N, step.Check.ID, step.Bits, step.Proof)
	}
	ranking, bits := s.course.Ranking()
	for _, x := range ranking {
		fmt.Fprintln(&b, x.Cause.ID, x.P)
	}
	for _, t := range s.course.Taken() {
		fmt.Fprintln(&b, t.Check.ID, t.Result, t.Skipped, t.Healthy, t.Proof, t.Stale)
	}
	fmt.Fprintln(&b, bits, s.course.Phase(), s.course.Status(), s.course.Events(), len(s.course.HandOffs()))
	return b.String()
}

// TestFailingSaves plays answers, skips, revisions, undos and repairs at random,
// right ones and wrong ones, to two sessions. To one the disk fails at times, in
// the middle of a record: it must come to the same course as the other, and so must
// its journal.
func TestFailingSaves(t *testing.T) {
	if alone(t) {
		return
	}
	base := shippedBase(t)
	opened := func(guide string) (casefile.Opened, *circuit.Harness) {
		if guide != "" {
			return casefile.Opened{Guide: guide}, nil
		}
		data, err := os.ReadFile(tail)
		require.NoError(t, err)
		h := loadHarness(t, tail)
		return casefile.Opened{HarnessFile: tail, HarnessText: string(data), Harness: h.Name, Symptom: "tail dark"}, h
	}
	failures, applied := 0, map[engine.EventKind]int{}
	for seed := range uint64(6) {
		r := rand.New(rand.NewPCG(seed, 5))
		o, h := opened([]string{"", "no power at all"}[seed/4])
		var both [2]*session
		var dirs [2]string
		for i := range both {
			s, err := build(base, o, h)
			require.NoError(t, err)
			dirs[i] = t.TempDir()
			s.journal, err = casefile.Create(dirs[i], time.Now(), o)
			require.NoError(t, err)
			both[i] = s
		}
		for range 40 {
			e := anyEvent(r, both[1].course)
			before := course(both[0])
			err := error(nil)
			if r.IntN(2) == 0 {
				end := noGrowth(t, bytesOf(t, journalFile(t, dirs[0]))+int64(r.IntN(60)))
				err = both[0].apply(e)
				end()
				require.Error(t, err)
				require.Equal(t, before, course(both[0]), "what is not saved does not count")
				if _, lost := err.(*unsavedError); lost {
					failures++
					if r.IntN(2) == 0 {
						err = both[0].retry()
					} else {
						err = both[0].apply(e)
					}
				}
			} else {
				err = both[0].apply(e)
			}
			other := both[1].apply(e)
			if other != nil {
				require.EqualError(t, err, other.Error())
			} else {
				require.NoError(t, err)
				applied[e.Kind]++
			}
			require.Equal(t, course(both[1]), course(both[0]), "seed %d after %v", seed, e)
		}
		for i := range both {
			id := both[i].journal.ID
			require.NoError(t, both[i].journal.Close())
			records, err := casefile.Read(dirs[i], id)
			require.NoError(t, err)
			again, err := restore(base, id, records)
			require.NoError(t, err)
			require.Equal(t, course(both[1]), course(again))
		}
	}
	t.Logf("%d saves failed; applied: %v", failures, applied)
	require.Greater(t, failures, 30)
	for _, kind := range []engine.EventKind{engine.Read, engine.Skipped, engine.Undone, engine.Revised, engine.Repaired} {
		require.Positive(t, applied[kind], kind)
	}
}

// anyEvent is an event that may come now; it may not fit.
func anyEvent(r *rand.Rand, c *engine.Course) engine.Event {
	step := c.Next()
	result := func(k *engine.Check) engine.Result {
		switch {
		case k.Mode.Numeric() && k.Expect != nil && r.IntN(2) == 0:
			return engine.Result{Value: k.Expect.Low}
		case k.Mode.Numeric():
			return engine.Result{Value: []float64{0, 0.35, 36, 5e11}[r.IntN(4)], Over: r.IntN(9) == 0}
		case len(k.Answers) > 0:
			return engine.Result{Answer: k.Answers[r.IntN(len(k.Answers))]}
		}
		return engine.Result{Answer: "what?"}
	}
	taken := c.Taken()
	switch n := r.IntN(12); {
	case n == 0:
		return engine.Event{Kind: engine.Undone}
	case n == 1 && len(taken) > 0:
		k := r.IntN(len(taken))
		return engine.Event{Kind: engine.Revised, N: k + 1, Result: result(taken[k].Check)}
	case n == 2 && step.Check != nil:
		return engine.Event{Kind: engine.Skipped, Check: step.Check.ID, Why: "no room"}
	case n == 3 || step.Check == nil && n < 9:
		ranking, _ := c.Ranking()
		return engine.Event{Kind: engine.Repaired, Cause: ranking[r.IntN(2)].Cause.ID}
	case step.Check == nil:
		return engine.Event{Kind: engine.Undone}
	}
	return engine.Event{Kind: engine.Read, Check: step.Check.ID, Result: result(step.Check)}
}

// TestManyCases lists 500 cases within two seconds of the processor's time; the
// clock on the wall says little on a machine that is shared.
func TestManyCases(t *testing.T) {
	dir := t.TempDir()
	atBench(t, dir, brokenWire+mendedWire)
	file := journalFile(t, dir)
	data, err := os.ReadFile(file)
	require.NoError(t, err)
	for n := 2; n <= 500; n++ {
		require.NoError(t, os.WriteFile(strings.Replace(file, "-1.case", fmt.Sprintf("-%d.case", n), 1), data, 0o600))
	}
	spent := func() time.Duration {
		var u syscall.Rusage
		require.NoError(t, syscall.Getrusage(syscall.RUSAGE_SELF, &u))
		return time.Duration(u.Utime.Nano() + u.Stime.Nano())
	}
	from, began := spent(), time.Now()
	out, errs, code := program(t, "cases", "--dir", dir)
	took := spent() - from
	require.Zero(t, code, errs)
	require.Equal(t, 500, strings.Count(out, "repaired wire w2 open\n"))
	t.Logf("500 cases: %v of the processor, %v on the wall", took, time.Since(began))
	require.Less(t, took, 2*time.Second)
}

// TestTroubleBeforeTheStart: a folder that cannot hold a case is told before the
// first question, and the questions come once that is put right.
func TestTroubleBeforeTheStart(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "cases")
	require.NoError(t, os.WriteFile(dir, []byte("a file"), 0o600))
	keys := typist{
		line("tail dark"), // too soon
		func() string { require.NoError(t, os.Remove(dir)); return "retry" },
		line("tail dark"), line("36.2"), line("0.35"), line("stop")}
	var out, errs strings.Builder
	code := run([]string{"find", "--plain", "--dir", dir, "--harness", tail}, &keys, &out, &errs)
	require.Equal(t, exitNoVerdict, code, errs.String())
	before, after, ok := strings.Cut(out.String(), "What is wrong?")
	require.True(t, ok)
	require.Contains(t, before, "The case cannot be kept: there is no folder at")
	require.Contains(t, before, "Not taken")
	require.NotContains(t, after, "cannot be kept")
	require.Equal(t, []float64{0.35}, values(t, dir))
	left, err := os.ReadDir(dir)
	require.NoError(t, err)
	for _, x := range left {
		require.NotContains(t, x.Name(), "ready", "the trial leaves nothing behind")
	}
}

// TestSignal sends control-C as a signal, at different times of a reading that is
// being typed, worked out or saved: the case is kept as far as it was answered, and nobody works
// on it at the same time (with -race).
func TestSignal(t *testing.T) {
	for _, after := range []time.Duration{0, time.Millisecond, 5 * time.Millisecond, 20 * time.Millisecond, time.Second} {
		dir := t.TempDir()
		never, typing := io.Pipe() // nobody types on it after all that was typed
		keys := typist{line("36.2"), line("0.35"), func() string {
			go func() {
				time.Sleep(after)
				require.NoError(t, syscall.Kill(os.Getpid(), syscall.SIGINT))
			}()
			return "36.0"
		}}
		var out, errs strings.Builder
		code := run([]string{"find", "--plain", "--dir", dir, "--harness", tail, "--symptom", "tail dark"}, io.MultiReader(&keys, never), &out, &errs)
		require.Equal(t, exitNoVerdict, code, errs.String())
		require.Contains(t, out.String(), "is kept. Go on with:")
		got := values(t, dir)
		require.Contains(t, [][]float64{{0.35}, {0.35, 36}}, got)
		if after == time.Second {
			require.Len(t, got, 2)
		}
		typing.Close()
	}
}
