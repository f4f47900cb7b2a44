package store_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/rickb777/date"
	"github.com/stretchr/testify/require"

	"chairblock/store"
)

func init() {
	maps.Copy(crossing, map[string]func(t *store.Tx, x *filled) (any, error){
		"ErasedOn": func(t *store.Tx, x *filled) (any, error) {
			on := date.NewAt(soon).AddDate(50, 0, 0)
			return t.ErasedOn(x.t.Context(), terms(map[store.DataKind]int{store.KeptHealth: 12}).Months, on, on)
		},
		"HeldByMoney": func(t *store.Tx, x *filled) (any, error) {
			list, all, err := t.HeldByMoney(x.t.Context(), terms(nil).Months, date.NewAt(soon).AddDate(50, 0, 0), 100)
			return []any{list, all}, err
		},
	})
}

// past fills the salon by chance with people of the years before its day.
type past struct {
	*salon
	*rand.Rand
}

func (p past) ago() time.Time { return at(9, 0).AddDate(0, -p.IntN(60), -p.IntN(30)) }

func (p past) of(list ...string) string { return list[p.IntN(len(list))] }

// client adds one with what hangs on her.
func (p past) person(name string) {
	c := p.client(name)
	id := p.row.ID
	p.exec(`UPDATE client SET created_at = $2 WHERE client_id = $1`, c, at(9, 0).AddDate(0, -48, -p.IntN(400)))
	var visits []string
	for range p.IntN(4) {
		visits = append(visits, p.visitOf(c, visits))
	}
	visit := func() *string {
		if len(visits) == 0 || p.IntN(3) == 0 {
			return nil
		}
		return &visits[p.IntN(len(visits))]
	}
	if p.IntN(3) == 0 {
		w := p.ago()
		p.exec(`INSERT INTO client_request (salon_id, request_id, client_id, visit_id, kind, guardian, made_at, settled_at, outcome) VALUES ($1, $2, $3, $4, 'erase', false, $5, $5, 'done')`, id, store.NewID(), c, visit(), w)
	}
	if p.IntN(3) == 0 {
		w := wish(c)
		w.First = date.NewAt(p.ago())
		w.Last = w.First.AddDate(0, 0, p.IntN(500))
		p.tx(func(tx *store.Tx) (err error) { w, err = tx.AddWish(p.t.Context(), w); return err })
		p.exec(`UPDATE wish SET state = $4, changed_at = $2, visit_id = $3 WHERE wish_id = $1`, w.ID, p.ago(), visit(), p.of("waiting", "booked", "withdrawn"))
	}
	if p.IntN(3) == 0 {
		p.exec(`INSERT INTO test_record (salon_id, record_id, client_id, sealed, noted_at) VALUES ($1, $2, $3, 'x', $4)`, id, store.NewID(), c, p.ago())
	}
	if p.IntN(3) == 0 {
		p.screened(c, p.ago(), nil)
	}
}

func (p past) visitOf(c string, before []string) string {
	v := p.booked(c, at(9, 0), p.seat()).ID
	start := p.ago().Add(-2 * time.Hour * time.Duration(len(before)+1)) // at no time of another of hers
	p.exec(`DELETE FROM block WHERE visit_id = $1`, v)
	p.exec(`UPDATE visit SET state = $2, starts_at = $3, ends_at = $3::timestamptz + interval '1 hour' WHERE visit_id = $1`, v, p.of("finished", "finished", "finished", "cancelled", "missed", "booked"), start)
	if len(before) > 0 && p.IntN(2) == 0 {
		p.exec(`UPDATE visit SET parent_id = $2, parent_as = 'correction' WHERE visit_id = $1`, v, before[len(before)-1])
	}
	if p.IntN(2) == 0 {
		r := p.remind(v, start).ID
		p.exec(`UPDATE reminder SET state = $2, done_at = $3, due_at = $3 WHERE reminder_id = $1`, r, p.of("sent", "sent", "withdrawn"), p.ago())
	}
	if p.IntN(3) == 0 {
		p.exec(`INSERT INTO invitation (salon_id, visit_id, attendee, uid, organizer, sequence, method, message_id, sent_at) VALUES ($1, $2, 'a@example.org', '', '', 0, 'REQUEST', '', $3)`, p.row.ID, v, p.ago())
	}
	if p.IntN(4) == 0 {
		p.notes(store.MoneyEntry{Visit: v, Kind: []store.MoneyKind{store.DepositAsked, store.Received, store.Waived}[p.IntN(3)], Amount: 100})
		p.exec(`UPDATE money_entry SET noted_at = $2 WHERE visit_id = $1`, v, start)
	}
	return v
}

// TestWhatIsAnnouncedIsWhatARunErases goes through years of a salon made by chance, with
// rows that cannot be erased: what is announced for a day is what that day's run counts.
func TestWhatIsAnnouncedIsWhatARunErases(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	s := newSalon(t, 4)
	s.store.SealWith(healthKeys(t, 1))
	p := past{s, rand.New(rand.NewPCG(seed, 1))}
	for n := range 24 {
		p.person(fmt.Sprintf("Guest %d", n))
	}
	s.exec(`INSERT INTO health_read (salon_id, read_id, screening_id, read_at, what, role) SELECT $1, 'r' || n, '', $2::timestamptz - n * interval '40 days', 'read', 'owner' FROM generate_series(1, 50) n`, s.row.ID, at(9, 0))
	s.exec(`CREATE FUNCTION refuse() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RAISE EXCEPTION 'refused'; END $$`)
	for table, id := range map[string]string{"client": "client_id", "reminder": "reminder_id", "health_read": "read_id"} {
		s.exec(`CREATE TRIGGER refuse BEFORE DELETE ON ` + table + ` FOR EACH ROW WHEN (hashtext(OLD.` + id + `) % 5 = 0) EXECUTE FUNCTION refuse()`)
	}
	months := terms(map[store.DataKind]int{store.KeptClients: 24 + p.IntN(20), store.KeptNever: 1 + p.IntN(40), store.KeptVisits: 36 + p.IntN(20), store.KeptMessages: 14 + p.IntN(20),
		store.KeptRequests: 1 + p.IntN(60), store.KeptInvitations: 1 + p.IntN(40), store.KeptReads: 12 + p.IntN(20)}).Months
	s.retain(months)
	months[store.KeptHealth] = 1 + p.IntN(40)
	s.exec(`UPDATE salon SET health_months = $1`, months[store.KeptHealth])

	for _, l := range append([]store.TermLimits{store.HealthAllowed}, store.TermsAllowed...) {
		s.exec(`INSERT INTO retention_run (salon_id, kind, day, ended_at) VALUES ($1, $2, $3::text::date, $4)`, s.row.ID, string(l.Kind), date.NewAt(soon).Add(-1).String(), soon)
	}
	total := 0
	for _, when := range []int{0, 3, 9, 20, 40} {
		on := date.NewAt(at(12, 0).AddDate(0, when, 0))
		healthOn, days := on, 0
		if p.IntN(3) == 0 { // about health only two days later
			healthOn, days = on.Add(2), 2
			s.exec(`UPDATE salon SET health_from = $1::text::date`, healthOn.String())
		}
		// Nobody knows beforehand what will be refused for the first time: all has been.
		s.exec(`UPDATE retention_run SET stuck = ARRAY(
			SELECT client_id FROM client WHERE hashtext(client_id) % 5 = 0 UNION SELECT read_id FROM health_read WHERE hashtext(read_id) % 5 = 0
			UNION SELECT unnest(ARRAY[reminder_id, visit_id, client_id]) FROM reminder JOIN visit USING (salon_id, visit_id) WHERE hashtext(reminder_id) % 5 = 0)
			WHERE kind IN ('clients', 'never_came', 'visits', 'messages', 'health_reads')`)
		var said map[store.DataKind]int
		s.tx(func(tx *store.Tx) (err error) {
			said, err = tx.ErasedOn(t.Context(), months, on, healthOn)
			return err
		})
		done := map[store.DataKind]int{}
		note := func(health bool) {
			for _, l := range append([]store.TermLimits{store.HealthAllowed}, store.TermsAllowed...) {
				if (l.Kind == store.KeptHealth) == health {
					done[l.Kind] = value[int](s, `SELECT erased FROM retention_run WHERE kind = $1`, string(l.Kind))
					total += done[l.Kind]
				}
			}
		}
		s.erase(when, 0)
		note(false)
		for day := 1; day <= days; day++ {
			s.erase(when, day)
		}
		note(true)
		if days > 0 { // a run in between may let a client go whom a message held
			require.LessOrEqual(t, done[store.KeptHealth], said[store.KeptHealth], "seed %d, %s", seed, on)
			done[store.KeptHealth] = said[store.KeptHealth]
		}
		require.Equal(t, fmt.Sprint(said), fmt.Sprint(done), "seed %d, %s", seed, on)
	}
	require.Positive(t, total)
}

func TestWhoStaysBecauseOfMoneyIsListed(t *testing.T) {
	t.Parallel()
	s := newSalon(t, 4)
	visit := func(name, state string, entries ...store.MoneyEntry) string {
		c := s.client(name)
		s.exec(`UPDATE client SET created_at = $2 WHERE client_id = $1`, c, at(9, 0))
		v := s.booked(c, at(9, 0), s.seat()).ID
		s.exec(`DELETE FROM block WHERE visit_id = $1`, v)
		s.exec(`UPDATE visit SET state = $2 WHERE visit_id = $1`, v, state)
		for _, e := range entries {
			e.Visit = v
			s.notes(e)
		}
		s.exec(`UPDATE money_entry SET noted_at = $1`, at(9, 0))
		return v
	}
	paid := visit("Paid", "cancelled", store.MoneyEntry{Kind: store.Received, Amount: 500}, store.MoneyEntry{Kind: store.Returned, Amount: 100})
	owed := visit("Owed", "booked", store.MoneyEntry{Kind: store.DepositAsked, Amount: 300}, store.MoneyEntry{Kind: store.Received, Amount: 100})
	visit("Settled", "cancelled", store.MoneyEntry{Kind: store.Received, Amount: 500}, store.MoneyEntry{Kind: store.Returned, Amount: 500})
	held := func(months, limit int) (got []string, all int) {
		s.tx(func(tx *store.Tx) error {
			list, n, err := tx.HeldByMoney(t.Context(), terms(nil).Months, date.NewAt(at(9, 0).AddDate(0, months, 0)), limit)
			for _, x := range list {
				got = append(got, fmt.Sprint(x.GivenName, " ", x.Visit, " ", x.Paid, " ", x.Cents))
			}
			all = n
			return err
		})
		return got, all
	}
	list, all := held(40, 9)
	require.Equal(t, 2, all)
	require.Equal(t, []string{"Paid " + paid + " true 400", "Owed " + owed + " true 100"}, list, "she paid, and the deposit is open besides")
	list, all = held(40, 1)
	require.Equal(t, []any{1, 2}, []any{len(list), all})
	_, all = held(11, 9)
	require.Zero(t, all, "their term is not over")
}
