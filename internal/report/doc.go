// Package report turns results into one self-contained HTML file: no network, no
// script, figures inline. It computes nothing; every number comes from the
// result structs that terminal and JSON print too.
package report
