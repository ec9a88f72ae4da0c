// Package screen is a terminal of a fixed size that is worked as a person works
// one: it types, waits for what the screen shows, and reads the screen. The
// terminal is tmux, in a server of its own, with a plain shell in it.
package screen

import (
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"time"
)

// ErrMissing says that tmux is not installed.
var ErrMissing = errors.New("tmux is not installed")

// Patience is how long one waits for the screen to show something; it is long
// because a machine that does other work too is slow.
const Patience = 2 * time.Minute

// shellPrompt is what the shell of the terminal asks with.
const shellPrompt = "$"

// Terminal is one terminal. It is not for several goroutines.
type Terminal struct {
	tmux string
	env  []string
}

// Shown is what a terminal shows at one moment.
type Shown struct {
	Lines []string // all that was shown so far, without spaces at the ends
	Top   int      // index of the line at the top of the screen
	Y     int      // row of the cursor, from 0
}

// Screen returns the lines that stand on the screen.
func (s Shown) Screen() []string { return s.Lines[min(s.Top, len(s.Lines)):] }

// Prompt returns the question that the cursor waits behind, with what is typed
// there so far, and the index of its line; "" where there is none. Questions
// start with "? " and the shell's with "$".
func (s Shown) Prompt() (question string, at int) {
	cursor := s.Top + s.Y
	for i := min(cursor, len(s.Lines)-1); i >= 0 && i > cursor-4; i-- {
		if l := s.Lines[i]; isPrompt(l) {
			return strings.Join(s.Lines[i:cursor+1], ""), i
		}
	}
	return "", 0
}

func isPrompt(line string) bool {
	return strings.HasPrefix(line, "? ") || line == shellPrompt || strings.HasPrefix(line, shellPrompt+" ")
}

// prompts counts the questions so far.
func (s Shown) prompts() (n int) {
	for _, l := range s.Lines {
		if isPrompt(l) {
			n++
		}
	}
	return n
}

// Waits reports whether a question stands at the cursor and nothing is typed
// behind it. Questions end in a colon.
func (s Shown) Waits() bool {
	q, _ := s.Prompt()
	return q == shellPrompt || strings.HasPrefix(q, "? ") && strings.HasSuffix(q, ":")
}

// AtShell reports whether the shell waits.
func (s Shown) AtShell() bool {
	q, _ := s.Prompt()
	return q == shellPrompt
}

// Open starts a terminal of so many columns and rows with a shell in the folder
// work; env is all of its environment but what a terminal sets. Socket and
// settings are kept in the folder own. Error: ErrMissing.
func Open(columns, rows int, work, own string, env ...string) (*Terminal, error) {
	tmux, err := exec.LookPath("tmux")
	if err != nil {
		return nil, ErrMissing
	}
	settings := filepath.Join(own, "tmux.conf")
	if err := os.WriteFile(settings, []byte("set -g history-limit 50000\nset -g status off\nset -g escape-time 0\n"), 0o600); err != nil {
		return nil, err
	}
	start := filepath.Join(own, "start.sh") // an interactive shell reads it
	if err := os.WriteFile(start, []byte("PS1='"+shellPrompt+" '\n"), 0o600); err != nil {
		return nil, err
	}
	t := &Terminal{tmux: tmux, env: append([]string{"TMUX_TMPDIR=" + own, "LC_ALL=C.UTF-8", "ENV=" + start}, env...)}
	if _, err := t.do("-f", settings, "new-session", "-d", "-x", fmt.Sprint(columns), "-y", fmt.Sprint(rows), "-c", work, "sh"); err != nil {
		return nil, err
	}
	_, err = t.Wait("the shell", Shown.AtShell)
	return t, err
}

func (t *Terminal) do(args ...string) (string, error) {
	cmd := exec.Command(t.tmux, append([]string{"-u", "-L", "screen"}, args...)...)
	cmd.Env = t.env
	out, err := cmd.CombinedOutput()
	if err != nil {
		return "", fmt.Errorf("tmux %s: %w: %s", args[0], err, out)
	}
	return string(out), nil
}

// Close ends the terminal and what runs in it.
func (t *Terminal) Close() error {
	_, err := t.do("kill-server")
	return err
}

// Record writes every byte that the terminal gets from now on to a file, escape
// codes and all.
func (t *Terminal) Record(file string) error {
	_, err := t.do("pipe-pane", "-O", "cat > '"+file+"'")
	return err
}

// Shown reads the terminal.
func (t *Terminal) Shown() (Shown, error) {
	out, err := t.do("display-message", "-p", "#{history_size} #{cursor_y}", ";", "capture-pane", "-p", "-S", "-")
	if err != nil {
		return Shown{}, err
	}
	head, text, _ := strings.Cut(out, "\n")
	var s Shown
	if _, err := fmt.Sscan(head, &s.Top, &s.Y); err != nil {
		return s, fmt.Errorf("tmux told %q: %w", head, err)
	}
	for l := range strings.Lines(text) {
		s.Lines = append(s.Lines, strings.TrimRight(l, " \n"))
	}
	return s, nil
}

// Wait waits until what is shown is as wanted.
func (t *Terminal) Wait(what string, wanted func(Shown) bool) (Shown, error) {
	s, ok, err := t.wait(Patience, wanted)
	if err == nil && !ok {
		err = fmt.Errorf("waited %v for %s; the screen shows:\n%s", Patience, what, strings.Join(s.Screen(), "\n"))
	}
	return s, err
}

func (t *Terminal) wait(most time.Duration, wanted func(Shown) bool) (s Shown, ok bool, err error) {
	end := time.Now().Add(most)
	for {
		if s, err = t.Shown(); err != nil || wanted(s) {
			return s, err == nil, err
		}
		if time.Now().After(end) {
			return s, false, nil
		}
		time.Sleep(20 * time.Millisecond) // only so as not to keep the machine busy
	}
}

// Type types a line, waits until the screen shows it, and presses enter. What is
// typed as a question comes up may be lost; then it is typed again, as a person
// would.
func (t *Terminal) Type(text string) error {
	if text == "" {
		return t.Key("Enter")
	}
	before, err := t.Shown()
	if err != nil {
		return err
	}
	question := squeeze(before)
	for range 5 {
		if _, err := t.do("send-keys", "-l", "--", text); err != nil {
			return err
		}
		s, ok, err := t.wait(Patience/20, func(s Shown) bool {
			return squeeze(s) == question+strings.ReplaceAll(text, " ", "")
		})
		if err != nil {
			return err
		}
		if ok {
			return t.Key("Enter")
		}
		for range len(squeeze(s)) - len(question) + strings.Count(text, " ") {
			if err := t.Key("BSpace"); err != nil {
				return err
			}
		}
	}
	return fmt.Errorf("%q cannot be typed", text)
}

// squeeze is the question without spaces: a line that is broken at a space
// loses it.
func squeeze(s Shown) string {
	q, _ := s.Prompt()
	return strings.ReplaceAll(q, " ", "")
}

// Keys types a line and presses enter, whatever the screen shows.
func (t *Terminal) Keys(text string) error {
	if _, err := t.do("send-keys", "-l", "--", text); err != nil {
		return err
	}
	return t.Key("Enter")
}

// Key presses a key by its tmux name, as in C-c.
func (t *Terminal) Key(name string) error {
	_, err := t.do("send-keys", name)
	return err
}

// Answer types a line, or presses control-C where it is "^C", and waits for the
// next question.
func (t *Terminal) Answer(text string) (Shown, error) {
	before, err := t.Shown()
	if err != nil {
		return before, err
	}
	n := before.prompts()
	switch text {
	case "^C":
		err = t.Key("C-c")
	case "":
		// An enter that came too early is lost, and nothing shows it.
		for range 5 {
			if err := t.Key("Enter"); err != nil {
				return before, err
			}
			if s, ok, err := t.wait(Patience/20, func(s Shown) bool { return s.prompts() > n || !s.Waits() }); err != nil || ok {
				before = s
				break
			}
		}
	default:
		err = t.Type(text)
	}
	if err != nil {
		return before, err
	}
	return t.Wait(fmt.Sprintf("a question after %q", text), func(s Shown) bool { return s.prompts() > n && s.Waits() })
}
