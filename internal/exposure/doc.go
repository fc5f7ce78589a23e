// Package exposure works out what a shift, a task and a limit have to do with
// each other: time-weighted averages, the highest 15 minutes, doses by task, and
// how far an optical sensor lets one say anything about a limit.
//
// It sees no clock, file or sensor. Readings come in as dust.Series in µg/m³;
// everything that goes out is in mg/m³, the unit of workplace limits.
//
// # Symbols
//
//	C    concentration while a reading speaks, µg/m³ or mg/m³
//	Δt   how long it speaks: until the next reading, at most the series' hold time
//	     (5 s, longer for a sensor that reports less often)
//	W    15 min
//
// Concentration is piecewise constant. Time without a usable reading is not
// measured; it is neither zero nor interpolated. All times are whole
// milliseconds in integers, so sums over a long shift do not drift.
//
// # Averages over a shift
//
//	8-h TWA        ΣC·Δt / 8 h, unmeasured time counts as zero      29 CFR 1910.1000(d)(1)(i)
//	measured mean  ΣC·Δt / ΣΔt
//	filled 8-h TWA measured mean · shift length / 8 h, unmeasured shift time taken to be like the measured
//
// An "up to 10-hour workday" limit (NIOSH REL) names no divisor. TWAHours takes
// the shift's length, but at least 8 h and at most 10 h: a shift of up to 8 h is
// judged as by an 8-h limit, and a longer shift than 10 h is not diluted.
//
// # The highest 15 minutes
//
// The window is (t−W, t], wholly inside the shift. Its mean is ΣC·Δt / ΣΔt over
// the measured part and counts only where at least 75 % of the window was
// measured. Between two instants at which either edge of the window meets the
// begin or end of a reading's span, dose and measured time are linear in t, so
// the mean is monotonic there. The maximum over all t is therefore found by
// evaluating every such instant, and every instant at which the measured part
// passes 75 %. The result is exact, not the best of a grid.
//
// # What a sensor may say about a limit
//
// A small optical sensor sees the fine part of wood dust. Uncalibrated it can
// at best show that a limit is exceeded, never that it is met. With a factor
// from filter samples of the same fraction it can do both for respirable and
// thoracic limits, in the breathing zone, with 75 % of a declared shift
// measured. It can never show that an inhalable, total or unstated limit is
// met: the factor drifts when the sizes change. Findings are worked out in
// finding.go, one reason per condition.
package exposure
