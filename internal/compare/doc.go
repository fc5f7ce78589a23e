// Package compare answers whether a change to the dust collection reduced dust,
// without calling a change what only came with the day, the wood or the weather.
//
// # Method
//
// The unit is the session: an unbroken spell of work under one setup on one
// local day. Readings and task runs inside a session share its weather, wood and
// stock of dust in the air, so they are no replicates: they are averaged first.
//
//  1. A run is one task from start to stop. Its value is the time-weighted mean
//     concentration (µg/m³, or 1/cm³) above the background of the same time.
//  2. Least squares y = session + task on y = ln(run value) gives one number per
//     session that does not depend on which tasks it happened to hold.
//  3. With at least three days that hold both setups: one difference per day and
//     Student's t. Else Welch's t on the session numbers (Welch 1947,
//     Biometrika 34:28; df by Satterthwaite 1946, Biometrics Bulletin 2:110).
//  4. Guard: the exact permutation test on the same numbers. A word of change
//     needs both, wherever so few sessions can reach such a p at all.
//
// Without a diary working time and dust cannot be told apart: the ratio is a
// hint, with neither interval nor verdict. Where one setup came first and the
// other after it, a trend shown within the setups that could explain the
// reduction bars the word "reduced enough".
//
// The ratio is after/before everywhere; logarithms are natural. A sensor's gain
// cancels in the ratio if the size mix stays alike; its offset and drift do not.
//
// # What is left out
//
// Dust left in the air by the run before (see CarryOver) and the tail after a
// run need the room's clearance rate and are not yet applied by Compare.
package compare
