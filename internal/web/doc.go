// Package web is the shop's page: what the sensors say now, the diary in two
// taps, and the answers. It needs no other server and asks none.
//
// Without script every page can be read and every button works. The script adds
// what a page cannot do alone: levels that move, and taps that wait while the
// telephone has no connection.
//
// # What moves
//
// Readings come in by Offer, which never waits, or are followed in the store of a
// collector that runs as another program. Once a second the state is put into
// words, once for all viewers, and sent to each as a server-sent event. Every
// event is the whole state: a viewer that is too slow misses some, and is right
// again with the next.
//
// # Words and numbers
//
// Templates and events render the same structs, so a page without script and one
// with it say the same. Levels now are in µg/m³, means that are held against a
// limit in mg/m³. All figures come from package study.
//
// # Who may do what
//
// See Access: on the computer itself everyone may look and write; from elsewhere
// a password tells who looks and who also writes the diary.
package web
