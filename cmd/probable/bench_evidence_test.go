package main

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestBenchEvidence asks what raised and lowered the leading causes, and one that
// does not lead.
func TestBenchEvidence(t *testing.T) {
	got := atBench(t, t.TempDir(), strings.Join([]string{"36.2", "evidence", "0.35", "OL", "evidence",
		"evidence PART f1 blown", "evidence wire w9 open", "no beep", "OL", "evidence", "stop"}, "\n")+"\n")
	for _, want := range []string{
		"  part tail open: 13 %; nothing was read yet\n",
		"  wire w2 open: 7 % at the start, 56 % now\n    x2.6   check 1: 0.35 V at p1.1b; it would show 6.96 mV to 0.35 V\n",
		"  way p1.1 open: 5 % at the start, 42 % now; by the same as wire w2 open\n",
		"  part f1 blown: 10 % at the start, <1 % now\n    x2.6   check 1",
		"    /151   check 2: OL at f1.b, tail on; it would show 143 ohm\n",
		"There is no cause \"wire w9 open\"; ranking names them.",
		"    little: check 4\n", // at the verdict
	} {
		require.Contains(t, got, want)
	}
	require.Equal(t, 1, strings.Count(got, "VERDICT\n"), "what is asked back does not show it all again")
}

// TestBenchDoubts: the check that puts a reading to the test names it; and where
// a reading was wrong the verdict says so and how to change it.
func TestBenchDoubts(t *testing.T) {
	got := atBench(t, t.TempDir(), "36.2\n36.0\n0\n143\nno beep\nstop\n")
	require.Equal(t, 1, strings.Count(got, "alone carries what leads"))
	require.Contains(t, got, "Check 4   power OFF: pack unplugged\n  Check 1 (36 V at p1.1b) alone carries what leads. This asks the same by\n  another way.\n")
	require.NotContains(t, got, "probably wrong")

	// The wire w2 is open, and its ohms were misread.
	got = atBench(t, t.TempDir(), misreadWire+"change 4 OL\nstop\n")
	require.Contains(t, got, "Check 4 (0.2 ohm from f1.b to p1.1a, tail on) fits badly with the others. This\n  asks the same by another way.\n")
	said := "  Check 4 (0.2 ohm from f1.b to p1.1a, tail on) was probably wrong: what leads\n  shows something else there. Take it again, then type change 4 and what it\n  shows.\n  Repair:"
	require.Equal(t, 1, strings.Count(got, said), got)
	_, got, _ = strings.Cut(got, said)
	require.Contains(t, got, "VERDICT\n  >99 %  wire w2 open\n  Repair:", "taken again it is not said any more")
}

// TestBenchTry: a repair that may be tried is offered beside the check with what
// it takes, risks and needs; it is taken as a repair is at a verdict, and the short
// check comes before power.
func TestBenchTry(t *testing.T) {
	got := atBench(t, t.TempDir(), "36\nrepaired\ntry\n9.4\ntry\nrepaired wire w9 open\nrepaired\n259\nstop\n")
	require.Contains(t, got, "Type repaired and the cause, as ranking names it.")
	require.Contains(t, got, "No repair is worth trying before this check.")
	_, got, _ = strings.Cut(got, "Check 2 ")
	offer, got, _ := strings.Cut(got, "Reading in V:")
	require.Contains(t, offer, "    or try mending wire w5 to supply (98 %): about 24 min with its proof of 3\n           checks; no module is at risk.")
	for _, want := range []string{"! Unplug the pack first; power comes back only after the short check.", "  Repair: Find where the wire touches",
		"  ! The pack's voltage may have reached what hangs on this wire", "    - short check pack.plus to pack.minus, tail on\n    - look at tail, tail on\n"} {
		require.Contains(t, got, want)
	}
	require.Contains(t, got, `there is no cause "wire w9 open" here`)
	_, after, ok := strings.Cut(got, "Check 2   power OFF: pack unplugged (to prove the repair)")
	require.True(t, ok, got)
	require.Contains(t, after, "Before any power: pack unplugged.")
	require.Contains(t, after, "Check 3   power LIVE (to prove the repair)")
}

// TestPipeEvidence: the same over the line protocol.
func TestPipeEvidence(t *testing.T) {
	say := func(messages ...string) []map[string]any {
		return pipeSays(t, t.TempDir(), messages...)
	}
	got := say(`{"type":"reading","n":1,"value":0.35}`, `{"type":"reading","n":2,"over":true}`, `{"type":"explain"}`,
		`{"type":"explain","cause":"part f1 blown"}`, `{"type":"answer","n":3,"answer":"no beep"}`, `{"type":"explain","cause":"x"}`)
	all := of(got, "evidence")
	require.Len(t, all, 2)
	require.Len(t, all[0]["causes"], 3)
	one := all[1]["causes"].([]any)[0].(map[string]any)
	require.Equal(t, "part f1 blown", one["id"])
	p := one["start"].(float64)
	for _, f := range one["factors"].([]any) {
		p *= f.(map[string]any)["times"].(float64)
	}
	require.InDelta(t, one["p"], p, 1e-5, "the factors lead from the start to now")
	checks := of(got, "check")
	require.NotContains(t, checks[2], "doubts")
	require.Equal(t, `there is no cause "x"`, of(got, "error")[0]["message"])
	require.Equal(t, checks[3], checks[4], "after an error the check is sent again")
	require.NotContains(t, checks[1], "try")

	got = say(`{"type":"reading","n":1,"value":36}`, `{"type":"reading","n":2,"value":0}`, `{"type":"reading","n":3,"value":143}`)
	require.Equal(t, 1.0, of(got, "check")[3]["doubts"])

	got = say(`{"type":"reading","n":1,"value":9.4}`)
	try := of(got, "check")[1]["try"].(map[string]any)
	require.Equal(t, "wire w5 to supply", try["cause"])
	require.Zero(t, try["module_risk"])
	require.Len(t, try["prove"], 3)
	require.Positive(t, try["saves_minutes"])
}

// of are the messages of one type.
func of(messages []map[string]any, kind string) (out []map[string]any) {
	for _, m := range messages {
		if m["type"] == kind {
			out = append(out, m)
		}
	}
	return out
}
