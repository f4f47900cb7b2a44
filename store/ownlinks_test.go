package store_test

import (
	"encoding/base64"
	"maps"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"AddOwnLink": func(t *store.Tx, x *filled) (any, error) {
			_, _, err := t.AddOwnLink(x.t.Context(), store.OwnLink{Client: x.client, Days: 1}, at(8, 0))
			return nil, err
		},
		"OwnLinks":    func(t *store.Tx, x *filled) (any, error) { return t.OwnLinks(x.t.Context(), x.client) },
		"OwnLinkByID": func(t *store.Tx, x *filled) (any, error) { return t.OwnLinkByID(x.t.Context(), x.ownLink()) },
		"RotateOwnLink": func(t *store.Tx, x *filled) (any, error) {
			_, _, err := t.RotateOwnLink(x.t.Context(), x.ownLink(), false, "Ada", at(9, 0))
			return nil, err
		},
		"RevokeOwnLink": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.RevokeOwnLink(x.t.Context(), x.ownLink(), at(9, 0))
		},
		"TouchOwnLink": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.TouchOwnLink(x.t.Context(), x.ownLink(), at(9, 0))
		},
		"CloseOwnPages": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.CloseOwnPages(x.t.Context(), x.client, true, at(9, 0))
		},
		"MessagesClosed": func(t *store.Tx, x *filled) (any, error) {
			closed, err := t.MessagesClosed(x.t.Context(), x.client)
			require.True(x.t, closed.IsZero())
			return nil, err
		},
		"AddClientRequest": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.AddClientRequest(x.t.Context(), store.ClientRequest{Client: x.client, Kind: store.AskRetouch, Made: at(9, 0)})
			return nil, err
		},
		"OpenRequests": func(t *store.Tx, x *filled) (any, error) { return t.OpenRequests(x.t.Context()) },
		"RequestsOf":   func(t *store.Tx, x *filled) (any, error) { return t.RequestsOf(x.t.Context(), x.client) },
		"SettleRequest": func(t *store.Tx, x *filled) (any, error) {
			id := value[string](x.salon, `SELECT min(request_id) FROM client_request WHERE salon_id = $1`, x.row.ID)
			_, err := t.SettleRequest(x.t.Context(), store.ClientRequest{ID: id, Settled: new(at(9, 0)), Outcome: store.RequestDone})
			return nil, err
		},
		"NoteByClient": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.NoteByClient(x.t.Context(), x.visit, store.MovedByClient, at(9, 0))
		},
		"VisitsInView":   func(t *store.Tx, x *filled) (any, error) { return t.VisitsInView(x.t.Context(), x.client) },
		"FillWishes":     func(t *store.Tx, x *filled) (any, error) { return t.FillWishes(x.t.Context(), x.visit) },
		"BookedByClient": func(t *store.Tx, x *filled) (any, error) { return t.BookedByClient(x.t.Context(), x.visit) },
	})
	ownOnly = append(ownOnly, "ClientMayErase", "SetClientMayErase")
}

// hersToOpen notes what a client has on her own pages.
func (x *filled) hersToOpen(t *store.Tx) {
	ctx := x.t.Context()
	_, _, err := t.AddOwnLink(ctx, store.OwnLink{Client: x.client, Label: "of " + x.row.ID, Days: 400}, at(8, 0))
	require.NoError(x.t, err)
	require.NoError(x.t, t.CloseOwnPages(ctx, x.client, true, at(7, 0)))
	_, err = t.AddClientRequest(ctx, store.ClientRequest{Client: x.client, Visit: x.visit, Kind: store.AskMove, Words: "of " + x.row.ID, Made: at(8, 0)})
	require.NoError(x.t, err)
	require.NoError(x.t, t.NoteByClient(ctx, x.visit, store.BookedByClient, at(8, 0)))
}

// ownLink is the id of its client's link.
func (x *filled) ownLink() string {
	return value[string](x.salon, `SELECT min(link_id) FROM own_link WHERE salon_id = $1`, x.row.ID)
}

func TestOwnPagesOpenByALinkAndCloseWithIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	ctx := t.Context()
	client := s.client("Mara")
	now := at(9, 0)
	var l store.OwnLink
	var secret string
	s.tx(func(t *store.Tx) (err error) {
		l, secret, err = t.AddOwnLink(ctx, store.OwnLink{Client: client, Days: 400, MadeBy: "Ada"}, now)
		return err
	})
	require.True(t, strings.HasPrefix(secret, "c_"+s.row.Key+"_"))
	p, err := s.store.OwnLinkBySecret(ctx, secret, now)
	require.NoError(t, err)
	require.Equal(t, []any{s.row.ID, client, l.ID, now, ""}, []any{p.Salon, p.Client, p.Link, p.Begun, p.Message})
	require.Nil(t, value[*time.Time](s, `SELECT last_used_at FROM own_link WHERE link_id = $1`, l.ID), "looking changes nothing")

	p.Expires = now.Add(30 * time.Minute)
	opened, err := s.store.OpenOwnPages(ctx, p)
	require.NoError(t, err)
	got, err := s.store.OpenedOwnPages(ctx, opened, now.Add(29*time.Minute))
	require.NoError(t, err)
	require.Equal(t, client, got.Client)
	require.Equal(t, l.ID, got.Link)
	_, err = s.store.OpenedOwnPages(ctx, opened, now.Add(30*time.Minute))
	require.ErrorIs(t, err, scheduling.ErrNotFound)

	// Whatever is changed of it, nothing is open.
	parts := strings.SplitN(opened, "_", 3) // the last may have such a stroke in it
	i := len(opened) - len(parts[2])
	raw, err := base64.RawURLEncoding.DecodeString(opened[i:])
	require.NoError(t, err)
	for k := range raw {
		bad := append([]byte{}, raw...)
		bad[k] ^= 1
		_, err := s.store.OpenedOwnPages(ctx, opened[:i]+base64.RawURLEncoding.EncodeToString(bad), now)
		require.ErrorIs(t, err, scheduling.ErrNotFound, k)
	}
	for _, bad := range []string{"", "p_", opened + "A", opened[:len(opened)-1], secret, strings.Replace(opened, s.row.Key, s.second().row.Key, 1)} {
		_, err := s.store.OpenedOwnPages(ctx, bad, now)
		require.ErrorIs(t, err, scheduling.ErrNotFound, bad)
	}

	require.True(t, got.Unnoted)
	s.tx(func(t *store.Tx) error { return t.TouchOwnLink(ctx, l.ID, now) })
	for minutes, unnoted := range map[int]bool{4: false, 6: true} {
		later, err := s.store.OpenedOwnPages(ctx, opened, now.Add(time.Duration(minutes)*time.Minute))
		require.NoError(t, err)
		require.Equal(t, unnoted, later.Unnoted, "after %d minutes", minutes)
	}
	s.tx(func(t *store.Tx) (err error) { _, _, err = t.RotateOwnLink(ctx, l.ID, false, "Noor", now); return err })
	_, err = s.store.OpenedOwnPages(ctx, opened, now)
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	late, err := s.store.OpenOwnPages(ctx, got) // a request that began before the link was changed
	require.NoError(t, err)
	_, err = s.store.OpenedOwnPages(ctx, late, now)
	require.ErrorIs(t, err, scheduling.ErrNotFound, "the new secret has not opened them")
	s.tx(func(tx *store.Tx) error {
		l, err := tx.OwnLinkByID(ctx, l.ID)
		require.Equal(t, "Noor", l.MadeBy)
		return err
	})
	_, err = s.store.OpenOwnPages(ctx, store.OwnPages{Salon: s.row.ID, Client: client, Link: l.ID, Begun: now, Expires: p.Expires})
	require.ErrorIs(t, err, scheduling.ErrNotFound, "nobody has found them")
	_, err = s.store.OwnLinkBySecret(ctx, secret, now)
	require.ErrorIs(t, err, scheduling.ErrNotFound)
}

func TestPagesOpenedByAMessageCloseWhenMessagesAre(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	ctx, client := t.Context(), s.client("Mara")
	p := store.OwnPages{Salon: s.row.ID, Client: client, Message: store.NewID(), Sent: at(8, 0), Begun: at(9, 0), Expires: at(9, 30), Guardian: true}
	opened, err := s.store.OpenOwnPages(ctx, p)
	require.NoError(t, err)
	got, err := s.store.OpenedOwnPages(ctx, opened, at(9, 1))
	require.NoError(t, err)
	require.Equal(t, []any{p.Message, "", true, p.Sent.Unix()}, []any{got.Message, got.Link, got.Guardian, got.Sent.Unix()})

	s.tx(func(t *store.Tx) error { return t.CloseOwnPages(ctx, client, true, at(8, 30)) })
	_, err = s.store.OpenedOwnPages(ctx, opened, at(9, 1))
	require.ErrorIs(t, err, scheduling.ErrNotFound, "it went out before")
	p.Sent = at(8, 31)
	opened, err = s.store.OpenOwnPages(ctx, p)
	require.NoError(t, err)
	_, err = s.store.OpenedOwnPages(ctx, opened, at(9, 1))
	require.NoError(t, err)
	s.tx(func(t *store.Tx) error { return t.CloseOwnPages(ctx, client, false, at(9, 0)) })
	_, err = s.store.OpenedOwnPages(ctx, opened, at(9, 1))
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	closed := time.Time{}
	s.tx(func(t *store.Tx) (err error) { closed, err = t.MessagesClosed(ctx, client); return err })
	require.Equal(t, at(8, 30).Unix(), closed.Unix(), "closing pages leaves messages as they were")
}

func TestNothingOfALinkIsKeptButItsHashAndItGoesWithItsClient(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	ctx, client := t.Context(), s.client("Mara")
	var secret string
	s.tx(func(t *store.Tx) (err error) {
		_, secret, err = t.AddOwnLink(ctx, store.OwnLink{Client: client, Days: 1}, at(8, 0))
		return err
	})
	all := value[string](s, `SELECT string_agg(to_jsonb(x)::text, ' ') FROM own_link x`)
	require.NotContains(t, all, strings.SplitN(secret, "_", 3)[2])
	s.tx(func(t *store.Tx) error { return t.DeleteClient(ctx, client, 1) })
	_, err := s.store.OwnLinkBySecret(ctx, secret, at(8, 0))
	require.ErrorIs(t, err, scheduling.ErrNotFound)
	require.Zero(t, value[int](s, `SELECT count(*) FROM own_link`))
}

func TestARequestOfOneKindStandsOnceUntilItIsSettled(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	ctx, client := t.Context(), s.client("Mara")
	ask := func(words string) (r store.ClientRequest) {
		s.tx(func(t *store.Tx) (err error) {
			r, err = t.AddClientRequest(ctx, store.ClientRequest{Client: client, Kind: store.AskRetouch, Words: words, Made: at(8, 0)})
			return err
		})
		return r
	}
	first := ask("in June")
	require.Equal(t, first.ID, ask("or in July").ID)
	s.tx(func(t *store.Tx) error {
		_, err := t.SettleRequest(ctx, store.ClientRequest{ID: first.ID, Settled: new(at(9, 0)), Outcome: store.RequestDone, SettledBy: "desk"})
		return err
	})
	err := s.try(func(t *store.Tx) error {
		_, err := t.SettleRequest(ctx, store.ClientRequest{ID: first.ID, Settled: new(at(9, 0)), Outcome: store.RequestDone})
		return err
	})
	require.ErrorIs(t, err, scheduling.ErrStale)
	require.NotEqual(t, first.ID, ask("in August").ID)
	var list []store.ClientRequest
	s.tx(func(t *store.Tx) (err error) { list, err = t.RequestsOf(ctx, client); return err })
	require.Len(t, list, 2)
	require.Equal(t, "or in July", list[1].Words)
}
