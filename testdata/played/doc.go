// Played plays whole cases in a terminal of 80 columns and 24 rows, as a person
// at a bench would, and compares what the screen showed and the reports with
// what is committed beside it.
//
//	go run ./testdata/played                    # all
//	go run ./testdata/played strip-without-red  # one
//	go run ./testdata/played -update            # write what is new
//
// It exits with 1 where something differs, and needs tmux. Dates, times, case
// names and digests are written as zeros, or as the first day of 2000.
//
// # Scripts
//
// NAME.play is a script. Its first comment says which fault stands behind the
// readings. Lines are one of:
//
//	run COMMAND
//	    the command that opens the case
//	at WHERE: TYPED > TYPED ...
//	    typed where a question is asked; WHERE is the number of a check, verdict,
//	    closed or shell; ^C is control-C, ENTER an empty line and CASE the case's
//	    name. The first line that fits and was not used yet is taken.
//	what WORDS | WORDS ... -> TYPED
//	    typed where none of those fits and all the words stand in what is asked
//
// So checks may come in another order, or there may be more of them, when the
// knowledge changes; a check that no line answers is an error that shows it.
package main
