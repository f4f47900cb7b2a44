package store_test

import (
	"bytes"
	"errors"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func call(key string) store.Call {
	return store.Call{Principal: "token", Method: "POST", Route: "/v1/visits", Key: key, Fingerprint: bytes.Repeat([]byte{7}, 32)}
}

var answered = store.Answer{Status: 201, ETag: `"v1"`, Location: "/v1/visits/1", Body: []byte(`{"id": "1"}`)}

// begin claims a call in a transaction of its own, and answers it when done is
// true.
func (s *salon) begin(c store.Call, done bool) (a store.Answer, old bool, err error) {
	err = s.try(func(t *store.Tx) (err error) {
		if a, old, err = t.Begin(s.t.Context(), c); err != nil || !done {
			return err
		}
		return t.End(c, answered)
	})
	return a, old, err
}

func TestARepeatedCallGetsTheFirstAnswer(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	_, old, err := s.begin(call("one"), true)
	require.NoError(t, err)
	require.False(t, old)
	for range 2 {
		a, old, err := s.begin(call("one"), false)
		require.NoError(t, err)
		require.True(t, old)
		require.Equal(t, answered, a)
	}
}

func TestAKeyBelongsToOneCallerRouteAndSalon(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	_, _, err := s.begin(call("one"), true)
	require.NoError(t, err)
	for name, change := range map[string]func(*store.Call){
		"principal": func(c *store.Call) { c.Principal = "another" },
		"method":    func(c *store.Call) { c.Method = "PUT" },
		"route":     func(c *store.Call) { c.Route = "/v1/clients" },
		"key":       func(c *store.Call) { c.Key = "two" },
		"ends of the parts": func(c *store.Call) {
			c.Principal, c.Method = c.Principal+c.Method[:1], c.Method[1:]
		},
	} {
		c := call("one")
		change(&c)
		_, old, err := s.begin(c, true)
		require.NoError(t, err, name)
		require.False(t, old, name)
	}
	_, old, err := other.begin(call("one"), true)
	require.NoError(t, err)
	require.False(t, old)
}

func TestAKeyWithAnotherRequestIsRefused(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	_, _, err := s.begin(call("one"), true)
	require.NoError(t, err)
	c := call("one")
	c.Fingerprint = bytes.Repeat([]byte{8}, 32)
	_, _, err = s.begin(c, true)
	require.ErrorIs(t, err, store.ErrKeyReused)
	a, old, err := s.begin(call("one"), false)
	require.NoError(t, err)
	require.True(t, old)
	require.Equal(t, answered, a)
}

func TestASecondCallWhileTheFirstRunsIsToldSo(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.tx(func(tx *store.Tx) error {
		_, old, err := tx.Begin(t.Context(), call("one"))
		require.NoError(t, err)
		require.False(t, old)
		_, _, err = s.begin(call("one"), true)
		require.ErrorIs(t, err, store.ErrRunning)
		_, _, err = s.begin(call("two"), true)
		require.NoError(t, err, "another key does not wait")
		return tx.End(call("one"), answered)
	})
	_, old, err := s.begin(call("one"), false)
	require.NoError(t, err)
	require.True(t, old)
}

func TestACallThatFailsLeavesItsKeyUnused(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	before := s.contents()
	failed := errors.New("failed")
	require.ErrorIs(t, s.try(func(tx *store.Tx) error {
		if _, _, err := tx.Begin(t.Context(), call("one")); err != nil {
			return err
		}
		return failed
	}), failed)
	require.Equal(t, before, s.contents())
	c := call("one")
	c.Fingerprint = bytes.Repeat([]byte{8}, 32)
	_, old, err := s.begin(c, true)
	require.NoError(t, err, "even another request may use it")
	require.False(t, old)
}

func TestAClashIsAnAnswerThatIsKeptWithoutItsEffect(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.booked(s.client("Guest"), at(9, 0), s.seat())
	late := s.client("Late")
	s.tx(func(tx *store.Tx) error {
		if _, _, err := tx.Begin(t.Context(), call("one")); err != nil {
			return err
		}
		v, blocks := s.visit(late, at(9, 30), s.seat())
		err := tx.Savepoint(t.Context(), func(tx *store.Tx) error { return tx.InsertVisit(t.Context(), v, blocks) })
		require.ErrorIs(t, err, store.ErrTaken)
		return tx.End(call("one"), store.Answer{Status: 409, Body: []byte(`"taken"`)})
	})
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM visit`))
	a, old, err := s.begin(call("one"), false)
	require.NoError(t, err)
	require.True(t, old)
	require.Equal(t, store.Answer{Status: 409, Body: []byte(`"taken"`)}, a)
}

func TestACallThatIsSentManyTimesAtOnceHasOneEffect(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 16)
	client := s.client("Guest")
	var done, replayed, running int
	var mu sync.Mutex
	var all sync.WaitGroup
	for range 16 {
		all.Go(func() {
			for again := true; again; {
				v, blocks := s.visit(client, at(9, 0), s.seat())
				var old bool
				err := s.try(func(tx *store.Tx) (err error) {
					if _, old, err = tx.Begin(t.Context(), call("one")); err != nil || old {
						return err
					}
					if err := tx.InsertVisit(t.Context(), v, blocks); err != nil {
						return err
					}
					return tx.End(call("one"), answered)
				})
				mu.Lock()
				again = errors.Is(err, store.ErrRunning)
				switch {
				case again:
					running++
				case err != nil:
					t.Error(err)
				case old:
					replayed++
				default:
					done++
				}
				mu.Unlock()
			}
		})
	}
	all.Wait()
	require.Equal(t, []int{1, 15}, []int{done, replayed})
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM visit`))
	t.Logf("%d times it was still running", running)
}

func TestAKeyThatCannotBeKeptIsRefused(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	for _, key := range []string{"", strings.Repeat("k", 256)} {
		_, _, err := s.begin(call(key), true)
		require.Error(t, err)
	}
	_, _, err := s.begin(call("a\x00b"), true)
	var bad *scheduling.InvalidError
	require.ErrorAs(t, err, &bad)
	require.Contains(t, bad.Problem, "NUL")
	_, _, err = s.begin(call(strings.Repeat("é", 255)), true)
	require.NoError(t, err)
}
