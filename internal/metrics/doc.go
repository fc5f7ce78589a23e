// Package metrics tells other programs how a collector is doing: in OpenMetrics text
// (version 1.0.0, openmetrics.io) for whoever scrapes,
// and as two answers of yes or no for whoever watches over services.
//
//	GET /metrics       counters and gauges, names with their unit at the end
//	GET /health/live   200 while the program turns
//	GET /health/ready  200 if every sensor speaks, commits succeed and the disk has
//	                   room; else 503, with what is wrong
//
// It counts what goes by and reads no store, so scraping costs a collector nothing.
// Nothing can be changed through it, but it tells levels of dust: it listens where
// it is told to, without a password.
package metrics
