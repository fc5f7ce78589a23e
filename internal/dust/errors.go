package dust

import "errors"

// Errors that callers branch on. They are grouped by who meets them.
var (
	// Store.
	ErrNoStore     = errors.New("no store found")
	ErrStoreBusy   = errors.New("store is busy")
	ErrNoReadings  = errors.New("no readings")
	ErrNewerSchema = errors.New("store was written by a newer dustlog")

	// Sensor and port.
	ErrUnknownModel = errors.New("unknown sensor model")
	ErrPortMissing  = errors.New("port does not exist")
	ErrPortBusy     = errors.New("port is in use by another program")
	ErrPortRefused  = errors.New("port cannot be opened")
	ErrPortLost     = errors.New("port went away")
	ErrSilent       = errors.New("no valid frame")

	// Readings and diary.
	ErrTimeBackwards = errors.New("time goes backwards")
	ErrTaskOverlap   = errors.New("tasks overlap")
	ErrTaskOpen      = errors.New("a task is already running")
	ErrNoTaskOpen    = errors.New("no task is running")
	ErrUnknownSetup  = errors.New("unknown setup")
	ErrUnknownLimit  = errors.New("unknown limit")
	ErrUnknownSensor = errors.New("unknown sensor")
)
