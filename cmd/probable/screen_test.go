package main

import (
	"bytes"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/require"

	"probable/testdata/played/screen"
)

// openTerminal opens a terminal in which probable is this test's program, in the
// root of the module, and returns where its bytes are recorded.
func openTerminal(t *testing.T, columns, rows int, env ...string) (term *screen.Terminal, record string) {
	t.Helper()
	self, err := os.Executable()
	require.NoError(t, err)
	root, err := filepath.Abs(filepath.Join("..", ".."))
	require.NoError(t, err)
	own, err := os.MkdirTemp("", "screen") // short: a socket's path has a limit
	require.NoError(t, err)
	t.Cleanup(func() { os.RemoveAll(own) })
	script := "#!/bin/sh\nexec '" + self + "' -test.run='^TestReexec$' -- \"$@\"\n"
	require.NoError(t, os.WriteFile(filepath.Join(own, "probable"), []byte(script), 0o700))
	env = append(env, reexec+"=1", "PATH="+own+":/usr/bin:/bin", "HOME="+own, "XDG_STATE_HOME="+filepath.Join(own, "cases"))
	term, err = screen.Open(columns, rows, root, own, env...)
	if err == screen.ErrMissing {
		t.Skip("NOT CHECKED IN A TERMINAL: tmux is not installed")
	}
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, term.Close()) })
	record = filepath.Join(own, "bytes")
	require.NoError(t, term.Record(record))
	return term, record
}

const findDeadThrottle = `probable find --harness testdata/harness/cart-throttle.yaml --symptom "no throttle response"`

// TestScreen plays the first checks at two sizes, with the prompts that a person
// gets, and looks at each screen.
func TestScreen(t *testing.T) {
	for _, size := range []struct {
		name          string
		columns, rows int
	}{{"80x24", 80, 24}, {"40x24", 40, 24}} {
		t.Run(size.name, func(t *testing.T) {
			term, record := openTerminal(t, size.columns, size.rows)
			s, err := term.Answer(findDeadThrottle)
			require.NoError(t, err)
			// The supply, the facts, and the cautions that scroll.
			for _, typed := range []string{"39.6", "yes", "yes", "no", "no", ""} {
				s, err = term.Answer(typed)
				require.NoError(t, err)
			}
			checks := 0
			for _, typed := range []string{"why", "ranking", "wiring", "help", "5.97", "what", "change 1", "4.97", "undo", "4.97", "5.7mV", "4.97", "5.7mV"} {
				if at := lastCheck(s.Lines); isReading(s) && fresh(s, at) {
					checks++
					holdCheck(t, s, at)
				}
				s, err = term.Answer(typed)
				require.NoError(t, err)
			}
			require.GreaterOrEqual(t, checks, 4, "%s", strings.Join(s.Lines, "\n"))
			// The verdict: the leading cause and the question are on one screen, and at
			// 80 columns all that stands between the heading and it.
			require.Contains(t, s.Screen(), "   67 %  connector plug mirrored")
			require.Contains(t, s.Screen(), "What now?")
			if size.columns == 80 {
				require.Contains(t, s.Screen(), "VERDICT")
			}
			for _, typed := range []string{"proof", "ranking", "help", "change", "note the plug was re-pinned", "1"} {
				s, err = term.Answer(typed)
				require.NoError(t, err)
			}
			holdCheck(t, s, lastCheck(s.Lines))
			s, err = term.Answer("^C")
			require.NoError(t, err)
			require.True(t, s.AtShell())

			// The terminal breaks a line that is too long, so count in what it got.
			data, err := os.ReadFile(record)
			require.NoError(t, err)
			_, ours, ok := strings.Cut(escapes.ReplaceAllString(string(data), ""), "\nWhat does pack")
			require.True(t, ok)
			lines := 0
			for line := range strings.Lines(ours) {
				line = strings.Trim(line, "\r\n")
				if strings.HasPrefix(line, "? ") || strings.HasPrefix(line, "$") {
					continue // what was typed, drawn more than once
				}
				lines++
				require.LessOrEqual(t, len([]rune(line)), size.columns, "%q", line)
			}
			require.Greater(t, lines, 100)
			require.NotRegexp(t, `[0-9]\r?\n *[mkM]?(V|ohm|A|%)\b`, ours, "a number stays with its unit")
		})
	}
}

func lastCheck(lines []string) int {
	for i := len(lines) - 1; i >= 0; i-- {
		if strings.HasPrefix(lines[i], "Check ") {
			return i
		}
	}
	return -1
}

func isReading(s screen.Shown) bool {
	q, _ := s.Prompt()
	return strings.HasPrefix(q, "? Reading in")
}

// fresh reports whether nothing was answered since the check was shown.
func fresh(s screen.Shown, at int) bool {
	_, q := s.Prompt()
	for _, l := range s.Lines[at:q] {
		if strings.HasPrefix(l, "? ") {
			return false
		}
	}
	return true
}

// holdCheck looks at a check that asks for a reading: it is whole on the screen,
// its cautions come before the reading is asked for, and meter, red, black and
// good start lines of their own, with the pins whole.
func holdCheck(t *testing.T, s screen.Shown, at int) {
	t.Helper()
	require.GreaterOrEqual(t, at, s.Top, "the check's first line has left the screen:\n%s", strings.Join(s.Screen(), "\n"))
	_, q := s.Prompt()
	check := s.Lines[at:q]
	text := strings.Join(check, "\n")
	last := -1
	for _, want := range []string{`^Check [0-9]+   power (LIVE|OFF)`, `^  ! `, `^    meter  (DC volts|ohms)$`,
		`^    red    [a-z0-9]+\.[a-z0-9_]+( |$)`, `^    black  [a-z0-9]+\.[a-z0-9_]+( |$)`, `^    good   [-0-9a]`} {
		re := regexp.MustCompile(want)
		i := slices.IndexFunc(check, re.MatchString)
		require.Greater(t, i, last, "%s comes in its turn in:\n%s", want, text)
		last = i
	}
	require.True(t, isReading(s), text)
}

// escapes are the codes that a terminal takes for other than text.
var (
	escapes = regexp.MustCompile(`\x1b[^a-zA-Z]*[a-zA-Z]`)
	colours = regexp.MustCompile(`\x1b\[[0-9;]*m`)
)

// TestScreenEscapes looks at every byte that the terminal gets. With prompts of a
// terminal there are codes that move the cursor; NO_COLOR leaves no others.
func TestScreenEscapes(t *testing.T) {
	const find = "probable find --harness testdata/harness/cart-tail.yaml --symptom 'tail dark' "
	for _, tt := range []struct {
		name, before, flags string
		colour, any         bool
	}{
		{"as it comes", "", "", true, true},
		{"NO_COLOR", "NO_COLOR=1 ", "", false, true},
		{"--plain", "", "--plain", false, false},
		{"TERM=dumb", "TERM=dumb ", "", false, false},
		{"into a pipe", "", "| cat", false, false},
		{"answers", "", "--answers testdata/played/tail-dark.answers", false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			term, record := openTerminal(t, 80, 24)
			command := tt.before + find + tt.flags
			require.NoError(t, term.Type(command))
			asks := regexp.MustCompile(`Volts, or - if not measured:$`)
			_, err := term.Wait("the first question or the end", func(s screen.Shown) bool {
				return s.AtShell() && len(s.Lines) > 5 || asks.MatchString(s.Lines[min(s.Top+s.Y, len(s.Lines)-1)])
			})
			require.NoError(t, err)
			if !strings.Contains(tt.flags, "answers") {
				typed := func(text, next string) {
					require.NoError(t, term.Keys(text))
					_, err := term.Wait(next, func(s screen.Shown) bool {
						return strings.HasSuffix(s.Lines[min(s.Top+s.Y, len(s.Lines)-1)], next)
					})
					require.NoError(t, err)
				}
				typed("36.2", "Reading in V:")
				typed("0.35", "Reading in ohm:")
			}
			data, err := os.ReadFile(record)
			require.NoError(t, err)
			// The shell's own codes come before the program and after it.
			_, ours, ok := bytes.Cut(data, []byte("What does pack"))
			require.True(t, ok, "%q", data)
			require.Contains(t, string(ours), "meter  DC volts")
			require.Equal(t, tt.colour, colours.Match(ours), "%q", colours.FindAll(ours, -1))
			require.Equal(t, tt.any, escapes.Match(ours), "%q", escapes.FindAll(ours, -1))
		})
	}
}

// TestPlayedReports works the committed reports again: they fit the schema, and
// today's knowledge gives their verdicts.
func TestPlayedReports(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "..", "testdata", "played", "*.report.json"))
	require.NoError(t, err)
	require.Len(t, files, 3)
	schema := reportSchema(t)
	for _, file := range files {
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		v, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
		require.NoError(t, err)
		require.NoError(t, schema.Validate(v), file)
		said, errs, code := program(t, "report", "--verify", file)
		require.Zero(t, code, "%s: %s; go run ./testdata/played -update renews it", file, errs)
		require.Contains(t, said, "same verdict: proven")
	}
}
