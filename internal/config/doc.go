// Package config turns a TOML file, the environment and command-line flags into
// one validated set of settings, and remembers where each came from. A flag
// beats DUSTLOG_* in the environment, which beats the file, which beats the
// default.
package config
