package web

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"errors"
	"fmt"
	"strings"

	"golang.org/x/crypto/argon2"
)

// Password is what is kept of a password: its Argon2id hash (RFC 9106).
type Password struct {
	salt, hash      []byte
	time, memoryKiB uint32
	threads         uint8
}

// Cost of one guess: 19 MiB and two passes, the least that the OWASP Password
// Storage Cheat Sheet names for Argon2id; more would be much for a small board.
const (
	hashTime      = 2
	hashMemoryKiB = 19 * 1024
	hashThreads   = 1
	hashBytes     = 32
	saltBytes     = 16

	shortestPassword = 8
	longestPassword  = 256
)

const hashPrefix = "$argon2id$"

// NewPassword hashes a password.
func NewPassword(text string) (*Password, error) {
	if len(text) < shortestPassword || len(text) > longestPassword {
		return nil, fmt.Errorf("the password has %d bytes: give %d to %d", len(text), shortestPassword, longestPassword)
	}
	p := &Password{salt: make([]byte, saltBytes), time: hashTime, memoryKiB: hashMemoryKiB, threads: hashThreads}
	_, _ = rand.Read(p.salt) // never fails
	p.hash = p.of(text)
	return p, nil
}

// ReadPassword takes a password, or the hash that String prints.
func ReadPassword(text string) (*Password, error) {
	if strings.HasPrefix(text, hashPrefix) {
		return parseHash(text)
	}
	return NewPassword(text)
}

func (p *Password) of(text string) []byte {
	return argon2.IDKey([]byte(text), p.salt, p.time, p.memoryKiB, p.threads, hashBytes)
}

// Matches reports whether text is the password, in the same time for any that is not.
func (p *Password) Matches(text string) bool {
	if p == nil || len(text) > longestPassword {
		return false
	}
	return subtle.ConstantTimeCompare(p.of(text), p.hash) == 1
}

// String is the hash in the usual form, as in $argon2id$v=19$m=19456,t=2,p=1$salt$hash.
func (p *Password) String() string {
	enc := base64.RawStdEncoding
	return fmt.Sprintf("%sv=%d$m=%d,t=%d,p=%d$%s$%s", hashPrefix, argon2.Version, p.memoryKiB, p.time, p.threads,
		enc.EncodeToString(p.salt), enc.EncodeToString(p.hash))
}

var errHash = errors.New("not a hash as $argon2id$v=19$m=19456,t=2,p=1$salt$hash")

func parseHash(text string) (*Password, error) {
	parts := strings.Split(text, "$")
	if len(parts) != 6 {
		return nil, errHash
	}
	p := &Password{}
	var version int
	if _, err := fmt.Sscanf(parts[2], "v=%d", &version); err != nil || version != argon2.Version {
		return nil, errHash
	}
	if _, err := fmt.Sscanf(parts[3], "m=%d,t=%d,p=%d", &p.memoryKiB, &p.time, &p.threads); err != nil {
		return nil, errHash
	}
	var err1, err2 error
	p.salt, err1 = base64.RawStdEncoding.DecodeString(parts[4])
	p.hash, err2 = base64.RawStdEncoding.DecodeString(parts[5])
	// A hash that costs too much would be a way to stop the page.
	if err := errors.Join(err1, err2); err != nil || len(p.hash) != hashBytes || len(p.salt) < 8 ||
		p.memoryKiB > 256*1024 || p.time < 1 || p.time > 10 || p.threads < 1 {
		return nil, errHash
	}
	return p, nil
}
