// Package clearance works out how fast dust leaves the air of a room once its
// source is off, and what follows from that: air changes, clean-air rate, how
// many minutes until the air is below a level, and what a task gave off.
//
// # Symbols
//
//	C(t)  concentration, µg/m³ or 1/cm³, in means over 20 s
//	Cbg   background: what C goes to
//	C0    level at the start of the record, 1 min after the source went off
//	λ     clearance rate, 1/h: ventilation, filtration and settling together
//	V     volume of the room, m³
//
// # One decay
//
//	C(t) = Cbg + (C0 − Cbg)·exp(−λt)
//
// fitted by nonlinear least squares, never by a line through the logarithms of
// C − Cbg: near the background their noise explodes. The scatter of an optical
// sensor grows with the level, so weights are 1/C² of the fitted curve; puffs of
// dust are weighed down after Huber. Neighbouring residuals hang together, so the
// interval of λ is widened as for n_eff = n·(1−ρ)/(1+ρ) independent ones.
//
// Cbg is fitted where the record lets one tell it: C0 > 3·Cbg and a record of at
// least 2/λ. Else it is fixed at what was measured as background, with its
// uncertainty; else the answer is "cannot tell".
//
// # Several decays
//
// Decays of one room in one state differ by more than their own intervals say:
// doors, people, where the dust was. The run is the unit: ln λ of the runs, with
// Student's t. For the next decay the lower prediction limit counts.
//
// # One mixed room
//
// All of it takes the air for one mixed room. A sensor near the source, a corner
// without draught or coarse dust that settles make λ differ from place to place
// and from size to size. λ of PM10 or of coarse counts is higher than λ of PM2.5.
package clearance
