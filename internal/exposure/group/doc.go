// Package group says what several shifts say together: one mean per shift, in
// mg/m³, of one person or one group of people doing the same work. It never sees
// a reading; seconds are not days.
//
// # Symbols
//
//	x     a shift's time-weighted average, mg/m³
//	y     ln x
//	n     number of shifts
//	ȳ, s  mean and standard deviation (divisor n−1) of y
//	L     limit, mg/m³
//	z_p   p-quantile of the standard normal; z_0.95 = 1.6449
//	t'    quantile of the noncentral t distribution
//
// # What is computed
//
//	GM, GSD              e^ȳ, e^s                                         lognormal.go
//	95th percentile      e^(ȳ + z_0.95·s)
//	tolerance limit      e^(ȳ + K·s), K = t'(γ; n−1, z_p·√n)/√n           tolerance.go
//	exceedance           1 − Φ((ln L − ȳ)/s), limits from the noncentral t
//	arithmetic mean      unbiased (Finney), exact limits (Land)           lognormal.go, land.go
//	EN 689:2018          preliminary test, U_R ≥ U_T                      en689.go
//	normal-inverse-gamma chance that the 95th percentile is below L       bayes.go
//	one day              what the error of measurement leaves open        oneday.go
//
// All of it rests on shifts that spread lognormally and do not depend on the
// shifts before; Shapiro and Wilk's test and the lag-1 autocorrelation look for
// the contrary, and a short series cannot show it.
//
// # Shifts below detection
//
// A shift may be known only to lie below a value. It is not dropped, zero, or
// half of that value. By the share of such shifts (Helsel 2012, chapter 6, as
// remembered, with the bounds lowered for the few days a small shop has):
//
//	none         ȳ and s of the data
//	up to 50 %   n < 20: regression on order statistics; n ≥ 20: maximum likelihood
//	up to 80 %   percentiles by Kaplan and Meier, no mean and no tolerance limit
//	above 80 %   only "at most"
//
// # What it may say
//
// A finding is "over", "shown below", "not shown", "cannot tell" or "not enough
// days". "Shown below" names the share of shifts and the confidence, or the rule of
// EN 689 that takes a few very low shifts for it. What cannot be computed is absent,
// with its reason and, where days are lacking, how many.
package group
