package main

import (
	"bufio"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"probable/engine"
	"probable/engine/casefile"
)

// reexec is set where the test binary stands in for the program.
const reexec = "PROBABLE_TEST_REEXEC"

// TestReexec is the program itself where another test has started it.
func TestReexec(t *testing.T) {
	if os.Getenv(reexec) == "" {
		t.Skip("only when started by TestKill")
	}
	var args []string
	for i, a := range os.Args {
		if a == "--" {
			args = os.Args[i+1:]
		}
	}
	os.Exit(run(args, os.Stdin, os.Stdout, os.Stderr))
}

// child is the program as another process.
type child struct {
	cmd *exec.Cmd
	in  io.WriteCloser
	out *bufio.Scanner
}

func startChild(t *testing.T, args ...string) *child {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	cmd := exec.Command(self, append([]string{"-test.run=^TestReexec$", "--"}, args...)...)
	cmd.Env = append(os.Environ(), reexec+"=1")
	cmd.Stderr = os.Stderr
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	out, err := cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, cmd.Start())
	c := &child{cmd: cmd, in: in, out: bufio.NewScanner(out)}
	c.out.Buffer(nil, 1<<20)
	t.Cleanup(func() { _ = cmd.Process.Kill(); _ = cmd.Wait() })
	return c
}

// next returns the next line and what it says; its type must be one of those wanted.
func (c *child) next(t *testing.T, want ...string) (string, message) {
	t.Helper()
	require.True(t, c.out.Scan(), "the program ended: %v", c.out.Err())
	var m message
	require.NoError(t, json.Unmarshal(c.out.Bytes(), &m), c.out.Text())
	require.Contains(t, want, m.Type, c.out.Text())
	return c.out.Text(), m
}

// kill ends the program as a power cut does, with no leave to tidy up.
func (c *child) kill(t *testing.T) {
	t.Helper()
	require.NoError(t, c.cmd.Process.Kill())
	require.Error(t, c.cmd.Wait(), "a killed process does not end well")
}

// TestKill kills the program after k readings were acknowledged: all k must
// be in the journal, and resume must go on with the check that was asked for.
func TestKill(t *testing.T) {
	harness := filepath.Join("..", "..", "testdata", "harness", "cart-tail.yaml")
	for k := 1; k <= 3; k++ {
		for _, torn := range []bool{false, true}[:1+k%2] { // both at 1 and 3
			t.Run(fmt.Sprintf("after %d, torn %v", k, torn), func(t *testing.T) {
				dir := t.TempDir()
				c := startChild(t, "find", "--pipe", "--harness", harness, "--symptom", "tail dark", "--dir", dir)
				cart := &cart{volts: 36, broken: linkBefore("p1.1b")} // way p1.1
				step, m := c.next(t, "check")
				var asked []message
				var last, ranking string // the check that was answered last, and what it brought
				for i := range k {
					require.Equal(t, "check", m.Type, "too few checks for this test")
					require.Equal(t, i+1, m.N)
					asked, last = append(asked, m), step
					line, err := json.Marshal(cart.reply(m))
					require.NoError(t, err)
					_, err = c.in.Write(append(line, '\n'))
					require.NoError(t, err)
					ranking, _ = c.next(t, "ranking")
					step, m = c.next(t, "check", "verdict")
				}
				c.kill(t)

				ids, err := casefile.List(dir)
				require.NoError(t, err)
				require.Len(t, ids, 1)
				if torn { // the cut came in the middle of the next record
					p := filepath.Join(dir, ids[0]+".case.jsonl")
					f, err := os.OpenFile(p, os.O_WRONLY|os.O_APPEND, 0)
					require.NoError(t, err)
					_, err = f.WriteString(`{"kind":"event","time":"2026-11-2`)
					require.NoError(t, err)
					require.NoError(t, f.Close())
				}
				records, err := casefile.Read(dir, ids[0])
				require.NoError(t, err)
				require.Len(t, records, 1+k)
				require.Equal(t, "tail dark", records[0].Opened.Symptom)
				for i, a := range asked {
					e := records[1+i].Event
					require.NotNil(t, e)
					require.Equal(t, engine.Read, e.Kind)
					require.Equal(t, a.ID, e.Check)
					want := cart.reply(a)
					if v, ok := want["value"]; ok {
						require.NotNil(t, e.Value)
						require.Equal(t, v, *e.Value)
					}
					require.Equal(t, want["over"] == true, e.Over)
					if want["type"] == "answer" {
						require.Equal(t, want["answer"], e.Answer)
					}
				}

				// The lock died with its owner. What was asked for is asked again, to the
				// byte; taking the last reading back and giving it again brings the same
				// ranking as before the kill.
				answer, err := json.Marshal(cart.reply(asked[k-1]))
				require.NoError(t, err)
				_, lines, errs := converse(t, `{"type":"undo"}`+"\n"+string(answer)+"\n", "resume", ids[0], "--pipe", "--dir", dir)
				require.Empty(t, errs)
				require.Len(t, lines, 5, "step, ranking, check, ranking, step")
				require.Equal(t, step, lines[0].raw)
				if lines[0].Type == "check" {
					require.Equal(t, k+1, lines[0].N)
				}
				require.Equal(t, last, lines[2].raw)
				require.Equal(t, "ranking", lines[3].Type)
				require.Equal(t, ranking, lines[3].raw)
				require.Equal(t, step, lines[4].raw)

				// And the case can be brought to its end.
				d := start(t, "resume", ids[0], "--pipe", "--dir", dir)
				v := d.work(cart.reply)
				require.Equal(t, "way p1.1 open", v.Causes[0].ID)
				require.Equal(t, exitVerdict, d.finish())
			})
		}
	}
}

// TestResumeRefuses holds that resume says what is wrong with a case.
func TestResumeRefuses(t *testing.T) {
	dir := t.TempDir()
	for name, want := range map[string]string{
		"2026-11-25-1": "there is no case 2026-11-25-1",
		"nonsense":     `"nonsense" is not a case`,
	} {
		code, lines, errs := converse(t, "", "resume", name, "--pipe", "--dir", dir)
		require.Equal(t, exitInput, code)
		require.Empty(t, lines)
		require.Contains(t, errs, want)
		require.Equal(t, 1, strings.Count(errs, "\n"))
	}
}

// TestResumeBusy holds that a case that is being worked is not taken up twice.
func TestResumeBusy(t *testing.T) {
	dir := t.TempDir()
	harness := filepath.Join("..", "..", "testdata", "harness", "cart-tail.yaml")
	c := startChild(t, "find", "--pipe", "--harness", harness, "--symptom", "tail dark", "--dir", dir)
	c.next(t, "check")
	ids, err := casefile.List(dir)
	require.NoError(t, err)
	require.Len(t, ids, 1)
	code, _, errs := converse(t, "", "resume", ids[0], "--pipe", "--dir", dir)
	require.Equal(t, exitInput, code)
	require.Contains(t, errs, casefile.ErrBusy.Error())
	c.kill(t)
	code, lines, errs := converse(t, "", "resume", ids[0], "--pipe", "--dir", dir)
	require.Equal(t, exitNoVerdict, code, errs)
	require.Len(t, lines, 1)
}
