// Package airflow works out what a dust collector moves from what gauges on it show:
// pure computation, no clock, no file.
//
//	Q   flow of air                       m³/s
//	V   mean velocity in a duct           m/s
//	A   cross-section                     m²
//	VP  velocity pressure                 Pa
//	SP  static pressure, below zero where air is sucked   Pa
//	ρ   density of air                    kg/m³
//
//	Q = V·A          V = √(2·VP/ρ)          ΔP = k·Q²
//
// Sources. [IV] ACGIH, Industrial Ventilation: A Manual of Recommended Practice, as
// quoted in many places; [OTM] OSHA Technical Manual, section III, chapter 3; [3966]
// ISO 3966; [EPA1], [EPA2] methods 1 and 2 of 40 CFR 60, appendix A-1; [AMCA] AMCA
// 203 and 210; [5801] ISO 5801. None of them was at hand as a whole: what is taken
// from them says "from memory" or "read" where it stands, and the tests check it
// against a second way where there is one.
//
// It computes and warns. It is no design of a duct system, no electrical advice and
// no assessment of a dust explosion: there it stops and names who to ask.
package airflow
