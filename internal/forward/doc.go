// Package forward copies what the local store holds to a server, and loses
// nothing on the way.
//
// The store keeps an outbox: stretches of time, per sensor, that got readings
// the target does not have. Readings that come late, with old times, are noted
// like new ones; a watermark of time alone would pass them by. The forwarder
// takes stretches, sends their readings in batches, two at a time, and strikes a
// stretch off only when the target has confirmed it. It can be killed at any
// point and go on later; then some readings are sent twice, which makes no
// difference: a reading is the same point with the same values each time. So in
// the end the target counts as many readings as the store, less those it refused
// for good; each refusal is kept in the store as an event of kind
// "forward_refused".
//
// A failed request is tried again after a wait that doubles from a second to
// five minutes, half of it left to chance; a server's Retry-After is honoured,
// up to an hour. A request counts as confirmed by the server's own answer and
// nothing else. While one request is tried again, no other is. Readings that the
// server itself finds fault with are isolated by halving the batch.
//
// The forwarder runs beside the collector, in a goroutine or program of its own.
// It writes to the store once per few batches and reads without holding it.
package forward
