package main

import (
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"

	"probable/testdata/played/screen"
)

func main() {
	update := flag.Bool("update", false, "write what differs")
	flag.Parse()
	if err := run(flag.Args(), *update); err != nil {
		fmt.Fprintln(os.Stderr, "played:", err)
		os.Exit(1)
	}
}

func run(names []string, update bool) error {
	root, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}").Output()
	if err != nil {
		return fmt.Errorf("go list: %w", err)
	}
	p := &player{root: strings.TrimSpace(string(root)), update: update}
	if p.own, err = os.MkdirTemp("", "played"); err != nil {
		return err
	}
	defer os.RemoveAll(p.own)
	build := exec.Command("go", "build", "-o", p.own, "./cmd/probable")
	build.Dir = p.root
	if out, err := build.CombinedOutput(); err != nil {
		return fmt.Errorf("go build: %w: %s", err, out)
	}
	if len(names) == 0 {
		files, err := filepath.Glob(filepath.Join(p.root, "testdata", "played", "*.play"))
		if err != nil {
			return err
		}
		for _, f := range files {
			names = append(names, strings.TrimSuffix(filepath.Base(f), ".play"))
		}
	}
	for _, name := range names {
		if err := p.play(name); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	if p.differ > 0 && !update {
		return fmt.Errorf("%d files differ; look at why, and run with -update if it is right so", p.differ)
	}
	return nil
}

// player plays scripts.
type player struct {
	root   string // of the module
	own    string // a folder for the program, its cases and the terminal
	update bool
	differ int
}

const columns, rows = 80, 24

// play plays a script and compares what came of it.
func (p *player) play(name string) error {
	s, err := readScript(filepath.Join(p.root, "testdata", "played", name+".play"))
	if err != nil {
		return err
	}
	own := filepath.Join(p.own, name)
	if err := os.Mkdir(own, 0o700); err != nil {
		return err
	}
	env := []string{"PATH=" + p.own + ":/usr/bin:/bin", "HOME=" + own, "XDG_STATE_HOME=" + own, "TZ=UTC"}
	t, err := screen.Open(columns, rows, p.root, own, env...)
	if err != nil {
		return err
	}
	defer t.Close()
	id, shown, err := work(t, s)
	if err != nil {
		return err
	}
	transcript := strings.TrimRight(strings.Join(shown.Lines, "\n"), "$\n ") + "\n"
	if err := p.compare(name+".transcript", transcript); err != nil {
		return err
	}
	for form, ending := range map[string]string{"markdown": ".md", "html": ".html", "json": ".json"} {
		cmd := exec.Command(filepath.Join(p.own, "probable"), "report", id, "--form", form)
		cmd.Dir, cmd.Env = p.root, env
		out, err := cmd.Output()
		if err != nil {
			return fmt.Errorf("report as %s: %w", form, err)
		}
		if err := p.compare(name+".report"+ending, string(out)); err != nil {
			return err
		}
	}
	return s.unused()
}

var checkLine = regexp.MustCompile(`^Check ([0-9]+) `)

// place says where the case stands by what is shown, and what is asked.
func place(s screen.Shown) (where, question string) {
	if s.AtShell() {
		return "shell", ""
	}
	_, at := s.Prompt()
	last := 0 // line after the question before this one
	for i := at - 1; i >= 0; i-- {
		l := s.Lines[i]
		if last == 0 && strings.HasPrefix(l, "? ") {
			last = i + 1
		}
		switch m := checkLine.FindStringSubmatch(l); {
		case m != nil:
			where = m[1]
		case l == "VERDICT":
			where = "verdict"
		case strings.HasPrefix(l, "Case ") && strings.Contains(l, " is closed"):
			where = "closed"
		case strings.HasPrefix(l, "$ "): // nothing was asked of the vehicle yet
			return "start", strings.Join(s.Lines[max(i, last):at+1], "\n")
		}
		if where != "" {
			return where, strings.Join(s.Lines[i:at+1], "\n")
		}
	}
	return "start", strings.Join(s.Lines[last:at+1], "\n")
}

// most bounds a case that does not end.
const most = 200

// work works the case through, and returns its name and all that was shown.
func work(t *screen.Terminal, s *script) (id string, shown screen.Shown, err error) {
	if shown, err = t.Answer(s.run); err != nil {
		return "", shown, err
	}
	for range most {
		if m := caseName.FindString(strings.Join(shown.Lines, "\n")); m != "" {
			id = m
		}
		where, question := place(shown)
		typed := s.at(where)
		if typed == nil && where == "shell" {
			return id, shown, nil
		}
		if typed == nil {
			x, ok := s.answer(question)
			if !ok {
				return id, shown, fmt.Errorf("the script has no answer at %s to:\n%s", where, question)
			}
			typed = []string{x}
		}
		for _, x := range typed {
			if shown, err = t.Answer(strings.NewReplacer("CASE", id, "ENTER", "").Replace(x)); err != nil {
				return id, shown, err
			}
		}
	}
	return id, shown, fmt.Errorf("no end after %d answers", most)
}

// What differs from day to day and from one knowledge to the next.
var (
	caseName = regexp.MustCompile(`\b20[0-9]{2}-[0-9]{2}-[0-9]{2}-[0-9]+\b`)
	scrubs   = []struct {
		what *regexp.Regexp
		with string
	}{
		{caseName, "2000-01-01-1"},
		{regexp.MustCompile(`\b20[0-9]{2}-[0-9]{2}-[0-9]{2}T[0-9:.]+(Z|[-+][0-9:]+)`), "2000-01-01T00:00:00Z"},
		{regexp.MustCompile(`\b20[0-9]{2}-[0-9]{2}-[0-9]{2} [0-9]{2}:[0-9]{2}\b`), "2000-01-01 00:00"},
		{regexp.MustCompile(`\bsha256:[0-9a-f]+\b`), "sha256:0000000000000000"},
	}
)

// compare holds a text against the committed one.
func (p *player) compare(name, got string) error {
	for _, s := range scrubs {
		got = s.what.ReplaceAllString(got, s.with)
	}
	file := filepath.Join(p.root, "testdata", "played", name)
	data, err := os.ReadFile(file)
	if err != nil && !os.IsNotExist(err) {
		return err
	}
	if string(data) == got {
		fmt.Println("same   ", name)
		return nil
	}
	p.differ++
	fmt.Println("differs", name)
	was, now := strings.Split(string(data), "\n"), strings.Split(got, "\n")
	first := 0
	for first < min(len(was), len(now)) && was[first] == now[first] {
		first++
	}
	for _, side := range []struct {
		mark  string
		lines []string
	}{{"-", was}, {"+", now}} {
		for _, l := range slices.Concat(side.lines, []string{""})[first:min(first+5, len(side.lines))] {
			fmt.Printf("  %d%s %s\n", first+1, side.mark, l)
		}
	}
	if !p.update {
		return nil
	}
	return os.WriteFile(file, []byte(got), 0o644)
}
