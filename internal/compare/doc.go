// Package compare answers whether a change to the dust collection reduced dust,
// without calling a change what only came with the day, the wood or the weather.
//
// # Method
//
// The unit is the session: an unbroken spell of work under one setup on one
// local day. Readings and task runs inside a session share its weather, wood and
// stock of dust in the air, so they are no replicates: they are averaged first.
//
//  1. A run is one task from start to stop. Its value is the dose above the
//     background, with the tail to the next task and without what the run before
//     left, over its length (µg/m³, or 1/cm³): see netMeans. The background and
//     the clearance rate come from the time without a task; the background's own
//     error, shared by all runs, widens the interval. Where no background is
//     known the value is the time-weighted mean.
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
// # Beside the answer
//
// Everything but the outcome chosen beforehand is secondary and adjusted together
// (Holm 1979). Other methods are listed and never decide. What else was not alike
// under the two setups lowers the design grade. CompareSeveral holds several
// setups against one; DrawOrder draws the order of a study.
package compare
