package store

import (
	"bytes"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"errors"
	"fmt"
	"slices"
)

// ErrNoHealthKey means that the service was started without a key for what is
// said about health: such words can be neither kept nor read.
var ErrNoHealthKey = errors.New("the service has no key for answers about health")

// ErrSealBroken means that sealed words are not what was sealed, or not where
// they were put: somebody changed or moved them behind the program's back.
var ErrSealBroken = errors.New("the sealed words have been changed or moved outside the program")

// UnknownKeyError means that words were sealed with a key that the service does
// not have. Without that key nobody can read them again.
type UnknownKeyError struct{ KeyID string }

// Error names the key.
func (e *UnknownKeyError) Error() string {
	return "the words are sealed with the key " + e.KeyID + ", which the service does not have"
}

// Sealer encrypts words about health with AES-256-GCM. The first of its keys
// seals, all of them open, so that a key can be replaced. It is safe for use by
// many goroutines.
type Sealer struct{ keys []healthKey }

type healthKey struct {
	id    string // first 8 bytes of the SHA-256 of the key, in hex
	aead  cipher.AEAD
	print []byte // key of fingerprints
}

// keyBytes is the length of a key of AES-256 (FIPS 197).
const keyBytes = 32

// NewSealer makes a sealer of one or more keys of 32 random bytes.
func NewSealer(keys ...[]byte) (*Sealer, error) {
	if len(keys) == 0 {
		return nil, errors.New("no key is given")
	}
	s := &Sealer{}
	for i, k := range keys {
		if len(k) != keyBytes {
			return nil, fmt.Errorf("key %d has %d bytes; expected %d random bytes", i+1, len(k), keyBytes)
		}
		if bytes.Count(k, k[:1]) == keyBytes {
			return nil, fmt.Errorf("key %d is one byte again and again; expected %d random bytes", i+1, keyBytes)
		}
		block, err := aes.NewCipher(k)
		if err != nil {
			return nil, err
		}
		aead, err := cipher.NewGCMWithRandomNonce(block)
		if err != nil {
			return nil, err
		}
		print, err := hkdf.Expand(sha256.New, k, "chairblock: fingerprints of requests", keyBytes)
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(k)
		s.keys = append(s.keys, healthKey{hex.EncodeToString(sum[:8]), aead, print})
	}
	return s, nil
}

// KeyID names the key that seals. It is no secret.
func (s *Sealer) KeyID() string { return s.keys[0].id }

// bound is the associated data, what sealed words are bound to: every part with
// its length before it, so that no two places read alike.
func bound(keyID string, place []string) []byte {
	var out []byte
	for _, s := range append([]string{keyID}, place...) {
		out = binary.BigEndian.AppendUint32(out, uint32(len(s)))
		out = append(out, s...)
	}
	return out
}

// padTo is of how many bytes what is sealed has a multiple (judgement). It hides the
// length, which would tell how many answers are a yes: nearly every form has the same.
const padTo = 4096

// idBytes is the length of a key's name in front of what it sealed (judgement: two keys of
// a service have the same one by a chance of 2 to the minus 64).
const idBytes = 8

// sealTo encrypts words for a place, given by its kind and ids, with a fresh
// random nonce: the key's name, the nonce, the words and a tag. Random nonces of
// 96 bits are good for 2^32 words a key (NIST SP 800-38D, 8.3).
func (s *Sealer) sealTo(place []string, words []byte) []byte {
	k := s.keys[0]
	plain := binary.BigEndian.AppendUint32(nil, uint32(len(words)))
	plain = append(plain, words...)
	plain = append(plain, make([]byte, (padTo-len(plain)%padTo)%padTo)...)
	name, _ := hex.DecodeString(k.id)
	return k.aead.Seal(name, nil, plain, bound(k.id, place))
}

// openAt decrypts what sealTo made for the place. It returns a *UnknownKeyError
// when the key is missing and ErrSealBroken when anything was changed or stands
// elsewhere.
func (s *Sealer) openAt(place []string, sealed []byte) ([]byte, error) {
	if len(sealed) <= idBytes {
		return nil, ErrSealBroken
	}
	id := hex.EncodeToString(sealed[:idBytes])
	i := slices.IndexFunc(s.keys, func(k healthKey) bool { return k.id == id })
	if i < 0 {
		return nil, &UnknownKeyError{id}
	}
	plain, err := s.keys[i].aead.Open(nil, nil, sealed[idBytes:], bound(id, place))
	if err != nil || len(plain) < 4 {
		return nil, ErrSealBroken
	}
	n := binary.BigEndian.Uint32(plain)
	if uint64(n) > uint64(len(plain)-4) {
		return nil, ErrSealBroken
	}
	return plain[4 : 4+n], nil
}

// sealed encrypts words about health for a place in this salon, which is a kind
// and the ids that lead there. It returns ErrNoHealthKey without a key.
func (t *Tx) sealed(words []byte, place ...string) ([]byte, error) {
	if t.seal == nil {
		return nil, ErrNoHealthKey
	}
	return t.seal.sealTo(append([]string{t.salon}, place...), words), nil
}

// opened decrypts what sealed made for the same place. It returns
// ErrNoHealthKey, a *UnknownKeyError or ErrSealBroken.
func (t *Tx) opened(sealed []byte, place ...string) ([]byte, error) {
	if t.seal == nil {
		return nil, ErrNoHealthKey
	}
	return t.seal.openAt(append([]string{t.salon}, place...), sealed)
}

// SealedPrints are the fingerprints of one request under every key, the one that
// seals first. They tell equal requests apart from others without saying anything
// about them to whoever lacks the keys: a plain hash of a few yes and no could be
// guessed. Those under older keys know a request again that came before the keys
// were changed.
type SealedPrints [][]byte

func (s *Sealer) fingerprints(request []byte) SealedPrints {
	out := make(SealedPrints, len(s.keys))
	for i, k := range s.keys {
		h := hmac.New(sha256.New, k.print)
		h.Write(request)
		out[i] = h.Sum(nil)
	}
	return out
}

// SealWith gives the store its keys for words about health. Call it before the
// store is used; without it such words are refused with ErrNoHealthKey.
func (s *Store) SealWith(x *Sealer) { s.seal = x }

// MaySeal returns ErrNoHealthKey when the store has no key for words about
// health.
func (s *Store) MaySeal() error {
	if s.seal == nil {
		return ErrNoHealthKey
	}
	return nil
}

// SealedPrints are the fingerprints of a request with words about health in it,
// for a Call, or ErrNoHealthKey.
func (s *Store) SealedPrints(request []byte) (SealedPrints, error) {
	if err := s.MaySeal(); err != nil {
		return nil, err
	}
	return s.seal.fingerprints(request), nil
}
