// Package simulate makes before/after studies whose truth is known and asks
// compare.Compare about them: how often it claims what is not there, how often it
// finds what is, and how often its interval holds the truth. It runs the shipped
// code, diary and readings included, and re-implements none of it.
//
// Nothing in it was measured anywhere. Equal seeds give equal studies on any
// number of cores.
//
// # Model
//
//	ln level of a run = task + day + session + run + ln ratio under the new setup
//
// with standard deviations in ln units of 0.30 between days, 0.20 between sessions
// of a day and 0.45 between runs of a session; three tasks; two to five runs a
// session. Of that order are the published spreads of small wood shops (geometric
// standard deviations by task of 1.4 to 2.1: Schlünssen et al. 2008, Ann. Occup.
// Hyg. 52:227).
package simulate
