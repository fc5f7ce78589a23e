// Package respirator answers whether a respirator is still needed: for a task,
// now, and for how long after. It sees no clock, store or sensor; readings, tasks
// and moments are handed to it.
//
// # Symbols
//
//	C    concentration while the respirator would be worn, mg/m³
//	L    exposure limit, mg/m³
//	HR   hazard ratio C/L
//	APF  assigned protection factor of a class of respirators
//	MUC  maximum use concentration APF·L, mg/m³
//	f    share of the exposed time for which it is really worn
//	PF   effective protection 1/((1 − f) + f/APF)
//
// Sources: 29 CFR 1910.134(b) and (d)(3)(i); BS EN 529:2005. PF follows from what
// is breathed being the sum of worn and unworn time.
//
// # Three answers
//
// "Keep it on", "cannot tell", "not shown to be needed". Cannot tell counts as keep
// it on. There is no answer that says that air is harmless: see exposure.MaskState.
//
// # Fail-safe
//
// Whatever is missing, late, doubtful or contradictory ends in "keep it on". The
// laxer answer holds only after it was true without a break for Rules.Settle, the
// stricter one at once: the answer is the strictest of that last stretch, so more
// dust or less knowledge can never relax it.
package respirator
