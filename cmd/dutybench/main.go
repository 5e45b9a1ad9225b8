// Command dutybench tests electric pumps and actuators that have a control
// board of their own: a full test on a rig, or a judgement of recorded traces,
// against what good units of the type do.
//
// Results go to standard output, progress and messages to standard error.
// Exit status: 0 pass; 3 fail; 4 undecided; 5 undecided because the bench or
// its wiring is at fault; 1 error; 2 wrong usage. For several units the worst,
// in the order 2, 1, 5, 3, 4, 0.
package main

import "os"

func main() {
	os.Exit(execute(hostEnv(), os.Args[1:]))
}
