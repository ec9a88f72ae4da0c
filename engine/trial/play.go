package trial

import (
	"fmt"

	"probable/engine"
)

// Result is how a course went.
type Result struct {
	Verdict *engine.Verdict
	Steps   []Step
}

// Step is a check that was asked, in order.
type Step struct {
	Check   *engine.Check
	Result  engine.Result
	Skipped bool
}

// Checks counts the checks that were made; those that were skipped, and those
// that only prove a charge gone, do not count.
func (r *Result) Checks() int {
	n := 0
	for _, s := range r.Steps {
		if !s.Skipped {
			n++
		}
	}
	return n
}

// most is the count of steps after which a course is taken as endless.
const most = 500

// Play plays a course from where it stands to its verdict. It asks for the result
// of each check; false means that it is skipped. A check that proves a charge
// gone is not asked for: nothing is left. The error says which result does not
// fit, or that there was no end.
func Play(course *engine.Course, answer func(*engine.Check) (engine.Result, bool)) (Result, error) {
	var out Result
	for range most {
		step := course.Next()
		if step.Verdict != nil {
			out.Verdict = step.Verdict
			return out, nil
		}
		c := step.Check
		e := engine.Event{Kind: engine.Read, Check: c.ID}
		if !c.Discharge() {
			r, ok := answer(c)
			if e.Result = r; !ok {
				e.Kind, e.Why = engine.Skipped, "not in the worked case"
			}
			out.Steps = append(out.Steps, Step{c, r, !ok})
		}
		if err := course.Apply(e); err != nil {
			return out, fmt.Errorf("check %s: %w", c.ID, err)
		}
	}
	return out, fmt.Errorf("no verdict after %d checks", most)
}
