// Package browsertests looks at what people see: the report and the shop's page in
// a real Chromium, on a desk and on a telephone, in light and dark, and on paper. It is a module of its own so that
// the browser driver stays out of dustlog's go.mod.
package browsertests
