package store_test

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

// secrets are one of each kind.
type secrets struct{ bearer, feed, link, session string }

func (s *salon) secrets() (x secrets) {
	s.t.Helper()
	ctx := s.t.Context()
	s.tx(func(t *store.Tx) (err error) {
		if _, x.bearer, err = t.AddToken(ctx, store.Desk, "", "front desk", nil); err != nil {
			return err
		}
		if _, x.feed, err = t.AddFeed(ctx, "staff", s.ada, ""); err != nil {
			return err
		}
		x.link, err = t.AddSessionLink(ctx, store.Owner, "", time.Now().Add(time.Hour))
		return err
	})
	x.session = rand.Text()
	s.browser(x.session, store.BrowserSession{Role: store.Owner})
	return x
}

// link is a fresh one-time link.
func (s *salon) link(life time.Duration) (link string) {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) {
		link, err = t.AddSessionLink(s.t.Context(), store.Owner, "", time.Now().Add(life))
		return err
	})
	return link
}

// find looks a secret up by the way of its kind.
func (s *salon) find(secret string) error {
	ctx := s.t.Context()
	var err error
	switch {
	case strings.HasPrefix(secret, "b"):
		_, err = s.store.Principal(ctx, secret)
	case strings.HasPrefix(secret, "f"):
		_, err = s.store.FeedBySecret(ctx, secret)
	case strings.HasPrefix(secret, "o"):
		_, err = s.store.LinkBySecret(ctx, secret, time.Now())
	default:
		_, err = s.store.WhoUses(ctx, kept(secret), store.Press{Now: time.Now()})
	}
	return err
}

func TestASecretFindsItsHolder(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	x := s.secrets()
	p, err := s.store.Principal(ctx, x.bearer)
	require.NoError(t, err)
	require.Equal(t, store.Principal{Salon: s.row.ID, Role: store.Desk, TokenID: p.TokenID}, p)
	require.NotEmpty(t, p.TokenID)
	f, err := s.store.FeedBySecret(ctx, x.feed)
	require.NoError(t, err)
	require.Equal(t, []string{s.row.ID, "staff", s.ada}, []string{f.Salon, f.Kind, f.Subject})
	require.Equal(t, int64(1), f.Version)

	var secret string
	s.tx(func(tx *store.Tx) (err error) {
		_, secret, err = tx.AddToken(ctx, store.LeadRole, s.ada, "", nil)
		return err
	})
	p, err = s.store.Principal(ctx, secret)
	require.NoError(t, err)
	require.Equal(t, s.ada, p.StaffID)

	// The time of the last use is noted, not more than once a minute.
	const used = `SELECT last_used_at FROM access_token WHERE token_id = $1`
	first := value[time.Time](s, used, p.TokenID)
	_, err = s.store.Principal(ctx, secret)
	require.NoError(t, err)
	require.Equal(t, first, value[time.Time](s, used, p.TokenID))
}

func TestTheDatabaseDoesNotHoldASecret(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	x := s.secrets()
	sum := sha256.Sum256([]byte(x.bearer))
	require.True(t, s.dumpHolds([]byte(s.row.Key)), "the dump is complete")
	require.True(t, s.dumpHolds(sum[:]))
	for _, secret := range []string{x.bearer, x.feed, x.link, x.session} {
		_, random, ok := strings.Cut(strings.TrimPrefix(secret[2:], s.row.Key), "_")
		if !ok {
			require.False(t, s.dumpHolds([]byte(secret)))
			continue
		}
		require.Len(t, random, 43)
		raw, err := base64.RawURLEncoding.DecodeString(random)
		require.NoError(t, err)
		for _, form := range [][]byte{[]byte(secret), []byte(random), raw} {
			require.False(t, s.dumpHolds(form))
		}
	}
}

// dumpHolds says whether a column of any table holds the bytes, as text, as
// bytes, or written as hex.
func (s *salon) dumpHolds(what []byte) bool {
	s.t.Helper()
	for _, table := range rows[string](s, `SELECT format('%I.%I', schemaname, tablename) FROM pg_tables
		WHERE schemaname NOT IN ('pg_catalog', 'information_schema')`) {
		for _, line := range rows[string](s, `SELECT x::text FROM `+table+` x`) {
			if strings.Contains(line, string(what)) || strings.Contains(line, hex.EncodeToString(what)) {
				return true
			}
		}
	}
	return false
}

func TestARevokedExpiredOrUnknownSecretIsTheSameToTheCaller(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	other := s.second()
	ctx := t.Context()
	past := time.Now().Add(-time.Second)
	var revoked, expired, revokedFeed, lateLink string
	s.tx(func(tx *store.Tx) error {
		id, secret, err := tx.AddToken(ctx, store.Desk, "", "", nil)
		require.NoError(t, err)
		require.NoError(t, tx.RevokeToken(ctx, id))
		require.NoError(t, tx.RevokeToken(ctx, id), "again")
		revoked = secret
		_, expired, err = tx.AddToken(ctx, store.Desk, "", "", &past)
		require.NoError(t, err)
		f, secret, err := tx.AddFeed(ctx, "staff", s.ben, "")
		require.NoError(t, err)
		require.NoError(t, tx.RevokeFeed(ctx, f.ID))
		revokedFeed = secret
		lateLink, err = tx.AddSessionLink(ctx, store.Owner, "", past)
		return err
	})
	lateSession := rand.Text()
	s.browser(lateSession, store.BrowserSession{Role: store.Owner, Ends: past})
	used := s.link(time.Hour)
	s.tx(func(tx *store.Tx) error { return tx.UseLink(ctx, used, time.Now()) })

	x, theirs := s.secrets(), other.secrets()
	list := map[string]string{
		"revoked token": revoked, "expired token": expired, "revoked feed": revokedFeed, "expired link": lateLink,
		"expired session": lateSession, "used link": used, "empty": "", "no parts": "b", "two parts": "b_" + s.row.Key,
		"no secret": "b_" + s.row.Key + "_", "kind of another": "f" + x.bearer[1:], "bearer as link": "o" + x.bearer[1:],
		"unknown kind":         "x" + x.bearer[1:],
		"key of another salon": strings.Replace(x.bearer, s.row.Key, other.row.Key, 1),
		"no salon's key":       strings.Replace(x.bearer, s.row.Key, "abcdefghij", 1),
		"one character off":    x.bearer[:len(x.bearer)-2] + flip(x.bearer[len(x.bearer)-2:]),
		"one too few":          x.bearer[:len(x.bearer)-1], "one too many": x.bearer + "A", "in capitals": strings.ToUpper(x.bearer),
		"a space behind": x.bearer + " ", "a line behind": x.bearer + "\n", "NUL in the key": "b_abc\x00def_" + x.bearer[len(x.bearer)-43:],
		"no UTF-8 in the key": "f_abc\xffdef_" + x.feed[len(x.feed)-43:], "NUL in the secret": x.bearer[:len(x.bearer)-1] + "\x00",
		"no UTF-8 in the secret": x.link[:len(x.link)-1] + "\xff", "very long": "b_" + strings.Repeat("a", 1<<20),
		"wildcard": "b_" + s.row.Key + "_" + strings.Repeat("%", 43),
	}
	for name, secret := range list {
		err := s.find(secret)
		require.ErrorIs(t, err, scheduling.ErrNotFound, name)
		require.NotContains(t, err.Error(), s.row.Key, name)
	}
	for _, secret := range []string{x.bearer, x.feed, x.session, theirs.bearer, theirs.feed, theirs.session} {
		require.NoError(t, s.find(secret))
	}
	s.tx(func(tx *store.Tx) error {
		require.ErrorIs(t, tx.RevokeToken(ctx, store.NewID()), scheduling.ErrNotFound)
		require.ErrorIs(t, tx.RevokeFeed(ctx, store.NewID()), scheduling.ErrNotFound)
		_, _, err := tx.AddFeed(ctx, "staff", s.chairs[0], "")
		require.ErrorIs(t, err, scheduling.ErrNotFound, "a chair is nobody")
		_, _, err = tx.AddFeed(ctx, "client", s.ada, "")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		tokens, err := tx.Tokens(ctx)
		require.NoError(t, err)
		require.Len(t, tokens, 3)
		require.NotNil(t, tokens[2].Revoked)
		feeds, err := tx.Feeds(ctx, "")
		require.NoError(t, err)
		require.Len(t, feeds, 2)
		return nil
	})
}

// flip gives two other characters.
func flip(s string) string {
	if s == "AA" {
		return "BB"
	}
	return "AA"
}

func TestALinkIsUsedOnceAlsoWhenItIsFollowedManyTimesAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	for range 10 {
		link := s.link(time.Hour)
		errs := make([]error, 8)
		var all sync.WaitGroup
		for i := range errs {
			all.Go(func() {
				errs[i] = s.store.InTx(context.Background(), s.row.ID, func(tx *store.Tx) error { return tx.UseLink(context.Background(), link, time.Now()) })
			})
		}
		all.Wait()
		n := 0
		for _, err := range errs {
			if err == nil {
				n++
				continue
			}
			require.ErrorIs(t, err, scheduling.ErrNotFound)
		}
		require.Equal(t, 1, n)
		require.ErrorIs(t, s.find(link), scheduling.ErrNotFound)
	}
}

func TestSomebodyWhoLeavesLosesTokensAndFeedsAtOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	var token, feed, bens string
	s.tx(func(tx *store.Tx) (err error) {
		_, token, err = tx.AddToken(ctx, store.LeadRole, s.ada, "", nil)
		require.NoError(t, err)
		_, feed, err = tx.AddFeed(ctx, "staff", s.ada, "")
		require.NoError(t, err)
		_, bens, err = tx.AddToken(ctx, store.LeadRole, s.ben, "", nil)
		return err
	})
	change := func(active bool) {
		s.tx(func(tx *store.Tx) error {
			p, err := tx.StaffByID(ctx, s.ada)
			require.NoError(t, err)
			p.Active = active
			_, err = tx.UpdateStaff(ctx, p)
			return err
		})
	}
	change(true)
	require.NoError(t, errors.Join(s.find(token), s.find(feed)))
	change(false)
	require.ErrorIs(t, s.find(token), scheduling.ErrNotFound)
	require.ErrorIs(t, s.find(feed), scheduling.ErrNotFound)
	require.NoError(t, s.find(bens))
	change(true)
	require.ErrorIs(t, s.find(token), scheduling.ErrNotFound, "coming back gives nothing back")
}

func TestSalonsHaveKeysThatFitIntoASecret(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	keys := map[string]bool{}
	for range 50 {
		n, err := s.store.AddSalon(t.Context(), store.Salon{Name: "Another", Zone: "Europe/Berlin"})
		require.NoError(t, err)
		require.Regexp(t, `^[a-z0-9]{6,16}$`, n.Key)
		keys[n.Key] = true
	}
	require.Len(t, keys, 50)
	_, err := s.db.Exec(t.Context(), `UPDATE salon SET key = 'A_b' WHERE salon_id = $1`, s.row.ID)
	require.Error(t, err)
	first, err := s.store.FirstSalon(t.Context())
	require.NoError(t, err)
	require.Equal(t, s.row.ID, first.ID)
	_, err = s.db.Exec(t.Context(), `DELETE FROM salon WHERE salon_id <> ALL($1)`, []string{s.row.ID})
	require.NoError(t, err)
	s.tx(func(tx *store.Tx) error { return tx.DeleteSalon(t.Context()) })
	_, err = s.store.FirstSalon(t.Context())
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	require.NotErrorIs(t, err, pgx.ErrNoRows)
}
