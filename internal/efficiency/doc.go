// Package efficiency says what share of the dust a separator or filter holds back,
// by particle size, from one sensor before and one behind it.
//
// # Symbols
//
//	N   particles counted in a size bin (differential: larger than one edge, not
//	    larger than the next)
//	V   volume of air they were counted in, cm³
//	P   penetration, (Ndown/Vdown)/(Nup/Vup)
//	E   efficiency, 1 − P
//
// # What decides the interval
//
// At one reading a second thousands of particles make the counting interval
// absurdly narrow. What differs is the run: wood, feed, chip load, where the probe
// sits. With three runs or more the interval is Student's t on ln P of the runs.
// One run has the exact counting interval, which speaks for that run only.
//
// Where nothing was counted behind the filter there is an upper limit for P and so
// a lower one for E; no efficiency is ever 100 %.
//
// # What a pair of sensors cannot tell
//
// Two sensors of one make differ by 10 % or more, and their ratio is in every P;
// exchanging them for half of the runs takes it out. Sensors that work their size
// bins out from one scattering signal have no efficiency by size. Air must be
// taken the same way on both sides: equal flow, equal tubing, no bends that hold
// back the coarse dust on one side only.
package efficiency
