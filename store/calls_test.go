package store_test

import (
	"encoding/json"
	"errors"
	"maps"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/store"
)

// called notes a call because of the visit of x, without settling it.
func (x *filled) called(t *store.Tx) {
	_, err := t.AddCallTry(x.t.Context(), store.CallTry{Reminder: x.message(), Outcome: store.NoAnswer, Note: "nobody of " + x.row.ID, At: at(9, 0), By: "desk"})
	require.NoError(x.t, err)
}

// message is one of the salon's messages.
func (x *filled) message() string {
	return value[string](x.salon, `SELECT min(reminder_id) FROM reminder WHERE salon_id = $1`, x.row.ID)
}

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"TakeBack":        func(t *store.Tx, x *filled) (any, error) { return nil, t.TakeBack(x.t.Context(), x.message()) },
		"WaitingForStaff": func(t *store.Tx, x *filled) (any, error) { return t.WaitingForStaff(x.t.Context(), x.ada, "reminder") },
		"WaitingOfKind":   func(t *store.Tx, x *filled) (any, error) { return t.WaitingOfKind(x.t.Context(), "reminder") },
		"SetDetail": func(t *store.Tx, x *filled) (any, error) {
			return nil, t.SetDetail(x.t.Context(), x.message(), json.RawMessage(`{"a": 1}`))
		},
		"Course": func(t *store.Tx, x *filled) (any, error) { return t.Course(x.t.Context(), x.client) },
		"Calls":  func(t *store.Tx, x *filled) (any, error) { return t.Calls(x.t.Context(), store.OpenCalls{}) },
		"CallTries": func(t *store.Tx, x *filled) (any, error) {
			return t.CallTries(x.t.Context(), []string{x.message()})
		},
		"CallsSettled": func(t *store.Tx, x *filled) (any, error) {
			return t.CallsSettled(x.t.Context(), []string{x.message()})
		},
		"AddCallTry": func(t *store.Tx, x *filled) (any, error) {
			return t.AddCallTry(x.t.Context(), store.CallTry{Reminder: x.message(), Outcome: store.Reached, Settles: true, At: at(9, 0), By: "desk"})
		},
		"MessagesOfVisits": func(t *store.Tx, x *filled) (any, error) {
			return t.MessagesOfVisits(x.t.Context(), []string{x.visit})
		},
		"DueOf": func(t *store.Tx, x *filled) (any, error) {
			_, err := t.DueOf(x.t.Context(), store.Reminder{ID: x.message(), Visit: x.visit})
			return nil, err
		},
	})
}

func TestCallsAreThoseThatNoTryHasSettledAndQuestionsThatNobodyAnswered(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	visit := func(hour int) *store.Visit { return s.booked(s.client("Guest"), at(hour, 0), s.seat()) }
	wishes, answered, silent, done := visit(9), visit(11), visit(13), visit(15)
	ids := map[string]string{}
	for name, v := range map[string]*store.Visit{"wishes": wishes, "answered": answered, "silent": silent, "done": done} {
		r := s.remind(v.ID, at(7, 0))
		ids[name] = r.ID
		state := map[string]string{"wishes": "to_call", "done": "to_call"}[name]
		if state == "" {
			state = "sent"
		}
		_, err := s.db.Exec(ctx, `UPDATE reminder SET state = $2, done_at = due_at WHERE reminder_id = $1`, r.ID, state)
		require.NoError(t, err)
	}
	s.tx(func(tx *store.Tx) error {
		v, err := tx.LockVisit(ctx, answered.ID, 0)
		require.NoError(t, err)
		_, err = tx.NoteYes(ctx, &v, store.Yes{At: at(7, 30), How: "page"})
		return err
	})
	look := store.OpenCalls{Useful: at(8, 0)} // the visits go on then
	calls := func(asked time.Time) []string {
		look.Asked = asked
		var out []string
		s.tx(func(tx *store.Tx) error {
			list, err := tx.Calls(ctx, look)
			for _, r := range list {
				for name, id := range ids {
					if r.ID == id {
						out = append(out, name)
					}
				}
			}
			return err
		})
		slices.Sort(out)
		return out
	}
	require.Equal(t, []string{"done", "silent", "wishes"}, calls(at(7, 0)))
	require.Equal(t, []string{"done", "wishes"}, calls(at(7, 1)), "that was asked too long ago")
	add := func(c store.CallTry) error {
		return s.try(func(tx *store.Tx) error { _, err := tx.AddCallTry(ctx, c); return err })
	}
	again := at(12, 0)
	require.NoError(t, add(store.CallTry{Reminder: ids["wishes"], Outcome: store.NoAnswer, Again: &again, At: at(8, 0), By: "desk"}))
	require.Equal(t, []string{"done", "silent", "wishes"}, calls(at(7, 0)), "nobody answered")
	require.NoError(t, add(store.CallTry{Reminder: ids["done"], Outcome: store.Reached, Settles: true, SaidYes: true, At: at(8, 1), By: "desk"}))
	require.Equal(t, []string{"silent", "wishes"}, calls(at(7, 0)))
	look.Useful = at(23, 0)
	require.Equal(t, []string{"silent"}, calls(at(7, 0)), "what was to be said of a visit that is over is of no use any more")
	look.Useful, look.Ahead = at(8, 0), []string{"reminder"}
	for now, want := range map[time.Time][]string{at(9, 0): {"silent", "wishes"}, at(9, 1): {"silent"}} {
		look.Now = now
		require.Equal(t, want, calls(at(7, 0)), "at %s; the visit begins at nine", now)
	}
	for what, c := range map[string]store.CallTry{
		"settled without an answer":      {Reminder: ids["silent"], Outcome: store.NoAnswer, Settles: true},
		"settled and tried again":        {Reminder: ids["silent"], Outcome: store.Reached, Settles: true, Again: &again},
		"a yes of somebody not reached":  {Reminder: ids["silent"], Outcome: store.LeftWord, SaidYes: true},
		"an outcome that there is not":   {Reminder: ids["silent"], Outcome: "asleep"},
		"a message that there is not":    {Reminder: store.NewID(), Outcome: store.NoAnswer},
		"a note that is longer than 300": {Reminder: ids["silent"], Outcome: store.NoAnswer, Note: string(make([]rune, 301))},
	} {
		c.At, c.By = at(8, 2), "desk"
		require.Error(t, add(c), what)
	}
	s.tx(func(tx *store.Tx) error {
		list, err := tx.CallTries(ctx, []string{ids["wishes"], ids["done"], ids["silent"]})
		require.Len(t, list, 2)
		require.Equal(t, ids["wishes"], list[0].Reminder, "oldest first")
		require.True(t, list[0].Again.Equal(again))
		settled, err2 := tx.CallsSettled(ctx, []string{ids["wishes"], ids["done"]})
		require.Equal(t, []string{ids["done"]}, settled)
		return errors.Join(err, err2)
	})
}

func TestACourseIsTheVisitsThatStandAndThoseOfWhichSomethingWaits(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	client := s.client("Guest")
	first, second := s.booked(client, at(9, 0), s.seat()), s.booked(client, at(14, 0), s.seat())
	s.booked(s.client("Other"), at(11, 0), s.seat())
	course := func() (out []store.CourseVisit) {
		s.tx(func(tx *store.Tx) (err error) { out, err = tx.Course(ctx, client); return err })
		return out
	}
	list := course()
	require.Len(t, list, 2)
	require.Equal(t, []string{first.ID, second.ID}, []string{list[0].Visit, list[1].Visit})
	require.False(t, list[0].Waits)
	s.remind(first.ID, at(8, 0))
	for _, v := range []*store.Visit{first, second} {
		v.State = store.Cancelled
		s.tx(func(tx *store.Tx) error { return tx.SetVisitState(ctx, v) })
	}
	list = course()
	require.Len(t, list, 1, "one is cancelled, and something waits because of it")
	require.Equal(t, []any{first.ID, store.Cancelled, true}, []any{list[0].Visit, list[0].State, list[0].Waits})
}

// messagesOf lists the messages of a visit.
func (s *salon) messagesOf(visit string) (list []store.Reminder) {
	s.t.Helper()
	s.tx(func(t *store.Tx) (err error) { list, err = t.RemindersOf(s.t.Context(), visit); return err })
	return list
}

func TestWhatLapsesHasNothingToSayAnyMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	v := s.hold(at(19, 0), s.seat(), at(8, 30))
	r := s.remind(v.ID, at(9, 0))
	s.tx(func(tx *store.Tx) error { return tx.LapseHeld(t.Context(), at(8, 29)) })
	require.Equal(t, store.Waiting, s.messagesOf(v.ID)[0].State)
	s.tx(func(tx *store.Tx) error { return tx.LapseHeld(t.Context(), at(8, 30)) })
	list := s.messagesOf(v.ID)
	require.Equal(t, []any{r.ID, store.Withdrawn}, []any{list[0].ID, list[0].State})
	require.NotNil(t, list[0].Done)
}

func TestWhoTellsSomebodyOfHerDayWaitsForWhoeverElseDoes(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	held, release, second := make(chan struct{}), make(chan struct{}), make(chan error, 1)
	first := make(chan error, 1)
	ask := func(tx *store.Tx) error {
		_, err := tx.WaitingForStaff(t.Context(), s.ada, "day_changed")
		return err
	}
	go func() {
		first <- s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
			err := ask(tx)
			close(held)
			<-release
			return err
		})
	}()
	<-held
	go func() { second <- s.store.InTx(t.Context(), s.row.ID, ask) }()
	require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
		_, err := tx.WaitingForStaff(t.Context(), s.ben, "day_changed")
		return err
	}), "somebody else's day is no matter")
	select {
	case err := <-second:
		require.Fail(t, "did not wait", "%v", err)
	case <-time.After(200 * time.Millisecond):
	}
	close(release)
	require.NoError(t, <-first)
	require.NoError(t, <-second)
}
