package store

import (
	"bufio"
	"bytes"
	"crypto/rand"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"strings"
)

// mostKeys is how many keys a file may hold (judgement: one a year is much).
const mostKeys = 100

// ReadSealer reads the keys of a file: 32 random bytes in base64 a line, the
// first for sealing; empty lines and lines that begin with # count for nothing.
// It refuses a file that others than its owner may read or change. No error
// repeats anything of the file.
func ReadSealer(path string) (*Sealer, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("key file: %w", err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, fmt.Errorf("key file: %w", err)
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("key file %s: is no file", path)
	}
	if open := info.Mode().Perm() & 0o077; open != 0 {
		return nil, fmt.Errorf("key file %s: may be read or changed by others (mode %04o); expected a file of its owner alone: chmod 600", path, info.Mode().Perm())
	}
	keys, err := readKeys(f)
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", path, err)
	}
	s, err := NewSealer(keys...)
	if err != nil {
		return nil, fmt.Errorf("key file %s: %w", path, err)
	}
	return s, nil
}

func readKeys(r io.Reader) ([][]byte, error) {
	var keys [][]byte
	lines := bufio.NewScanner(io.LimitReader(r, 64<<10)) // more than ten times mostKeys
	for n := 1; lines.Scan(); n++ {
		line := strings.TrimSpace(lines.Text())
		if line == "" || strings.HasPrefix(line, "#") {
			continue
		}
		k, err := base64.StdEncoding.DecodeString(line)
		if err != nil || len(k) != keyBytes {
			return nil, fmt.Errorf("line %d is no key; expected 32 random bytes in base64, such as from: openssl rand -base64 32", n)
		}
		for _, old := range keys {
			if bytes.Equal(k, old) {
				return nil, fmt.Errorf("line %d repeats a key", n)
			}
		}
		if keys = append(keys, k); len(keys) > mostKeys {
			return nil, fmt.Errorf("holds more than %d keys", mostKeys)
		}
	}
	if err := lines.Err(); err != nil {
		return nil, errors.New("holds a line that is too long for a key")
	}
	return keys, nil
}

// MakeKeyFile writes a file with one new key, readable by its owner alone. An
// existing file stays as it is, which is no error.
func MakeKeyFile(path string) error {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if errors.Is(err, os.ErrExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("key file: %w", err)
	}
	key := make([]byte, keyBytes)
	rand.Read(key) // documented never to fail
	_, err = fmt.Fprintf(f, "# Key for answers about health. Who loses it can read none of them again.\n%s\n", base64.StdEncoding.EncodeToString(key))
	if err = errors.Join(err, f.Sync(), f.Close()); err != nil {
		return errors.Join(fmt.Errorf("key file: %w", err), os.Remove(path))
	}
	return nil
}
