package store_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// parts are those of a visit as they stand in the table, by subject and ordinal.
func (s *salon) parts(visit string) map[string][]store.Part {
	s.t.Helper()
	r, err := s.db.Query(s.t.Context(), `
		SELECT subject, ordinal, uid, sequence, changed_at, starts_at, ends_at, kind, live
		FROM visit_part WHERE visit_id = $1 ORDER BY subject, ordinal`, visit)
	require.NoError(s.t, err)
	defer r.Close()
	out := map[string][]store.Part{}
	for r.Next() {
		p := store.Part{Visit: visit}
		require.NoError(s.t, r.Scan(&p.Subject, &p.Ordinal, &p.UID, &p.Sequence, &p.Changed, &p.Start, &p.End, &p.Kind, &p.Live))
		out[p.Subject] = append(out[p.Subject], p)
	}
	require.NoError(s.t, r.Err())
	return out
}

// feeds are the versions of everybody's feeds.
func (s *salon) feeds() map[string]int64 {
	s.t.Helper()
	out := map[string]int64{}
	r, err := s.db.Query(s.t.Context(), `SELECT subject_id, version FROM feed_version WHERE salon_id = $1`, s.row.ID)
	require.NoError(s.t, err)
	defer r.Close()
	for r.Next() {
		var who string
		var n int64
		require.NoError(s.t, r.Scan(&who, &n))
		out[who] = n
	}
	require.NoError(s.t, r.Err())
	return out
}

// risen names whose feeds have risen since before, and by one only.
func (s *salon) risen(before map[string]int64) []string {
	s.t.Helper()
	out := []string{}
	for who, n := range s.feeds() {
		if n != before[who] {
			require.Equal(s.t, before[who]+1, n)
			out = append(out, who)
		}
	}
	return out
}

func part(subject string, ordinal int, kind string, from, to time.Time) store.Part {
	return store.Part{Subject: subject, Ordinal: ordinal, Kind: kind, Start: from, End: to}
}

func TestPartsRiseInSequenceOnlyWhenTheyChange(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Guest")
	v := s.booked(client, at(9, 0), s.seat())
	sync := func(want ...store.Part) []string {
		before := s.feeds()
		s.tx(func(tx *store.Tx) error { return tx.SyncParts(t.Context(), v.ID, client, want) })
		return s.risen(before)
	}
	adas := []store.Part{part(s.ada, 0, "hands_on", at(9, 0), at(9, 20)), part(s.ada, 1, "hands_on", at(9, 50), at(10, 10))}
	clients := part(store.PartClient, 0, store.PartClient, at(9, 0), at(10, 10))
	bens := part(s.ben, 0, "watched", at(9, 20), at(9, 50))

	require.ElementsMatch(t, []string{s.ada, s.ben, client}, sync(append(adas, clients, bens)...))
	first := s.parts(v.ID)
	require.Len(t, first, 3)
	uids := map[string]bool{}
	for _, list := range first {
		for _, p := range list {
			require.Zero(t, p.Sequence)
			require.True(t, p.Live)
			uids[p.UID] = true
		}
	}
	require.Len(t, uids, 4, "every part has a UID of its own")

	require.Empty(t, sync(append(adas, clients, bens)...), "nothing has changed")
	require.Equal(t, first, s.parts(v.ID))

	// Ben's part moves: nobody else's feed changes.
	bens.End = at(9, 55)
	require.Equal(t, []string{s.ben}, sync(append(adas, clients, bens)...))
	second := s.parts(v.ID)
	require.Equal(t, first[s.ada], second[s.ada])
	require.Equal(t, first[store.PartClient], second[store.PartClient])
	require.Equal(t, first[s.ben][0].UID, second[s.ben][0].UID)
	require.Equal(t, 1, second[s.ben][0].Sequence)
	require.True(t, second[s.ben][0].Changed.After(first[s.ben][0].Changed))

	// One of Ada's two parts changes its kind only: the other stays untouched.
	adas[1].Kind = "watched"
	require.Equal(t, []string{s.ada}, sync(append(adas, clients, bens)...))
	third := s.parts(v.ID)
	require.Equal(t, []int{0, 1}, []int{third[s.ada][0].Sequence, third[s.ada][1].Sequence})

	// Ada loses her second part: the first changes as well, since it pointed to it.
	require.Equal(t, []string{s.ada}, sync(adas[0], clients, bens))
	fourth := s.parts(v.ID)
	require.Equal(t, []int{1, 2}, []int{fourth[s.ada][0].Sequence, fourth[s.ada][1].Sequence})
	require.False(t, fourth[s.ada][1].Live)
	require.Empty(t, sync(adas[0], clients, bens), "a dead part dies once")

	// It comes back under its old UID.
	require.Equal(t, []string{s.ada}, sync(append(adas, clients, bens)...))
	fifth := s.parts(v.ID)
	require.Equal(t, []int{2, 3}, []int{fifth[s.ada][0].Sequence, fifth[s.ada][1].Sequence})
	require.Equal(t, first[s.ada][1].UID, fifth[s.ada][1].UID)
	require.True(t, fifth[s.ada][1].Live)

	// The visit is given up: all die, and everybody concerned hears of it.
	require.ElementsMatch(t, []string{s.ada, s.ben, client}, sync())
	for subject, list := range s.parts(v.ID) {
		for i, p := range list {
			require.False(t, p.Live)
			require.Equal(t, fifth[subject][i].UID, p.UID)
			require.Equal(t, fifth[subject][i].Sequence+1, p.Sequence)
		}
	}
	require.Empty(t, sync())
}

func TestAVisitThatChangesHandsLeavesOneCalendarAndComesIntoTheOther(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Guest")
	v := s.booked(client, at(9, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		return tx.SyncParts(t.Context(), v.ID, client, []store.Part{part(s.ada, 0, "hands_on", at(9, 0), at(10, 0))})
	})
	before := s.feeds()
	s.tx(func(tx *store.Tx) error {
		return tx.SyncParts(t.Context(), v.ID, client, []store.Part{part(s.ben, 0, "hands_on", at(9, 0), at(10, 0))})
	})
	require.ElementsMatch(t, []string{s.ada, s.ben}, s.risen(before))
	of := func(unit string) (list []store.Part) {
		s.tx(func(tx *store.Tx) (err error) {
			list, err = tx.PartsOf(t.Context(), unit, at(0, 0), at(24, 0))
			return err
		})
		return list
	}
	require.Empty(t, of(s.ada))
	require.Len(t, of(s.ben), 1)
}

func TestAClientsCalendarShowsDeadPartsAndTheStaffsDoesNot(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client := s.client("Guest")
	v := s.booked(client, at(9, 0), s.seat())
	staff := part(s.ada, 0, "hands_on", at(9, 0), at(10, 0))
	sync := func(want ...store.Part) {
		s.tx(func(tx *store.Tx) error { return tx.SyncParts(t.Context(), v.ID, client, want) })
	}
	lists := func(from, to time.Time) (ofStaff, ofClient []store.Part) {
		s.tx(func(tx *store.Tx) (err error) {
			if ofStaff, err = tx.PartsOf(t.Context(), s.ada, from, to); err != nil {
				return err
			}
			ofClient, err = tx.PartsOfClient(t.Context(), client, from, to)
			return err
		})
		return ofStaff, ofClient
	}
	sync(staff, part(store.PartClient, 0, store.PartClient, at(9, 0), at(10, 0)))
	for _, x := range []struct {
		from, to time.Time
		n        int
	}{{at(8, 0), at(9, 0), 0}, {at(8, 0), at(9, 1), 1}, {at(9, 59), at(11, 0), 1}, {at(10, 0), at(11, 0), 0}} {
		ofStaff, ofClient := lists(x.from, x.to)
		require.Len(t, ofStaff, x.n)
		require.Len(t, ofClient, x.n)
	}

	// Aftercare comes in after the visit: the staff's parts are none of its business.
	before := s.feeds()
	s.tx(func(tx *store.Tx) error {
		return tx.SyncClientParts(t.Context(), v.ID, client, []store.Part{
			part(store.PartClient, 0, store.PartClient, at(9, 0), at(10, 20)),
			part(store.PartAftercare, 0, store.PartAftercare, at(10, 20), at(58, 20)),
		})
	})
	require.Equal(t, []string{client}, s.risen(before))
	require.Zero(t, s.parts(v.ID)[s.ada][0].Sequence)
	require.Equal(t, 1, s.parts(v.ID)[store.PartClient][0].Sequence)

	sync()
	ofStaff, ofClient := lists(at(0, 0), at(24, 0))
	require.Empty(t, ofStaff)
	require.Len(t, ofClient, 2)
	require.False(t, ofClient[0].Live)
}

func TestANewNameReachesTheFeedsOfThoseWhoWorkForTheClient(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client, other := s.client("Guest"), s.client("Other")
	s.tx(func(tx *store.Tx) error { return tx.TouchFeeds(t.Context(), s.ada, s.ben, s.mina, client, other) })
	v := s.booked(client, at(9, 0), s.seat())
	s.tx(func(tx *store.Tx) error {
		return tx.SyncParts(t.Context(), v.ID, client, []store.Part{part(s.ada, 0, "hands_on", at(9, 0), at(10, 0))})
	})
	before, changed := s.feeds(), s.parts(v.ID)[s.ada][0].Changed
	s.tx(func(tx *store.Tx) error {
		c, err := tx.ClientByID(t.Context(), client)
		if err != nil {
			return err
		}
		c.FamilyName = "Quist"
		_, err = tx.UpdateClient(t.Context(), c)
		return err
	})
	require.ElementsMatch(t, []string{s.ada, client}, s.risen(before))
	require.True(t, s.parts(v.ID)[s.ada][0].Changed.After(changed))
	require.Zero(t, s.parts(v.ID)[s.ada][0].Sequence, "who comes is no change of the time")
}

func TestTouchingAFeedTwiceInOneCallCountsOnce(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.tx(func(tx *store.Tx) error { return tx.TouchFeeds(t.Context(), s.ben, s.ada, s.ben) })
	require.Equal(t, map[string]int64{s.ada: 1, s.ben: 1}, s.feeds())
	s.tx(func(tx *store.Tx) error { return tx.TouchFeeds(t.Context(), s.ben, s.ada, s.ben) })
	require.Equal(t, map[string]int64{s.ada: 2, s.ben: 2}, s.feeds())
}

func TestANewerTreatmentTakesTheOlderRetouchBack(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	client, other := s.client("Guest"), s.client("Other")
	retouch := part(store.PartRetouch, 0, store.PartRetouch, at(2000, 0), at(2024, 0))
	var ids []string
	var messages []store.Reminder
	for i, who := range []string{client, client, other} {
		v := s.booked(who, at(24*i, 0), s.seat())
		s.tx(func(tx *store.Tx) error {
			return tx.SyncParts(t.Context(), v.ID, who, []store.Part{retouch, part(store.PartClient, 0, store.PartClient, v.Start, v.End)})
		})
		r := store.Reminder{Visit: v.ID, Kind: "retouch", Due: at(2000, 0), MessageID: v.ID}
		s.tx(func(tx *store.Tx) (err error) { r, err = tx.AddReminder(t.Context(), r); return err })
		ids, messages = append(ids, v.ID), append(messages, r)
	}
	before := s.feeds()
	take := func(tx *store.Tx) error { return tx.WithdrawOlderRetouch(t.Context(), client, ids[1]) }
	s.tx(take)
	for i, live := range []bool{false, true, true} {
		parts := s.parts(ids[i])
		require.Equal(t, live, parts[store.PartRetouch][0].Live)
		require.True(t, parts[store.PartClient][0].Live)
		require.Equal(t, live, s.stateOf(messages[i]) == store.Waiting)
	}
	require.Equal(t, []string{client}, s.risen(before))
	before = s.feeds()
	s.tx(take)
	require.Empty(t, s.risen(before), "it is taken back once")
}
