// Package cli is the command line: the only place that reads arguments and
// environment, writes to the terminal, and wires the other packages together.
//
// Standard output carries the result, standard error everything else. A
// command is a constructor; its flags fill an options struct; a plain run
// function does the work.
package cli
