package store_test

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/scheduling"
	"chairblock/store"
)

func init() {
	ownOnly = append(ownOnly, "Retention", "RetentionRuns", "HealthFrom")
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"SetRetention": func(t *store.Tx, x *filled) (any, error) {
			r, err := t.SetRetention(x.t.Context(), terms(nil), date.NewAt(soon))
			return r, errors.Join(err, errUndo)
		},
	})
}

// terms are the usual ones but for some.
func terms(other map[store.DataKind]int) store.Retention {
	r := store.Retention{Months: map[store.DataKind]int{}, Version: 1}
	for _, l := range store.TermsAllowed {
		r.Months[l.Kind] = l.Usual
	}
	maps.Copy(r.Months, other)
	return r
}

// longAgo is a day on which nobody waits any more for terms that were set.
var longAgo = date.New(2020, time.May, 1)

// retain sets terms as if long ago.
func (s *salon) retain(other map[store.DataKind]int) {
	s.t.Helper()
	s.tx(func(t *store.Tx) error {
		_, err := t.SetRetention(s.t.Context(), terms(other), longAgo)
		return err
	})
}

// erase is the job at noon some months and days after the day on which everything
// happened, having run every day before.
func (s *salon) erase(months, days int) {
	s.t.Helper()
	s.exec(`UPDATE retention_run SET day = $1::text::date WHERE day < $1::text::date`, date.NewAt(at(12, 0).AddDate(0, months, days)).Add(-1).String())
	more, err := s.store.EraseByAge(s.t.Context(), at(12, 0).AddDate(0, months, days))
	require.NoError(s.t, err)
	require.False(s.t, more)
}

// over ends everything of a filled salon on its day.
func (x *filled) over() {
	x.exec(`UPDATE visit SET state = 'finished', finished_at = ends_at WHERE visit_id = $1`, x.visit)
	x.exec(`UPDATE visit SET state = 'lapsed' WHERE visit_id = $1`, x.held)
	x.notes(store.MoneyEntry{Visit: x.visit, Kind: store.Waived})
	x.exec(`UPDATE reminder SET state = 'sent', done_at = $2 WHERE salon_id = $1`, x.row.ID, at(10, 0))
	x.exec(`UPDATE client_request SET settled_at = made_at, outcome = 'done' WHERE salon_id = $1`, x.row.ID)
	x.exec(`UPDATE wish SET first_date = $2::text::date, last_date = $2::text::date WHERE salon_id = $1`, x.row.ID, date.NewAt(soon).String())
	x.exec(`UPDATE absence SET reason = 'dentist of ' || salon_id, starts_at = $2, ends_at = $3 WHERE salon_id = $1 AND absence_id = $4`, x.row.ID, at(9, 0), at(10, 0), x.absence)
}

func TestEachKindStaysUntilTheDayOfItsTermAndGoesOnIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	x, other := s.filled(), s.second().filled()
	x.over()
	other.over()
	guest := "Guest " + s.row.ID
	// The other salon keeps everything as long as it may.
	longest := map[store.DataKind]int{}
	for _, l := range store.TermsAllowed {
		if longest[l.Kind] = l.Most; l.ForEver {
			longest[l.Kind] = 0
		}
	}
	other.retain(longest)
	other.tx(func(tx *store.Tx) error { _, err := tx.SetHealthMonths(t.Context(), 1, 120, longAgo); return err })
	never := s.client("Never")
	s.exec(`UPDATE client SET created_at = $2 WHERE client_id = $1`, never, at(9, 0))
	told := 0
	s.store.ErasedWith(func(context.Context) error { told++; return nil })

	work := func() []string {
		return rows[string](s, `SELECT concat_ws(' ', b.unit_id, b.span) FROM block b WHERE b.salon_id = $1
			UNION ALL SELECT concat_ws(' ', ordinal, kind, starts_at, ends_at) FROM visit_step WHERE salon_id = $1
			UNION ALL SELECT concat_ws(' ', service_id, lead_id, estimate_id, price_cents) FROM visit_service WHERE salon_id = $1
			UNION ALL SELECT concat_ws(' ', state, starts_at, ends_at, chair_id, price_cents, finished_at) FROM visit WHERE salon_id = $1
			UNION ALL SELECT concat_ws(' ', kind, amount_cents) FROM money_entry WHERE salon_id = $1
			UNION ALL SELECT concat_ws(' ', unit_id, starts_at, ends_at) FROM absence WHERE salon_id = $1
			UNION ALL SELECT concat_ws(' ', event_id, kind, at) FROM visit_event WHERE salon_id = $1
			UNION ALL SELECT concat_ws(' ', movement_id, change_ml) FROM stock_movement WHERE salon_id = $1 ORDER BY 1`, s.row.ID)
	}
	before := work()
	require.Greater(t, len(before), 12)
	var pace []store.PaceRecord
	paces := func() (list []store.PaceRecord) {
		s.tx(func(tx *store.Tx) (err error) {
			list, err = tx.PaceRecordsOf(t.Context(), time.Time{}, at(48, 0), []string{x.visit})
			return err
		})
		return list
	}
	pace = paces()
	theirs := other.contents()
	// How many rows there are of each kind.
	count := func(q string) int { return value[int](s, q, s.row.ID) }
	for _, on := range []struct {
		months int
		kinds  map[store.DataKind]string
	}{
		{3, map[store.DataKind]string{
			store.KeptInvitations: `SELECT (SELECT count(*) FROM invitation WHERE salon_id = $1) + (SELECT count(*) FROM invitation_reply WHERE salon_id = $1)`}},
		{12, map[store.DataKind]string{
			store.KeptHealth:   `SELECT count(*) FROM sealed_text WHERE salon_id = $1`,
			store.KeptNever:    `SELECT (SELECT count(*) FROM client WHERE salon_id = $1 AND given_name = 'Never') + (SELECT count(*) FROM visit WHERE salon_id = $1 AND title = 'a caller')`,
			store.KeptRequests: `SELECT (SELECT count(*) FROM wish WHERE salon_id = $1) + (SELECT count(*) FROM client_request WHERE salon_id = $1)`,
			store.KeptAbsences: `SELECT count(*) FROM absence WHERE salon_id = $1 AND reason <> ''`}},
		{14, map[store.DataKind]string{
			store.KeptMessages: `SELECT (SELECT count(*) FROM reminder WHERE salon_id = $1) + (SELECT count(*) FROM reminder_attempt WHERE salon_id = $1)`}},
		{36, map[store.DataKind]string{
			store.KeptClients: `SELECT count(*) FROM client WHERE salon_id = $1 AND given_name LIKE 'Guest%'`,
			store.KeptReads:   `SELECT count(*) FROM health_read WHERE salon_id = $1 AND what = 'made'`}},
	} {
		due := func(kind store.DataKind, days int) (n int) {
			s.tx(func(tx *store.Tx) error {
				day := date.NewAt(soon.AddDate(0, on.months, days))
				all, err := tx.ErasedOn(t.Context(), terms(map[store.DataKind]int{store.KeptHealth: 12}).Months, day, day)
				n = all[kind]
				return err
			})
			return n
		}
		noted := func(kind store.DataKind) []string {
			return rows[string](s, `SELECT done || ' ' || subject FROM audit WHERE what = 'retention_run' AND subject LIKE $1 || ':%' AND salon_id = $2`, string(kind), s.row.ID)
		}
		there, announced := map[store.DataKind]int{}, map[store.DataKind]int{}
		for kind, q := range on.kinds {
			there[kind], announced[kind] = count(q), due(kind, 0)
			require.Positive(t, there[kind], kind)
			require.Zero(t, due(kind, -1), kind)
			require.Positive(t, announced[kind], "%s: what the page says beforehand", kind)
		}
		s.erase(on.months, -1)
		for kind, q := range on.kinds {
			require.Equal(t, there[kind], count(q), "%s: a day before", kind)
			require.Empty(t, noted(kind))
		}
		s.erase(on.months, 0)
		for kind, q := range on.kinds {
			require.Zero(t, count(q), "%s: on the day", kind)
			require.Equal(t, []string{fmt.Sprintf("removed %s: %d", kind, announced[kind])}, noted(kind))
		}
	}
	// That answers were erased by age is noted like a reading.
	require.Positive(t, value[int](s, `SELECT count(*) FROM health_read WHERE salon_id = $1 AND what = 'erased'`, s.row.ID))
	require.Equal(t, before, work(), "accounts, the use of chairs and what the staff worked do not change")
	require.Equal(t, fmt.Sprint(pace), fmt.Sprint(paces()))
	require.Equal(t, 8, told, "the list outside the database is made good after each run")
	require.Equal(t, []string{"age", "age"}, rows[string](s, `SELECT erased_by FROM erased_client WHERE salon_id = $1`, s.row.ID))
	require.Empty(t, s.everywhere(guest))
	require.Empty(t, s.everywhere("dentist of "+s.row.ID))
	require.Subset(t, []string{"audit.subject", "erased_client.client_id", "health_read.client_id"}, s.everywhere(x.client))

	// A second run of the day, and of an earlier one, change nothing.
	all := s.contents()
	s.erase(36, 0)
	s.erase(36, -1)
	require.Equal(t, all, s.contents())
	for table, list := range other.contents() {
		if table != "retention_run" {
			require.Equal(t, theirs[table], list, table)
		}
	}
	_, err := s.store.SealLog(t.Context())
	require.NoError(t, err)
	_, err = store.CheckLog(t.Context(), s.url)
	require.NoError(t, err, "the chain holds: nothing is taken out of it")
}

func TestAVisitLosesItsPersonByAgeButForTheLastOfEachClient(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	x := s.filled()
	x.over()
	later, parent := s.booked(x.client, at(9, 0).AddDate(0, 0, 10), s.seat()), s.booked(x.client, at(9, 0).AddDate(0, 0, -7), s.seat())
	s.exec(`UPDATE visit SET state = 'finished' WHERE visit_id = ANY($1)`, []string{later.ID, parent.ID})
	s.exec(`UPDATE visit SET parent_id = $2, parent_as = 'correction' WHERE visit_id = $1`, later.ID, parent.ID)
	s.exec(`UPDATE visit SET state = 'finished', title = 'Zqwalkin' WHERE visit_id = $1`, x.held)
	s.retain(map[store.DataKind]int{store.KeptClients: 0})
	whose := func() []string {
		return rows[string](s, `SELECT coalesce(client_id, title) FROM visit WHERE visit_id = ANY($1) ORDER BY starts_at`, []string{parent.ID, x.visit, x.held, later.ID})
	}
	s.erase(120, -1)
	require.Equal(t, []string{x.client, x.client, "Zqwalkin", x.client}, whose())
	require.Positive(t, value[int](s, `SELECT count(*) FROM card_fact`))
	s.erase(120, 0)
	require.Equal(t, []string{x.client, store.ErasedName, store.ErasedName, x.client}, whose(), "the last stays hers, and so does what it follows from")
	require.Empty(t, s.everywhere("Zqwalkin"))
	require.Zero(t, value[int](s, `SELECT count(*) FROM card_fact`)+value[int](s, `SELECT count(*) FROM visit_stop`)+value[int](s, `SELECT count(*) FROM need_override`))
	require.Zero(t, value[int](s, `SELECT count(*) FROM visit_part WHERE visit_id = $1 AND kind IN ('client', 'aftercare', 'retouch')`, x.visit))
	s.erase(120, 365)
	require.Equal(t, []string{x.client, store.ErasedName, store.ErasedName, x.client}, whose())
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM client WHERE client_id = $1`, x.client), "never, she said")
}

// TestWhoGaveASignStaysOnRecord has clients of whom all but one thing is over on the day
// of the salon, and erases a year and a day later.
func TestWhoGaveASignStaysOnRecord(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	ctx := t.Context()
	sign := at(8, 0).AddDate(0, 2, 0)
	visit := func(client, state string, start time.Time) string {
		v := s.booked(client, at(9, 0), s.seat()).ID
		s.exec(`DELETE FROM block WHERE visit_id = $1`, v)
		s.exec(`UPDATE visit SET state = $2, starts_at = $3, ends_at = $3::timestamptz + interval '1 hour' WHERE visit_id = $1`, v, state, start)
		return v
	}
	message := func(client, state string, done time.Time) string {
		r := s.remind(visit(client, "missed", at(9, 0)), at(8, 0)).ID
		s.exec(`UPDATE reminder SET state = $2, done_at = $3 WHERE reminder_id = $1`, r, state, done)
		return r
	}
	money := func(visit string, entries ...store.MoneyEntry) {
		id := ""
		for _, e := range entries {
			if e.Visit = visit; e.Kind == store.TakenBack {
				e.Reverses = &id
			}
			id = s.notes(e)
		}
	}
	kind := func(k store.MoneyKind) store.MoneyEntry { return store.MoneyEntry{Kind: k, Amount: 100} }
	call := func(outcome string) func(string) {
		return func(c string) {
			r := message(c, "sent", at(8, 0))
			s.tx(func(tx *store.Tx) error {
				_, err := tx.AddCallTry(ctx, store.CallTry{Reminder: r, Outcome: outcome, At: sign})
				return err
			})
		}
	}
	quote := func(created, until time.Time) func(string) {
		return func(c string) {
			s.tx(func(tx *store.Tx) error {
				_, err := tx.AddQuote(ctx, store.Quote{Client: &c, Request: json.RawMessage(`1`), Answer: json.RawMessage(`1`), Created: created, ValidUntil: until})
				return err
			})
		}
	}
	in := func(f func(tx *store.Tx, client string) error) func(string) {
		return func(c string) { s.tx(func(tx *store.Tx) error { return f(tx, c) }) }
	}
	day := at(9, 0)
	stay := map[string]func(client string){
		"a request to come":        func(c string) { s.waits(c, 13, store.WishWaiting, day) },
		"a request withdrawn late": func(c string) { s.waits(c, 1, store.WishWithdrawn, sign) },
		"something asked on her pages": in(func(tx *store.Tx, c string) error {
			_, err := tx.AddClientRequest(ctx, store.ClientRequest{Client: c, Kind: store.AskErase, Made: at(8, 0)})
			return err
		}),
		"a link that was used": in(func(tx *store.Tx, c string) error {
			_, _, err := tx.AddOwnLink(ctx, store.OwnLink{Client: c, Days: 400}, sign)
			return err
		}),
		"a word on messages": in(func(tx *store.Tx, c string) error {
			_, err := tx.NoteMessageChoices(ctx, c, []store.MessageChoice{stopRetouch(sign)})
			return err
		}),
		"another number": func(c string) {
			s.tx(func(tx *store.Tx) error {
				row, err := tx.ClientByID(ctx, c)
				require.NoError(t, err)
				row.Phone = "+4930901821"
				_, err = tx.UpdateClient(ctx, row)
				return err
			})
			require.True(t, value[bool](s, `SELECT changed_at IS NOT NULL FROM client WHERE client_id = $1`, c), "an edit is noted")
			s.exec(`UPDATE client SET changed_at = $2 WHERE client_id = $1`, c, sign)
		},
		"another address": in(func(tx *store.Tx, c string) error {
			_, err := tx.AddContactChange(ctx, store.ContactChange{Client: c, Way: "mail", Changed: sign, By: "desk"})
			return err
		}),
		"that she was a minor": in(func(tx *store.Tx, c string) error {
			_, err := tx.SetMinor(ctx, store.Minor{Client: c, Until: date.NewAt(soon), Age: 18, ContactBy: "none", Stays: "reachable"}, store.MinorChange{NotedBy: "desk", Made: sign})
			return err
		}),
		"a yes": func(c string) {
			v := visit(c, "missed", day)
			s.exec(`INSERT INTO visit_yes (salon_id, visit_id, starts_at, said_at, how) VALUES ($1, $2, $3, $4, 'call')`, s.row.ID, v, day, sign)
		},
		"reached by telephone":        call(store.Reached),
		"a message that went out":     func(c string) { message(c, "sent", sign) },
		"somebody to be called":       func(c string) { message(c, "to_call", sign) },
		"a message that waits":        func(c string) { message(c, "waiting", day) },
		"a quote that holds":          quote(day, sign),
		"a quote of then":             quote(sign, sign),
		"a visit to come":             func(c string) { visit(c, "booked", day.AddDate(0, 13, 0)) },
		"a visit nobody closed":       func(c string) { visit(c, "booked", sign) },
		"a deposit not paid, to come": func(c string) { money(visit(c, "booked", day), kind(store.DepositAsked)) },
		"a deposit not paid, came":    func(c string) { money(visit(c, "finished", day), kind(store.DepositAsked)) },
		"money of a visit called off": func(c string) { money(visit(c, "cancelled", day), kind(store.Received)) },
		"money that was kept":         func(c string) { money(visit(c, "missed", day), kind(store.Received), kind(store.Kept)) }, // has come
	}
	gone := map[string]func(client string){
		"nothing at all":              func(string) {},
		"a request withdrawn":         func(c string) { s.waits(c, 13, store.WishWithdrawn, day) },
		"a request that was booked":   func(c string) { s.waits(c, 13, store.WishBooked, day) },
		"not reached by telephone":    call(store.NoAnswer),
		"a message taken back":        func(c string) { message(c, "withdrawn", sign) },
		"somebody to be called, then": func(c string) { message(c, "to_call", day) },
		"a quote that held":           quote(day.AddDate(0, -1, 0), day),
		"a visit nobody closed, then": func(c string) { visit(c, "under_way", day) },
		"a deposit of nothing":        func(c string) { money(visit(c, "cancelled", day), kind(store.DepositAsked)) },
		"a deposit waived":            func(c string) { money(visit(c, "booked", day), kind(store.DepositAsked), kind(store.Waived)) },
		"money noted by mistake":      func(c string) { money(visit(c, "booked", day), kind(store.Received), kind(store.TakenBack)) },
	}
	for _, list := range []map[string]func(string){stay, gone} {
		for name, f := range list {
			c := s.client(name)
			s.exec(`UPDATE client SET created_at = $2 WHERE client_id = $1`, c, day)
			f(c)
		}
	}
	left := func() []string { return rows[string](s, `SELECT given_name FROM client`) }
	s.erase(12, -1)
	require.Len(t, left(), len(stay)+len(gone))
	s.erase(12, 1)
	require.ElementsMatch(t, slices.Collect(maps.Keys(stay)), left())
	require.Equal(t, 1, value[int](s, `SELECT count(*) FROM visit WHERE client_id IS NULL AND state = 'under_way' AND title = $1`, store.ErasedName), "what nobody closed stays as it was")
	s.erase(60, 0)
	require.ElementsMatch(t, []string{"something asked on her pages", "a message that waits", "a deposit not paid, to come", "a deposit not paid, came", "money of a visit called off"}, left(), "what is open has no term")
}

// waits puts a request of a client on the list whose last day is some months after the day
// of the salon, and that came into a state at a time.
func (s *salon) waits(client string, months int, state store.WishState, changed time.Time) {
	s.t.Helper()
	w := wish(client)
	w.First = date.NewAt(soon)
	w.Last = w.First.AddDate(0, months, 0)
	s.tx(func(tx *store.Tx) (err error) { w, err = tx.AddWish(s.t.Context(), w); return err })
	s.exec(`UPDATE wish SET state = $2, changed_at = $3 WHERE wish_id = $1`, w.ID, string(state), changed)
}

// TestARequestThatIsOverGoesByWhenItWasOver has two requests whose last day is far ahead,
// one of which is withdrawn.
func TestARequestThatIsOverGoesByWhenItWasOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	over, waiting := s.client("Over"), s.client("Waiting")
	s.exec(`UPDATE client SET created_at = $1`, at(9, 0))
	s.waits(over, 30, store.WishWithdrawn, at(9, 0))
	s.waits(waiting, 30, store.WishWaiting, at(9, 0))
	s.retain(map[store.DataKind]int{store.KeptNever: 24})
	whose := func(table string) []string {
		return rows[string](s, `SELECT client_id FROM `+table+` ORDER BY client_id`)
	}
	both := []string{over, waiting} // ids sort by age
	s.erase(12, -1)
	require.Equal(t, both, whose("wish"))
	s.erase(12, 1)
	require.Equal(t, []string{waiting}, whose("wish"), "who does not wait any more is not held by the days that she named")
	require.Equal(t, both, whose("client"))
	s.erase(24, 1)
	require.Equal(t, []string{waiting}, whose("client"))
	s.erase(42, -1)
	require.Equal(t, []string{waiting}, whose("wish"))
	s.erase(42, 1)
	require.Empty(t, whose("wish"), "nobody withdrew it, and its last day was over")
}

func TestARunThatIsCutShortGoesOnWhereItWas(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.exec(`INSERT INTO health_read (salon_id, read_id, screening_id, read_at, what, role) SELECT $1, 'r' || lpad(n::text, 4, '0'), '', $2, 'read', 'owner' FROM generate_series(1, 1100) n`, s.row.ID, at(9, 0))
	s.exec(`CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION USING ERRCODE = '57014'; END $$`)
	s.exec(`CREATE TRIGGER refuse BEFORE DELETE ON health_read FOR EACH ROW WHEN (OLD.read_id = 'r0700') EXECUTE FUNCTION refuse()`)
	left := func() int { return value[int](s, `SELECT count(*) FROM health_read`) }
	on := at(12, 0).AddDate(0, 36, 0)
	_, err := s.store.EraseByAge(t.Context(), on)
	require.ErrorIs(t, err, store.ErrUnavailable)
	require.Equal(t, 600, left(), "one batch is done with")
	s.exec(`DROP TRIGGER refuse ON health_read`)

	// Of two at once, and with a row that somebody holds, each row goes once.
	held, err := s.db.Begin(t.Context())
	require.NoError(t, err)
	_, err = held.Exec(t.Context(), `SELECT FROM health_read WHERE read_id = 'r0900' FOR UPDATE`)
	require.NoError(t, err)
	var both sync.WaitGroup
	for range 2 {
		both.Go(func() {
			if _, err := s.store.EraseByAge(t.Context(), on); err != nil {
				t.Error(err)
			}
		})
	}
	both.Wait()
	require.NoError(t, held.Rollback(t.Context()))
	require.Equal(t, 1, left())
	require.Equal(t, "health_reads: 1099", value[string](s, `SELECT subject FROM audit WHERE what = 'retention_run'`))
	s.erase(36, 1)
	require.Zero(t, left())
	s.tx(func(tx *store.Tx) error {
		list, err := tx.RetentionRuns(t.Context())
		require.Len(t, list, len(store.TermsAllowed)+1)
		i := slices.IndexFunc(list, func(r store.RetentionRun) bool { return r.Kind == store.KeptReads })
		require.Equal(t, 1, list[i].Erased)
		require.Equal(t, date.NewAt(on).Add(1), list[i].Day)
		night := time.Date(2027, 1, 5, 2, 0, 0, 0, time.UTC)
		require.Equal(t, "2027-01-05", store.NextErasing(night, list).String())
		require.Equal(t, date.NewAt(on).Add(2), store.NextErasing(on.AddDate(0, 0, 1), list))
		require.Equal(t, date.NewAt(on).Add(2), store.NextErasing(on.AddDate(0, 0, 2), list))
		return err
	})
}

func TestNothingIsErasedByNightOrSoonAfterATermWasChanged(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	s.exec(`INSERT INTO health_read (salon_id, read_id, screening_id, read_at, what, role) VALUES ($1, 'r', '', $2, 'read', 'owner')`, s.row.ID, at(9, 0).AddDate(-2, 0, 0))
	there := func() int { return value[int](s, `SELECT count(*) FROM health_read WHERE read_id = 'r'`) }
	answers := s.screened(s.client("Mara"), at(9, 0).AddDate(0, -2, 0), nil).ID
	answered := func() bool {
		return value[bool](s, `SELECT erased_at IS NULL FROM screening WHERE screening_id = $1`, answers)
	}
	today := date.NewAt(soon)
	s.tx(func(tx *store.Tx) error {
		r, err := tx.Retention(t.Context())
		require.NoError(t, err)
		require.Equal(t, terms(nil).Months, r.Months)
		require.True(t, r.From.IsZero())
		same, err := tx.SetRetention(t.Context(), r, today)
		require.NoError(t, err)
		require.True(t, same.From.IsZero(), "nothing was changed")
		_, err = tx.SetRetention(t.Context(), r, today)
		require.ErrorIs(t, err, scheduling.ErrStale)
		same.Months[store.KeptReads], same.Months[store.KeptClients] = 12, 0
		_, err = tx.SetRetention(t.Context(), same, today)
		require.NoError(t, err)
		got, err := tx.Retention(t.Context())
		require.NoError(t, err)
		require.Equal(t, same.Months, got.Months)
		require.Equal(t, today.Add(2), got.From)
		_, version, err := tx.HealthMonths(t.Context())
		require.NoError(t, err)
		version, err = tx.SetHealthMonths(t.Context(), version, 1, today)
		require.NoError(t, err)
		_, err = tx.SetHealthMonths(t.Context(), version, 1, today.Add(7))
		require.NoError(t, err)
		from, err := tx.HealthFrom(t.Context())
		require.Equal(t, today.Add(2), from, "nothing was changed the second time")
		return err
	})
	s.erase(0, 1)
	require.Equal(t, 1, there())
	require.True(t, answered(), "about health, too")
	_, err := s.store.EraseByAge(t.Context(), at(0, 30).AddDate(0, 0, 2)) // half past one in Berlin, or half past two
	require.NoError(t, err)
	require.Equal(t, 1, there())
	s.erase(0, 2)
	require.Zero(t, there())
	require.False(t, answered())
}

func TestTermsGoByTheCalendarAndNeverEndTooEarly(t *testing.T) {
	t.Parallel()
	berlin, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	for _, x := range []struct{ on, tooOld string }{
		{"2027-03-15", "2027-02-15"}, {"2027-03-28", "2027-02-28"}, {"2027-03-29", "2027-02-28"}, {"2027-03-31", "2027-02-28"}, {"2027-05-31", "2027-04-30"}, {"2028-01-01", "2027-12-01"},
	} {
		require.Equal(t, x.tooOld, store.TermDay(berlin, date.MustParseISO(x.on), 1).String(), x.on)
	}
	require.Equal(t, "2023-02-28", store.TermDay(berlin, date.MustParseISO("2024-02-29"), 12).String())
}

var keptTable = regexp.MustCompile("`([a-z_]+)`")

// Whoever adds a table says in DEVELOPERS.md how long what it holds about people stays.
func TestEveryTableIsKeptAsLongAsTheGuideSays(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 2)
	text, err := os.ReadFile("../DEVELOPERS.md")
	require.NoError(t, err)
	_, part, found := strings.Cut(string(text), "\n## How long things are kept\n")
	require.True(t, found)
	part, _, _ = strings.Cut(part, "\n## ")
	var said []string
	for line := range strings.Lines(part) {
		cells := strings.Split(line, "|")
		if len(cells) < 4 {
			continue
		}
		for _, m := range keptTable.FindAllStringSubmatch(cells[2], -1) {
			said = append(said, m[1])
		}
	}
	tables := rows[string](s, `SELECT relname::text FROM pg_class WHERE relkind = 'r' AND relnamespace = current_schema()::regnamespace AND relname !~ '^(river_|goose_)'`)
	require.ElementsMatch(t, tables, said, "the table under “How long things are kept” names each table once")
	for _, l := range store.TermsAllowed {
		require.Contains(t, part, "`"+string(l.Kind)+"_months`")
	}
	// What names a client goes with her row, or is named where her visits are erased.
	loose := rows[string](s, `SELECT c.table_name::text FROM information_schema.columns c WHERE c.table_schema = current_schema() AND c.column_name = 'client_id' AND c.table_name <> 'client'
		AND NOT EXISTS (SELECT FROM pg_constraint f WHERE f.contype = 'f' AND f.confdeltype = 'c' AND f.confrelid = 'client'::regclass AND f.conrelid = c.table_name::regclass) ORDER BY 1`)
	require.Equal(t, []string{"erased_client", "health_read", "visit"}, loose)
}
