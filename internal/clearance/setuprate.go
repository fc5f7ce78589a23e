package clearance

// Rate is what MinutesUntil needs to know of the setup's next decay; ok is false if
// no decay could be told.
func (s SetupClearance) Rate() (r Rate, ok bool) {
	if s.Runs == 0 {
		return Rate{}, false
	}
	return s.pooled.Rate(), true
}
