package store_test

import (
	"fmt"
	"maps"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func invitation(visit string) store.Invitation {
	return store.Invitation{Visit: visit, Attendee: "mara@client.example", UID: "uid of " + visit, Organizer: "replies+s3cret@salon.example",
		Method: "REQUEST", MessageID: "m1@salon.example", Sent: at(8, 0)}
}

func reply(visit string) store.Reply {
	return store.Reply{Visit: visit, Attendee: "mara@client.example", Answer: "accepted", Stamp: at(8, 30), Received: at(8, 31)}
}

// inviteAndReply fills the tables of invitations.
func (x *filled) inviteAndReply(t *store.Tx) {
	ctx := x.t.Context()
	_, err := t.SetInvitationSettings(ctx, 1, store.InvitationSettings{RepliesMail: "replies@" + x.row.Key + ".example"})
	require.NoError(x.t, err)
	require.NoError(x.t, t.NoteInvitation(ctx, invitation(x.visit)))
	kept, err := t.AddReply(ctx, reply(x.visit))
	require.NoError(x.t, err)
	require.True(x.t, kept)
}

func init() {
	ownOnly = append(ownOnly, "InvitationSettings", "Refusals")
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"InvitationsTo": func(t *store.Tx, x *filled) (any, error) { return t.InvitationsTo(x.t.Context(), x.visit) },
		"NoteInvitation": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.NoteInvitation(x.t.Context(), invitation(x.visit))
		},
		"ClientPart": func(t *store.Tx, x *filled) (any, error) {
			p, _, err := t.ClientPart(x.t.Context(), x.visit)
			return p, err
		},
		"AddReply":  func(t *store.Tx, x *filled) (any, error) { return t.AddReply(x.t.Context(), reply(x.visit)) },
		"Replies":   func(t *store.Tx, x *filled) (any, error) { return t.Replies(x.t.Context(), at(0, 0), at(24, 0)) },
		"RepliesTo": func(t *store.Tx, x *filled) (any, error) { return t.RepliesTo(x.t.Context(), x.visit) },
		"SetInvitationSettings": func(t *store.Tx, x *filled) (any, error) {
			s, err := t.InvitationSettings(x.t.Context())
			if err != nil {
				return nil, err
			}
			if _, err = t.SetInvitationSettings(x.t.Context(), s.Version, s); err != nil {
				return nil, err
			}
			return nil, errUndo
		},
	})
}

func TestInvitationSettingsHaveDefaultsAndAVersion(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.tx(func(tx *store.Tx) error {
		ctx := t.Context()
		x, err := tx.InvitationSettings(ctx)
		require.NoError(t, err)
		require.Equal(t, store.InvitationSettings{Send: true, Version: 1}, x)
		for _, version := range []int64{2, 0, -1} {
			_, err = tx.SetInvitationSettings(ctx, version, x)
			require.ErrorIs(t, err, scheduling.ErrStale)
		}
		x, err = tx.SetInvitationSettings(ctx, 1, store.InvitationSettings{RepliesMail: "replies@salon.example"})
		require.NoError(t, err)
		require.Equal(t, store.InvitationSettings{RepliesMail: "replies@salon.example", Version: 2}, x)
		for _, version := range []int64{1, 3} {
			_, err = tx.SetInvitationSettings(ctx, version, x)
			require.ErrorIs(t, err, scheduling.ErrStale)
		}
		x.Send = true
		x, err = tx.SetInvitationSettings(ctx, 2, x)
		require.NoError(t, err)
		got, err := tx.InvitationSettings(ctx)
		require.NoError(t, err)
		require.Equal(t, x, got)
		require.Equal(t, int64(3), got.Version)
		return nil
	})
}

func TestAnInvitationKeepsItsOrganizerAndNeverGoesBack(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Mara"), at(9, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		ctx := t.Context()
		list, err := tx.InvitationsTo(ctx, v.ID)
		require.NoError(t, err)
		require.Empty(t, list)
		x := invitation(v.ID)
		x.Sequence = 2
		require.NoError(t, tx.NoteInvitation(ctx, x))
		update := x
		update.Sequence, update.Organizer, update.Method = 3, "other@salon.example", "CANCEL"
		require.NoError(t, tx.NoteInvitation(ctx, update))
		require.NoError(t, tx.NoteInvitation(ctx, x), "a message that was composed before")
		list, err = tx.InvitationsTo(ctx, v.ID)
		require.NoError(t, err)
		require.Len(t, list, 1)
		got := list[0]
		require.Equal(t, []any{3, "CANCEL", x.Organizer, x.UID}, []any{got.Sequence, got.Method, got.Organizer, got.UID})
		return nil
	})
	list, err := s.store.InvitationsByUID(t.Context(), "uid of "+v.ID)
	require.NoError(t, err)
	require.Len(t, list, 1)
	require.Equal(t, s.row.ID, list[0].Salon)
	list, err = s.store.InvitationsByUID(t.Context(), "uid")
	require.NoError(t, err)
	require.Empty(t, list)
}

// A mail that is to be tried again, has failed or left as a text message has
// brought no invitation; one that a server has, or gets right now, has.
func TestAnInvitationHasArrivedWhenItsMailWasAccepted(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Mara"), at(9, 0), s.seat())
	arrived := func() (yes bool) {
		s.tx(func(tx *store.Tx) error {
			list, err := tx.InvitationsTo(t.Context(), v.ID)
			require.NoError(t, err)
			require.Len(t, list, 1)
			yes = list[0].Arrived
			return nil
		})
		return yes
	}
	s.tx(func(tx *store.Tx) error { return tx.NoteInvitation(t.Context(), invitation(v.ID)) })
	require.False(t, arrived(), "its message is gone")
	s.tx(func(tx *store.Tx) error {
		_, err := tx.AddReminder(t.Context(), store.Reminder{Visit: v.ID, Kind: "confirmation", Due: at(8, 0), MessageID: invitation(v.ID).MessageID})
		return err
	})
	for _, x := range []struct {
		state, channel string
		yes            bool
	}{
		{"waiting", "", false}, {"waiting", "mail", false}, {"sending", "", true}, {"sent", "mail", true}, {"sent", "webhook", false},
		{"failed", "mail", false}, {"to_call", "mail", false}, {"withdrawn", "mail", false},
	} {
		_, err := s.db.Exec(t.Context(), `UPDATE reminder SET state = $1, channel = $2, sending_at = now()`, x.state, x.channel)
		require.NoError(t, err)
		require.Equal(t, x.yes, arrived(), "%+v", x)
	}
}

// RFC 5546 section 2.1.5: the sequence counts first, then the stamp.
func TestOfTwoAnswersTheNewerOneIsKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Mara"), at(9, 0), s.seat())
	add := func(answer string, sequence, minute int) (kept bool) {
		s.tx(func(tx *store.Tx) (err error) {
			r := reply(v.ID)
			r.Answer, r.Sequence, r.Stamp, r.Received = answer, sequence, at(8, minute), r.Received.Add(time.Second)
			kept, err = tx.AddReply(t.Context(), r)
			return err
		})
		return kept
	}
	s.tx(func(tx *store.Tx) error {
		x := invitation(v.ID)
		x.Sequence = 1
		return tx.NoteInvitation(t.Context(), x)
	})
	for _, step := range []struct {
		answer           string
		sequence, minute int
		kept             bool
	}{
		{"accepted", 0, 30, true},
		{"accepted", 0, 30, true}, // the same mail once more
		{"declined", 0, 30, false},
		{"declined", 0, 29, false},
		{"declined", 0, 31, true},
		{"tentative", 1, 10, true}, // a clock that is slow: the sequence says it is newer
		{"accepted", 0, 50, false},
		{"accepted", 1, 9, false},
		{"accepted", 1, 11, true},
	} {
		require.Equal(t, step.kept, add(step.answer, step.sequence, step.minute), "%+v", step)
	}
	s.tx(func(tx *store.Tx) error {
		list, err := tx.Replies(t.Context(), at(0, 0), at(24, 0))
		require.NoError(t, err)
		var got []string
		for _, r := range list {
			got = append(got, fmt.Sprint(r.Answer, " ", r.Sequence, " ", r.Earlier))
			require.Equal(t, v.Client, r.Client)
			require.True(t, r.Start.Equal(v.Start))
		}
		require.ElementsMatch(t, []string{"accepted 1 false", "tentative 1 false", "declined 0 true", "accepted 0 true"}, got)
		list, err = tx.RepliesTo(t.Context(), v.ID)
		require.NoError(t, err)
		require.Len(t, list, 4)
		require.Equal(t, 1, list[0].Sequence)
		stranger := reply(v.ID)
		stranger.Attendee = "eve@client.example"
		_, err = tx.AddReply(t.Context(), stranger)
		require.ErrorIs(t, err, scheduling.ErrNotFound)
		return nil
	})
}

// A slow and obvious second opinion: sort all answers; kept are those that were
// greater than all before them.
func TestAnswersOfManyMailsAtOnceEndWithTheNewest(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 8)
	v := s.booked(s.client("Mara"), at(9, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		x := invitation(v.ID)
		x.Sequence = 9
		return tx.NoteInvitation(t.Context(), x)
	})
	var all sync.WaitGroup
	for i := range 24 {
		all.Go(func() {
			r := reply(v.ID)
			r.Sequence, r.Stamp = i%3, at(8, (i*7)%24)
			err := s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error { _, err := tx.AddReply(t.Context(), r); return err })
			if err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	newest := 0
	for i := range 24 {
		if i%3 == 2 {
			newest = max(newest, (i*7)%24)
		}
	}
	got := rows[string](s, `SELECT sequence || ' ' || to_char(stamp_at AT TIME ZONE 'UTC', 'HH24:MI') FROM invitation_reply ORDER BY sequence, stamp_at`)
	require.Equal(t, fmt.Sprintf("2 08:%02d", newest), got[len(got)-1])
	require.True(t, slices.IsSorted(got))
}

func TestRefusedMailsAreCountedBySalonDayAndReason(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	for range 3 {
		require.NoError(t, s.store.CountRefusal(ctx, s.row.ID, "older", at(8, 0)))
		require.NoError(t, s.store.CountRefusal(ctx, "", "unknown_visit", at(8, 0)))
	}
	require.NoError(t, s.store.CountRefusal(ctx, s.row.ID, "older", at(8, 0).AddDate(0, 0, 1)))
	require.NoError(t, s.store.CountRefusal(ctx, s.row.ID, "older", at(8, 0).AddDate(0, 0, -2)))
	s.tx(func(tx *store.Tx) error {
		list, err := tx.Refusals(ctx, at(8, 0))
		require.NoError(t, err)
		require.Equal(t, []store.Refusal{{Reason: "older", Mails: 4}}, list)
		return nil
	})
	require.Equal(t, 3, value[int](s, `SELECT mails FROM invitation_refusal WHERE salon_id IS NULL`))
}

func TestInvitationsGoWithTheirVisit(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.booked(s.client("Mara"), at(9, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		require.NoError(t, tx.NoteInvitation(t.Context(), invitation(v.ID)))
		_, err := tx.AddReply(t.Context(), reply(v.ID))
		return err
	})
	_, err := s.db.Exec(t.Context(), `DELETE FROM visit WHERE visit_id = $1`, v.ID)
	require.NoError(t, err)
	require.Zero(t, value[int](s, `SELECT (SELECT count(*) FROM invitation) + (SELECT count(*) FROM invitation_reply)`))
}
