package store_test

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// key is a key that tests can make again.
func key(n int) []byte {
	sum := sha256.Sum256([]byte{byte(n)})
	return sum[:]
}

// healthKeys is a sealer of such keys.
func healthKeys(t testing.TB, n ...int) *store.Sealer {
	t.Helper()
	var keys [][]byte
	for _, n := range n {
		keys = append(keys, key(n))
	}
	s, err := store.NewSealer(keys...)
	require.NoError(t, err)
	return s
}

var place = []string{"salon", "answers", "client", "screening"}

func TestWordsComeBackFromTheirPlaceOnly(t *testing.T) {
	s := healthKeys(t, 1)
	r := rand.New(rand.NewPCG(1, 2))
	for _, n := range []int{0, 1, 4091, 4092, 4093, 9000, 20000} {
		words := make([]byte, n)
		for i := range words {
			words[i] = byte(r.IntN(256))
		}
		sealed := s.SealTo(place, words)
		require.Zero(t, (len(sealed)-8-12-16)%4096, "the length tells nothing")
		got, err := s.OpenAt(place, sealed)
		require.NoError(t, err)
		require.True(t, bytes.Equal(words, got))
		if n > 100 {
			require.False(t, bytes.Contains(sealed, words[:16]))
		}
	}
	sealed := s.SealTo(place, []byte("words"))
	for i := range place {
		moved := append([]string(nil), place...)
		moved[i] += "x"
		_, err := s.OpenAt(moved, sealed)
		require.ErrorIs(t, err, store.ErrSealBroken)
	}
	for _, other := range [][]string{nil, place[1:], append(place, ""), {"salonanswers", "client", "screening"}, {"salon", "answersclient", "screening"}} {
		_, err := s.OpenAt(other, sealed)
		require.ErrorIs(t, err, store.ErrSealBroken, "%q", other)
	}
}

func TestOneBitOffIsNoticed(t *testing.T) {
	s := healthKeys(t, 1)
	sealed := s.SealTo(place, []byte("words"))
	for i := range sealed {
		off := bytes.Clone(sealed)
		off[i] ^= 1 << (i % 8)
		_, err := s.OpenAt(place, off)
		if i < 8 { // of the key's name
			var unknown *store.UnknownKeyError
			require.ErrorAs(t, err, &unknown)
			continue
		}
		require.ErrorIs(t, err, store.ErrSealBroken, "byte %d", i)
	}
	for n := range 60 {
		_, err := s.OpenAt(place, sealed[:n])
		require.ErrorIs(t, err, store.ErrSealBroken, "%d bytes", n)
	}
	_, err := s.OpenAt(place, append(bytes.Clone(sealed), 0))
	require.ErrorIs(t, err, store.ErrSealBroken)
}

func TestAKeyIsReplacedAndALostKeyIsNamed(t *testing.T) {
	old, both, fresh := healthKeys(t, 1), healthKeys(t, 2, 1), healthKeys(t, 2)
	before := old.SealTo(place, []byte("before"))
	got, err := both.OpenAt(place, before)
	require.NoError(t, err)
	require.Equal(t, "before", string(got))
	after := both.SealTo(place, []byte("after"))
	got, err = fresh.OpenAt(place, after)
	require.NoError(t, err, "the first key seals")
	require.Equal(t, "after", string(got))
	_, err = fresh.OpenAt(place, before)
	var unknown *store.UnknownKeyError
	require.ErrorAs(t, err, &unknown)
	sum := sha256.Sum256(key(1))
	require.Equal(t, hex.EncodeToString(sum[:8]), unknown.KeyID)
	require.Equal(t, old.KeyID(), unknown.KeyID)
	// Who gives another key the name of the lost one gets no further.
	forged := append(bytes.Clone(after[:8]), before[8:]...)
	_, err = both.OpenAt(place, forged)
	require.ErrorIs(t, err, store.ErrSealBroken)
}

func TestANonceNeverComesTwice(t *testing.T) {
	s := healthKeys(t, 1)
	seen := map[string]bool{}
	for range 20_000 {
		nonce := string(s.SealTo(place, nil)[8:20])
		require.False(t, seen[nonce])
		seen[nonce] = true
	}
}

func TestKeysThatAreNoneAreRefused(t *testing.T) {
	for name, keys := range map[string][][]byte{
		"none": nil, "short": {key(1)[:31]}, "long": {append(key(1), 0)}, "empty": {{}}, "zero": {make([]byte, 32)}, "the second": {key(1), bytes.Repeat([]byte{7}, 32)},
	} {
		_, err := store.NewSealer(keys...)
		require.Error(t, err, name)
	}
}

func TestAKeyFileIsReadWhenItIsItsOwnersAlone(t *testing.T) {
	dir := t.TempDir()
	one, two := base64.StdEncoding.EncodeToString(key(1)), base64.StdEncoding.EncodeToString(key(2))
	write := func(content string, mode os.FileMode) string {
		path := filepath.Join(dir, "key")
		require.NoError(t, os.RemoveAll(path))
		require.NoError(t, os.WriteFile(path, []byte(content), 0o600))
		require.NoError(t, os.Chmod(path, mode))
		return path
	}
	s, err := store.ReadSealer(write("# first\n\n  "+two+"\r\n"+one+"\n", 0o400))
	require.NoError(t, err)
	require.Equal(t, healthKeys(t, 2).KeyID(), s.KeyID())
	_, err = s.OpenAt(place, healthKeys(t, 1).SealTo(place, nil))
	require.NoError(t, err, "all keys open")

	for _, mode := range []os.FileMode{0o640, 0o604, 0o620, 0o602, 0o610, 0o601, 0o644, 0o777} {
		_, err := store.ReadSealer(write(one, mode))
		require.ErrorContains(t, err, "chmod 600", "%o", mode)
	}
	for name, content := range map[string]string{
		"empty": "", "comments": "# nothing\n", "no base64": "zqkey!", "short": base64.StdEncoding.EncodeToString(key(1)[:31]), "twice": one + "\n" + one,
		"second line": one + "\nzqkey", "a long line": strings.Repeat("zqkey", 20_000), "zero": base64.StdEncoding.EncodeToString(make([]byte, 32)), "bytes": string(key(1)),
	} {
		_, err := store.ReadSealer(write(content, 0o600))
		require.Error(t, err, name)
		require.NotContains(t, err.Error(), "zqkey", name)
		require.NotContains(t, err.Error(), one, name)
	}
	_, err = store.ReadSealer(filepath.Join(dir, "none"))
	require.ErrorIs(t, err, os.ErrNotExist)
	_, err = store.ReadSealer(dir)
	require.ErrorContains(t, err, "is no file")
}

func TestANewKeyFileIsMadeOnce(t *testing.T) {
	path := filepath.Join(t.TempDir(), "health.key")
	require.NoError(t, store.MakeKeyFile(path))
	info, err := os.Stat(path)
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
	first, err := store.ReadSealer(path)
	require.NoError(t, err)
	require.NoError(t, store.MakeKeyFile(path))
	again, err := store.ReadSealer(path)
	require.NoError(t, err)
	require.Equal(t, first.KeyID(), again.KeyID())
	require.Error(t, store.MakeKeyFile(filepath.Join(path, "below")))
}
