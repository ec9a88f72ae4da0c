// Package engine does the reasoning: from causes with odds and checks with
// predictions it ranks the causes, picks the next check, keeps unsafe checks
// back, says when to stop and proves the repair.
//
// A [Model] holds hypotheses (a cause, or a part of a cause's range) and for
// every check what each hypothesis predicts. [FromHarness] computes one from
// the circuit, [FromGuide] takes one from tables, and a guide joins a harness
// where both are given. A [Course] is one case being worked: it takes
// [Event] values and offers a [Step]; equal events give equal steps.
//
// The engine knows no file format and no terminal.
package engine
