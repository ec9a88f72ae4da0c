package main

import (
	"fmt"
	"os"
	"strings"
)

// script is what a person does in a case.
type script struct {
	run  string
	ways []way
	book []reply
}

// way is what is typed at one place.
type way struct {
	line  int // in the file
	where string
	typed []string
	used  bool
}

// reply is what is typed for a question that holds all of the words.
type reply struct {
	words []string
	typed string
	used  bool
}

func readScript(file string) (*script, error) {
	data, err := os.ReadFile(file)
	if err != nil {
		return nil, err
	}
	s := &script{}
	for n, line := range strings.Split(string(data), "\n") {
		line = strings.TrimSpace(line)
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		verb, rest, _ := strings.Cut(line, " ")
		rest = strings.TrimSpace(rest)
		switch verb {
		case "run":
			s.run = rest
			continue
		case "at":
			if where, typed, ok := strings.Cut(rest, ": "); ok {
				s.ways = append(s.ways, way{line: n + 1, where: where, typed: split(typed, " > ")})
				continue
			}
		case "what":
			if words, typed, ok := strings.Cut(rest, " -> "); ok {
				s.book = append(s.book, reply{words: split(words, "|"), typed: strings.TrimSpace(typed)})
				continue
			}
		}
		return nil, fmt.Errorf("%s:%d: not a line of a script: %s", file, n+1, line)
	}
	if s.run == "" {
		return nil, fmt.Errorf("%s: there is no line with run", file)
	}
	return s, nil
}

func split(s, by string) (out []string) {
	for _, x := range strings.Split(s, by) {
		out = append(out, strings.TrimSpace(x))
	}
	return out
}

// at takes the next thing to type at a place, or nil.
func (s *script) at(where string) []string {
	for i := range s.ways {
		if w := &s.ways[i]; !w.used && w.where == where {
			w.used = true
			return w.typed
		}
	}
	return nil
}

// answer finds what is typed for a question.
func (s *script) answer(question string) (string, bool) {
	question = strings.Join(strings.Fields(question), " ")
	for i := range s.book {
		r := &s.book[i]
		fits := true
		for _, w := range r.words {
			fits = fits && strings.Contains(question, w)
		}
		if fits {
			r.used = true
			return r.typed, true
		}
	}
	return "", false
}

// unused says what of the script was never typed at a place, or nil.
func (s *script) unused() error {
	for _, w := range s.ways {
		if !w.used {
			return fmt.Errorf("line %d of the script was never come to: at %s", w.line, w.where)
		}
	}
	return nil
}
