package store_test

import (
	"encoding/base64"
	"maps"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func stopRetouch(at time.Time) store.MessageChoice {
	return store.MessageChoice{Kind: "retouch", Wanted: new(false), How: "page", MessageKind: "retouch", At: at}
}

// wishAndAnswer fills the tables of wishes, yes and languages.
func (x *filled) wishAndAnswer(t *store.Tx) {
	ctx := x.t.Context()
	_, err := t.NoteMessageChoices(ctx, x.client, []store.MessageChoice{stopRetouch(at(8, 0))})
	require.NoError(x.t, err)
	_, err = t.SaveLanguage(ctx, store.Language{Tag: "pt-br", Doc: "texts of " + x.row.ID, Changed: at(8, 0), ChangedBy: "owner"})
	require.NoError(x.t, err)
	v, err := t.LockVisit(ctx, x.visit, 0)
	require.NoError(x.t, err)
	fresh, err := t.NoteYes(ctx, &v, store.Yes{At: at(8, 0), How: "call", NotedBy: "guard of " + x.row.ID})
	require.NoError(x.t, err)
	require.True(x.t, fresh)
}

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"MessageWishOf": func(t *store.Tx, x *filled) (any, error) {
			w, err := t.MessageWishOf(x.t.Context(), x.client)
			w.Client = "" // which was given
			return w, err
		},
		"MessageChoices": func(t *store.Tx, x *filled) (any, error) { return t.MessageChoices(x.t.Context(), x.client, 10) },
		"SaveMessageWish": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.SaveMessageWish(x.t.Context(), store.MessageWish{Client: x.client, Language: "de", Version: 2}, nil)
			return nil, err
		},
		"NoteMessageChoices": func(t *store.Tx, x *filled) (any, error) {
			c := stopRetouch(at(9, 0))
			c.Wanted = new(true)
			return t.NoteMessageChoices(x.t.Context(), x.client, []store.MessageChoice{c})
		},
		"Languages":     func(t *store.Tx, x *filled) (any, error) { return t.Languages(x.t.Context()) },
		"LanguageByTag": func(t *store.Tx, x *filled) (any, error) { return t.LanguageByTag(x.t.Context(), "pt-br") },
		"SaveLanguage": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.SaveLanguage(x.t.Context(), store.Language{Tag: "fr", Doc: "x", Changed: at(9, 0), Version: 99999})
			return nil, err
		},
		"DeleteLanguage": func(t *store.Tx, x *filled) (any, error) { return nil, t.DeleteLanguage(x.t.Context(), "fr", 1) },
		"NoteYes": func(t *store.Tx, x *filled) (any, error) {
			return t.NoteYes(x.t.Context(), &store.Visit{ID: x.visit, Start: at(9, 0)}, store.Yes{At: at(8, 0), How: "call"})
		},
		"TakeBackYes": func(t *store.Tx, x *filled) (any, error) {
			return t.TakeBackYes(x.t.Context(), &store.Visit{ID: x.visit, Start: at(9, 0)})
		},
		"SetMessageRules": func(t *store.Tx, x *filled) (any, error) { return t.SetMessageRules(x.t.Context(), 99, []byte(`{}`)) },
		"DueNow": func(t *store.Tx, x *filled) (any, error) {
			return t.DueNow(x.t.Context(), store.Due{Reminder: store.Reminder{ID: x.firstReminder(), Visit: x.visit}})
		},
	})
}

func (x *filled) firstReminder() string {
	return rows[string](x.salon, `SELECT reminder_id FROM reminder WHERE salon_id = $1 ORDER BY reminder_id`, x.row.ID)[0]
}

func TestTheLastWordOnAMessageCountsAndAllAreKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client, ctx := s.client("Mara"), t.Context()
	wish := func() (w store.MessageWish) {
		s.tx(func(tx *store.Tx) (err error) { w, err = tx.MessageWishOf(ctx, client); return err })
		return w
	}
	require.Equal(t, store.MessageWish{Client: client, Version: 1, Choices: []store.MessageChoice{}}, wish())
	note := func(c store.MessageChoice) (fresh bool) {
		s.tx(func(tx *store.Tx) (err error) {
			fresh, err = tx.NoteMessageChoices(ctx, client, []store.MessageChoice{c})
			return err
		})
		return fresh
	}
	stop := stopRetouch(at(8, 0))
	require.True(t, note(stop))
	require.False(t, note(stop), "once more is as good as once")
	again, guardian := stop, stop
	again.Wanted, guardian.Guardian = new(true), true
	require.True(t, note(guardian))
	require.True(t, note(again))
	w := wish()
	require.EqualValues(t, 4, w.Version)
	require.True(t, *w.Said("retouch", "", false))
	require.False(t, *w.Said("retouch", "", true), "a guardian's word is another")
	require.Nil(t, w.Said("retouch", "mail", false))
	s.tx(func(tx *store.Tx) error {
		list, err := tx.MessageChoices(ctx, client, 10)
		require.NoError(t, err)
		require.Len(t, list, 3)
		require.True(t, *list[0].Wanted, "newest first")
		w.Language, w.Voice = "pt-br", true
		saved, err := tx.SaveMessageWish(ctx, w, []store.MessageChoice{{Kind: "retouch", How: "desk", NotedBy: "desk", At: at(9, 0)}})
		require.NoError(t, err)
		require.EqualValues(t, 5, saved.Version)
		require.Nil(t, saved.Said("retouch", "", false), "nothing counts any more")
		_, err = tx.SaveMessageWish(ctx, w, nil)
		require.ErrorIs(t, err, scheduling.ErrStale)
		_, err = tx.MessageWishOf(ctx, "nobody")
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return nil
	})
	// Whatever else changes about the client leaves the wishes alone.
	s.tx(func(tx *store.Tx) error {
		c, err := tx.ClientByID(ctx, client)
		require.NoError(t, err)
		c.GivenName = "Nora"
		_, err = tx.UpdateClient(ctx, c)
		return err
	})
	require.Equal(t, "pt-br", wish().Language)
	require.EqualValues(t, 5, wish().Version)
}

func TestOfManyWhoStopTheSameAtOnceOneIsNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	client := s.client("Mara")
	var all sync.WaitGroup
	for range 24 {
		all.Go(func() {
			s.tx(func(tx *store.Tx) error {
				_, err := tx.NoteMessageChoices(t.Context(), client, []store.MessageChoice{stopRetouch(at(8, 0))})
				return err
			})
		})
	}
	all.Wait()
	require.Equal(t, 1, value[int](s, `SELECT count(*)::int FROM message_choice`))
}

func TestAYesHoldsForTheStartThatItWasSaidOf(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	v := s.booked(s.client("Mara"), at(9, 0), s.seat())
	read := func() (x store.Visit) {
		s.tx(func(tx *store.Tx) (err error) { x, err = tx.VisitByID(ctx, v.ID); return err })
		return x
	}
	require.Nil(t, read().SaidYesAt)
	yes := func() (fresh bool) {
		s.tx(func(tx *store.Tx) error {
			x, err := tx.LockVisit(ctx, v.ID, 0)
			require.NoError(t, err)
			fresh, err = tx.NoteYes(ctx, &x, store.Yes{At: at(8, 0), How: "page"})
			return err
		})
		return fresh
	}
	before := read().Version
	require.True(t, yes())
	require.False(t, yes())
	require.True(t, at(8, 0).Equal(*read().SaidYesAt))
	require.Equal(t, before+1, read().Version, "who looks at the visit again sees that it has changed")
	_, err := s.db.Exec(ctx, `UPDATE visit SET starts_at = starts_at - interval '5 minutes' WHERE visit_id = $1`, v.ID)
	require.NoError(t, err)
	require.Nil(t, read().SaidYesAt, "of another start she has said nothing")
	require.True(t, yes())
	s.tx(func(tx *store.Tx) error {
		x, err := tx.LockVisit(ctx, v.ID, 0)
		require.NoError(t, err)
		had, err := tx.TakeBackYes(ctx, &x)
		require.True(t, had)
		require.NoError(t, err)
		had, err = tx.TakeBackYes(ctx, &x)
		require.False(t, had)
		return err
	})
	require.Nil(t, read().SaidYesAt)
}

func TestALinkNamesOneMessageOfOneSalon(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	link := func(x *salon) (reminder, link string) {
		r := x.remind(x.booked(x.client("Mara"), at(9, 0), x.seat()).ID, at(8, 0))
		link, err := x.store.MessageLink(ctx, x.row, r.ID)
		require.NoError(t, err)
		again, err := x.store.MessageLink(ctx, x.row, r.ID)
		require.NoError(t, err)
		require.Equal(t, link, again, "a message that goes out twice reads the same")
		return r.ID, link
	}
	id, mine := link(s)
	other := s.second()
	_, theirs := link(other)
	salon, found, err := s.store.LinkedMessage(ctx, mine)
	require.NoError(t, err)
	require.Equal(t, s.row.ID+" "+id, salon+" "+found)

	// No other spelling, no piece of another link, no other key is a link.
	parts := strings.Split(mine, "_")
	secret := strings.Join(parts[2:], "_")
	bad := []string{"", "m", "m__", mine + "A", mine[:len(mine)-1], "b_" + parts[1] + "_" + secret, "m_" + other.row.Key + "_" + secret,
		"m_" + parts[1] + "_" + strings.Repeat("A", 43), theirs[:len(theirs)-43] + secret, strings.ToUpper(mine), " " + mine, mine + "\x00",
		"m_nosuchsalon_" + secret, "m_'; DROP TABLE message_key; --_" + secret}
	raw, err := base64.RawURLEncoding.DecodeString(secret)
	require.NoError(t, err)
	for i := range len(raw) * 8 { // every bit counts
		x := append([]byte(nil), raw...)
		x[i/8] ^= 1 << (i % 8)
		bad = append(bad, "m_"+parts[1]+"_"+base64.RawURLEncoding.EncodeToString(x))
	}
	// 43 characters hold two bits more than 256: those have to be zero.
	for _, c := range "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_" {
		if x := mine[:len(mine)-1] + string(c); x != mine {
			bad = append(bad, x)
		}
	}
	seed := rand.Uint64()
	r := rand.New(rand.NewPCG(seed, 1))
	for range 200 {
		b := make([]byte, 32)
		for i := range b {
			b[i] = byte(r.Uint32())
		}
		bad = append(bad, "m_"+parts[1]+"_"+base64.RawURLEncoding.EncodeToString(b))
	}
	for _, x := range bad {
		_, _, err := s.store.LinkedMessage(ctx, x)
		require.ErrorIs(t, err, scheduling.ErrNotFound, "%q, seed %d", x, seed)
	}
	_, err = s.store.MessageLink(ctx, s.row, "no uuid")
	require.Error(t, err)
}

func TestManyWhoSendTheFirstMessageAtOnceAgreeOnOneKey(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	id := store.NewID()
	links := make([]string, 16)
	var all sync.WaitGroup
	for i := range links {
		all.Go(func() {
			var err error
			links[i], err = s.store.MessageLink(t.Context(), s.row, id)
			require.NoError(t, err)
		})
	}
	all.Wait()
	for _, l := range links {
		require.Equal(t, links[0], l)
	}
}

func TestALanguageIsReplacedOnlyByWhoHasReadIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	s.tx(func(tx *store.Tx) error {
		x := store.Language{Tag: "de", Doc: "eins", Changed: at(8, 0), ChangedBy: "owner"}
		first, err := tx.SaveLanguage(ctx, x)
		require.NoError(t, err)
		_, err = tx.SaveLanguage(ctx, x)
		require.ErrorIs(t, err, scheduling.ErrStale, "it is there already")
		x.Doc, x.Version = "zwei", first.Version
		second, err := tx.SaveLanguage(ctx, x)
		require.NoError(t, err)
		require.Greater(t, second.Version, first.Version)
		_, err = tx.SaveLanguage(ctx, x)
		require.ErrorIs(t, err, scheduling.ErrStale)
		require.ErrorIs(t, tx.DeleteLanguage(ctx, "de", first.Version), scheduling.ErrStale)
		list, err := tx.Languages(ctx)
		require.NoError(t, err)
		require.Len(t, list, 1)
		require.Empty(t, list[0].Doc)
		require.NoError(t, tx.DeleteLanguage(ctx, "de", second.Version))
		require.ErrorIs(t, tx.DeleteLanguage(ctx, "de", second.Version), scheduling.ErrNotFound)
		x.Version = 0
		third, err := tx.SaveLanguage(ctx, x)
		require.NoError(t, err)
		require.Greater(t, third.Version, second.Version, "no version comes twice")
		return nil
	})
}
