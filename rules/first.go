package rules

import (
	"fmt"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"
)

// Bounds of the first questions.
const (
	firstDeepest = 4 // answers to a guide
	firstFewest  = 3 // answers of a question
	firstMost    = 7
)

// Question is one of the questions that lead from what a person sees to a guide.
type Question struct {
	Ask     string
	Answers []Answer
}

// Answer leads to a guide, or to the next question.
type Answer struct {
	Say   string
	Guide string    // ID, or empty
	Next  *Question // or nil
}

// Says returns what can be answered.
func (q *Question) Says() []string {
	var says []string
	for _, a := range q.Answers {
		says = append(says, a.Say)
	}
	return says
}

// firstReader reads the first questions over the guides that there are.
type firstReader struct {
	*document
	guides  []string // IDs; an empty one may be any
	reached []string // so far; an empty one may be any
}

// readFirst reads a layer's first questions, which stand for those below and lead
// to the guides wanted.
func (b *Base) readFirst(l layer, wanted []string) error {
	for _, f := range l.files[firstFile] {
		q, err := b.ReadFirst(f.name, f.data, wanted)
		if err != nil {
			return err
		}
		b.define("first questions", f)
		b.First = q
	}
	return nil
}

// ReadFirst reads a file of first questions, which must lead to each of the
// guides wanted. The error, if any, is [Problems].
func (b *Base) ReadFirst(file string, data []byte, wanted []string) (*Question, error) {
	r := &firstReader{document: &document{file: file}, guides: b.orAny(b.GuideIDs())}
	root := r.parse(data)
	if root == nil {
		return nil, r.problems.err()
	}
	m := r.mapping(root, "first questions")
	r.version(m.need("version"))
	answers := m.get("answers")
	q := r.question(m, answers, 1)
	m.done()
	for _, id := range wanted {
		if !slices.Contains(r.reached, id) && !slices.Contains(r.reached, "") {
			r.errorf(root, "first questions: no answer leads to the guide %q", id)
		}
	}
	return q, r.problems.err()
}

// question reads what is asked and what can be answered; deep counts the answers
// to here and this one.
func (r *firstReader) question(m *mapping, answers *yaml.Node, deep int) *Question {
	q := &Question{Ask: r.text(m.need("ask"), "question: ask")}
	what := fmt.Sprintf("question %q", q.Ask)
	if answers == nil {
		m.need("answers")
	}
	items := r.list(answers, what+": answers")
	if r.sound(answers) && (len(items) < firstFewest || len(items) > firstMost) {
		r.errorf(answers, "%s: %d answers; want %d to %d", what, len(items), firstFewest, firstMost)
	}
	if len(items) == 0 {
		r.reached = append(r.reached, "")
		return q
	}
	var said []string
	for _, n := range items {
		am := r.mapping(n, "answer")
		say := am.need("say")
		a := Answer{Say: r.text(say, "answer: say")}
		plain := strings.ToLower(a.Say)
		if slices.Contains(said, plain) && a.Say != "" {
			r.errorf(say, "%s: the answer %q stands twice", what, a.Say)
		}
		said = append(said, plain)
		guide, next := am.get("guide"), am.get("answers")
		switch {
		case (guide == nil) == (next == nil):
			am.get("ask")
			r.errorf(n, "answer %q: want either \"guide\", where it leads to, or \"ask\" and \"answers\", the next question", a.Say)
			r.reached = append(r.reached, "")
		case guide != nil:
			a.Guide = r.text(guide, "answer: guide")
			r.reached = append(r.reached, a.Guide)
			r.known(guide, a.Guide, r.guides, fmt.Sprintf("answer %q: there is no guide", a.Say))
		case deep == firstDeepest:
			am.get("ask")
			r.errorf(next, "answer %q: a guide is at most %d answers away; lead to one here", a.Say, firstDeepest)
			r.reached = append(r.reached, "")
		default:
			a.Next = r.question(am, next, deep+1)
		}
		am.done()
		q.Answers = append(q.Answers, a)
	}
	return q
}
