package sqlite

// CleanAtOnce makes Seal take every unfinished file for a crash's, however young.
func (s *Store) CleanAtOnce() { s.cleanAge = 0 }
