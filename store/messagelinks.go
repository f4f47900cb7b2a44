package store

import (
	"context"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"fmt"

	"github.com/google/uuid"

	"chairblock/scheduling"
)

// KindMessage begins the link of a message. Unlike the other secrets it is not
// kept: it holds the message's id and a code that only the salon's key makes.
const KindMessage = "m"

// codeSize is how much of the code stands in a link: 128 bits, half of it, which is
// the least that RFC 2104 section 5 advises.
const codeSize = 16

// MessageLink returns the secret part of the link in one message of a salon. It
// is the same whenever it is asked for, so that a message that goes out twice
// reads the same twice. It returns an *scheduling.InvalidError (reminder) for an id that
// is no UUID.
func (s *Store) MessageLink(ctx context.Context, n Salon, reminder string) (string, error) {
	id, err := uuid.Parse(reminder)
	if err != nil {
		return "", fmt.Errorf("store: message link: %w", &scheduling.InvalidError{Field: "reminder", Problem: "is no id of a message", Want: "a UUID"})
	}
	key, err := s.messageKey(ctx, n.ID)
	if err != nil {
		return "", err
	}
	return KindMessage + "_" + n.Key + "_" + base64.RawURLEncoding.EncodeToString(append(id[:], linkCode(key, n.ID, id)...)), nil
}

// messageKey reads what vouches for a salon's links, and makes it the first time.
func (s *Store) messageKey(ctx context.Context, salon string) ([]byte, error) {
	fresh := make([]byte, 32)
	rand.Read(fresh) // documented never to fail
	var key []byte
	err := s.pool.QueryRow(ctx, `SELECT secret FROM message_key WHERE salon_id = $1`, salon).Scan(&key)
	if key != nil || domain("message key", err, true) != nil {
		return key, domain("message key", err, false)
	}
	if _, err := s.pool.Exec(ctx, `INSERT INTO message_key (salon_id, secret) VALUES ($1, $2) ON CONFLICT DO NOTHING`, salon, fresh); err != nil {
		return nil, domain("message key", err, false)
	}
	err = s.pool.QueryRow(ctx, `SELECT secret FROM message_key WHERE salon_id = $1`, salon).Scan(&key)
	return key, domain("message key", err, false)
}

// linkCode vouches for one message of one salon.
func linkCode(key []byte, salon string, id uuid.UUID) []byte {
	h := hmac.New(sha256.New, key)
	h.Write([]byte("link in a message of salon " + salon + "\x00"))
	h.Write(id[:])
	return h.Sum(nil)[:codeSize]
}

// LinkedMessage says which message of which salon a link stands in, or returns
// scheduling.ErrNotFound for what no salon has sent. Whether the link still does
// anything is for the caller to say.
func (s *Store) LinkedMessage(ctx context.Context, link string) (salon, reminder string, err error) {
	shop, ok := splitSecret(KindMessage, link)
	if !ok {
		return "", "", scheduling.ErrNotFound
	}
	// Strict: a link has one spelling.
	b, err := base64.RawURLEncoding.Strict().DecodeString(link[len(KindMessage)+len(shop)+2:])
	if err != nil {
		return "", "", scheduling.ErrNotFound
	}
	key := make([]byte, 32) // of no salon, so that an unknown one takes as long
	err = s.pool.QueryRow(ctx, `SELECT salon_id, secret FROM message_key JOIN salon USING (salon_id) WHERE key = $1`, shop).Scan(&salon, &key)
	if domain("message key", err, true) != nil {
		return "", "", domain("message key", err, false)
	}
	id := uuid.UUID(b[:16])
	if !hmac.Equal(linkCode(key, salon, id), b[16:]) || salon == "" {
		return "", "", scheduling.ErrNotFound
	}
	return salon, id.String(), nil
}
