package api

import (
	"context"
	"crypto/aes"
	"crypto/cipher"
	"crypto/hkdf"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
)

// browserSeal closes what browsers keep for us, so that nobody can read or change it.
type browserSeal struct {
	load func(context.Context) ([]byte, error)
	mu   sync.Mutex
	key  []byte
}

// errBroken means that something was not sealed here, or not for this.
var errBroken = errors.New("api: not sealed here")

func (b *browserSeal) secret(ctx context.Context) ([]byte, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.key == nil {
		key, err := b.load(ctx)
		if err != nil {
			return nil, err
		}
		b.key = key
	}
	return b.key, nil
}

// cipher is AES-256 in Galois/counter mode with a random nonce (NIST SP 800-38D), under
// a key of its own for each purpose (RFC 5869).
func (b *browserSeal) cipher(ctx context.Context, purpose string) (cipher.AEAD, error) {
	secret, err := b.secret(ctx)
	if err != nil {
		return nil, err
	}
	key, err := hkdf.Key(sha256.New, secret, nil, purpose, 32)
	if err != nil {
		return nil, fmt.Errorf("api: key of browsers: %w", err)
	}
	block, err := aes.NewCipher(key)
	if err != nil {
		return nil, fmt.Errorf("api: key of browsers: %w", err)
	}
	return cipher.NewGCMWithRandomNonce(block)
}

// close makes a text of v that open reads, for one purpose.
func (b *browserSeal) close(ctx context.Context, purpose string, v any) (string, error) {
	c, err := b.cipher(ctx, purpose)
	if err != nil {
		return "", err
	}
	plain, err := json.Marshal(v)
	if err != nil {
		return "", fmt.Errorf("api: seal: %w", err)
	}
	return base64.RawURLEncoding.EncodeToString(c.Seal(nil, nil, plain, nil)), nil
}

// open reads into v what close has made for the same purpose. Anything else is
// errBroken.
func (b *browserSeal) open(ctx context.Context, purpose, text string, v any) error {
	c, err := b.cipher(ctx, purpose)
	if err != nil {
		return err
	}
	closed, err := base64.RawURLEncoding.Strict().DecodeString(text)
	if err != nil {
		return errBroken
	}
	plain, err := c.Open(nil, nil, closed, nil)
	if err != nil || json.Unmarshal(plain, v) != nil {
		return errBroken
	}
	return nil
}

// tag stands for a text that is not kept itself.
func (b *browserSeal) tag(ctx context.Context, text string) (string, error) {
	secret, err := b.secret(ctx)
	if err != nil {
		return "", err
	}
	h := hmac.New(sha256.New, secret)
	h.Write([]byte("tag\x00" + text))
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:16]), nil
}

// randomName is a name that nobody guesses.
func randomName() string { return rand.Text() }
