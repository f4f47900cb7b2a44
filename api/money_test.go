package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// note notes a money fact of a visit.
func (s *salon) note(visit string, fact object) answer {
	s.t.Helper()
	return s.call("POST", "/v1/visits/"+visit+"/money", fact)
}

// noted is note for what must be taken.
func (s *salon) noted(visit string, fact object) api.MoneyBody {
	s.t.Helper()
	var m api.MoneyBody
	s.note(visit, fact).is(201, &m)
	return m
}

// moneyRules replaces the rules about money.
func (s *salon) moneyRules(rules object) {
	s.t.Helper()
	var now object
	tag := s.call("GET", "/v1/booking-rules", nil).is(200, &now).header.Get("ETag")
	s.call("PUT", "/v1/booking-rules", object{"hold_minutes": 10, "needs": now["needs"], "money": rules}, "If-Match", tag).is(200, nil)
}

func TestMoneyIsAddedUpAndNothingIsForgotten(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(49*time.Hour), []object{s.by(s.ben, "Dry cut")})
	m := s.noted(v.ID, object{"kind": "deposit_asked", "amount_cents": 1950})
	require.EqualValues(t, 1950, m.Deposit.AskedCents)
	require.False(t, m.Deposit.Settled)
	require.True(t, m.Deposit.By.Equal(v.Start.Add(-48*time.Hour)), "the end of the time in which the visit can be cancelled")
	m = s.noted(v.ID, object{"kind": "received", "amount_cents": 1000, "how": "cash"})
	require.False(t, m.Deposit.Settled)
	m = s.noted(v.ID, object{"kind": "received", "amount_cents": 1000, "how": "voucher", "note": "no 12"})
	require.True(t, m.Deposit.Settled)
	m = s.noted(v.ID, object{"kind": "returned", "amount_cents": 50, "how": "cash"})
	require.Equal(t, []int64{2000, 50, 0, 1950, 3900}, []int64{m.InCents, m.OutCents, m.KeptCents, m.LeftCents, m.PriceCents})
	m = s.noted(v.ID, object{"kind": "goodwill", "minutes": 15, "note": "waited for the chair"})
	m = s.noted(v.ID, object{"kind": "goodwill", "amount_cents": 500, "note": "tea was cold"})
	m = s.noted(v.ID, object{"kind": "voucher", "note": "birthday voucher, ten per cent"})
	require.EqualValues(t, 1950, m.LeftCents)
	var words []string
	for _, e := range m.Entries {
		words = append(words, e.Words)
		require.Equal(t, "owner", e.NotedBy)
	}
	require.Equal(t, []string{"19.50 EUR deposit asked by Mon 8 June 09:00", "10.00 EUR received, cash", "10.00 EUR received, voucher", "0.50 EUR returned, cash",
		"goodwill: 15 minutes", "goodwill: 5.00 EUR", "voucher"}, words)
	var again api.MoneyBody
	s.call("GET", "/v1/visits/"+v.ID+"/money", nil).is(200, &again)
	require.Equal(t, m, again)
	got, _ := s.read(v.ID)
	require.True(t, got.Deposit.Settled)
	// The same request again is the same fact.
	once := object{"kind": "received", "amount_cents": 7, "how": "card"}
	for range 3 {
		s.call("POST", "/v1/visits/"+v.ID+"/money", once, "Idempotency-Key", "seven").is(201, &m)
		require.EqualValues(t, 2007, m.InCents)
	}
}

func TestMoneyFactsThatContradictWhatIsKnownAreRefused(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	v, _ := s.book(mara, start.Add(49*time.Hour), []object{s.by(s.ben, "Dry cut")})
	next, _ := s.book(mara, start.Add(73*time.Hour), []object{s.by(s.ben, "Dry cut")})
	other, _ := s.book(s.client("Ines"), start.Add(51*time.Hour), []object{s.by(s.ben, "Dry cut")})
	no := func(visit string, fact object, says string) {
		t.Helper()
		require.Contains(t, s.note(visit, fact).refused(409, "conflict").Detail, says)
	}
	no(v.ID, object{"kind": "waived", "who": "Ada"}, "nothing to waive")
	no(v.ID, object{"kind": "returned", "amount_cents": 1}, "more than is left")
	no(v.ID, object{"kind": "deposit_asked", "amount_cents": 3901}, "more than the price")
	asked := s.noted(v.ID, object{"kind": "deposit_asked", "amount_cents": 2000}).Entries[0]
	no(v.ID, object{"kind": "deposit_asked", "amount_cents": 1000}, "asked already")
	s.noted(v.ID, object{"kind": "waived", "who": "Ada", "note": "an old friend"})
	no(v.ID, object{"kind": "waived", "who": "Ada"}, "waived already")
	no(v.ID, object{"kind": "taken_back", "entry_id": asked.ID}, "take that back first")
	got := s.noted(v.ID, object{"kind": "received", "amount_cents": 3000, "how": "transfer"})
	received := got.Entries[2]
	no(v.ID, object{"kind": "kept", "amount_cents": 100}, "does not take place")
	s.noted(v.ID, object{"kind": "carried_over", "amount_cents": 1000, "to_visit_id": next.ID})
	no(v.ID, object{"kind": "taken_back", "entry_id": received.ID}, "more would have gone out")
	no(v.ID, object{"kind": "returned", "amount_cents": 2001}, "more than is left")
	for _, x := range []struct {
		fact object
		at   string
	}{
		{object{"kind": "carried_over", "amount_cents": 1, "to_visit_id": v.ID}, "/to_visit_id"},
		{object{"kind": "carried_over", "amount_cents": 1, "to_visit_id": other.ID}, "/to_visit_id"},
		{object{"kind": "carried_over", "amount_cents": 1, "to_visit_id": "none"}, "/to_visit_id"},
		{object{"kind": "taken_back", "entry_id": "none"}, "/entry_id"},
		{object{"kind": "received", "amount_cents": 0, "how": "cash"}, "/amount_cents"},
		{object{"kind": "received", "amount_cents": 10}, "/how"},
		{object{"kind": "received", "how": "cash", "who": "Ada", "minutes": 5}, "/amount_cents /minutes /who"},
		{object{"kind": "goodwill", "note": "x"}, "/minutes"},
		{object{"kind": "goodwill", "note": "x", "minutes": 5, "amount_cents": 5}, "/minutes"},
		{object{"kind": "goodwill", "minutes": 5}, "/note"},
		{object{"kind": "voucher"}, "/note"},
		{object{"kind": "received", "amount_cents": -1, "minutes": 601}, "/amount_cents /minutes /how"},
		{object{"kind": "waived"}, "/who"},
		{object{"kind": "price_changed", "amount_cents": 3000}, "/client_agreed"},
		{object{"kind": "price_changed", "amount_cents": 3000, "client_agreed": true, "service_index": 1}, "/service_index"},
		{object{"kind": "deposit_asked", "amount_cents": 1, "by": v.Start.Add(time.Hour)}, "/by"},
	} {
		require.Equal(t, x.at, places(s.note(v.ID, x.fact).refused(422, "invalid")), "%v", x.fact)
	}
	// A refused fact leaves nothing behind.
	var m api.MoneyBody
	s.call("GET", "/v1/visits/"+v.ID+"/money", nil).is(200, &m)
	require.Len(t, m.Entries, 4)

	// What was carried over counts there, and is taken back from there.
	s.call("GET", "/v1/visits/"+next.ID+"/money", nil).is(200, &m)
	require.EqualValues(t, 1000, m.LeftCents)
	require.Equal(t, "10.00 EUR carried over from another visit", m.Entries[0].Words)
	s.noted(next.ID, object{"kind": "returned", "amount_cents": 1000})
	var here api.MoneyBody
	s.call("GET", "/v1/visits/"+v.ID+"/money", nil).is(200, &here)
	carried := here.Entries[3]
	require.Equal(t, "10.00 EUR carried over to another visit", carried.Words)
	no(v.ID, object{"kind": "taken_back", "entry_id": carried.ID}, "has given it away")
	back := s.noted(next.ID, object{"kind": "taken_back", "entry_id": s.last(next.ID).ID})
	require.True(t, back.Entries[1].TakenBack)
	m = s.noted(v.ID, object{"kind": "taken_back", "entry_id": carried.ID, "note": "wrong visit"})
	require.EqualValues(t, 3000, m.LeftCents)
	no(v.ID, object{"kind": "taken_back", "entry_id": carried.ID}, "already")
	require.Equal(t, "/entry_id", places(s.note(v.ID, object{"kind": "taken_back", "entry_id": s.last(v.ID).ID}).refused(422, "invalid")))
}

// last is the newest money fact of a visit.
func (s *salon) last(visit string) api.MoneyEntryBody {
	s.t.Helper()
	var m api.MoneyBody
	s.call("GET", "/v1/visits/"+visit+"/money", nil).is(200, &m)
	return m.Entries[len(m.Entries)-1]
}

// places are the pointers of a problem in one line.
func places(p api.Problem) string {
	out := ""
	for _, e := range p.Errors {
		if out != "" {
			out += " "
		}
		out += e.Pointer
	}
	return out
}

func TestAPriceChangesWhenTheClientAgreesAndBackAgain(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, _ := s.book(s.client("Mara"), start.Add(49*time.Hour), []object{s.by(s.ben, "Dry cut"), s.by(s.ben, "Dry cut")})
	require.EqualValues(t, 7800, v.PriceCents)
	require.Equal(t, "/service_index", places(s.note(v.ID, object{"kind": "price_changed", "amount_cents": 3000, "client_agreed": true}).refused(422, "invalid")))
	change := func(cents int) string {
		s.noted(v.ID, object{"kind": "price_changed", "amount_cents": cents, "client_agreed": true, "service_index": 1})
		return s.last(v.ID).ID
	}
	first := change(3000)
	second := change(2500)
	got, _ := s.read(v.ID)
	require.Equal(t, []int64{6400, 3900, 2500}, []int64{got.PriceCents, got.Services[0].PriceCents, got.Services[1].PriceCents})
	require.EqualValues(t, 7800, *got.PriceToday)
	require.Equal(t, "price changed from 30.00 EUR to 25.00 EUR, client agreed", s.last(v.ID).Words)
	require.Contains(t, s.note(v.ID, object{"kind": "price_changed", "amount_cents": 2500, "client_agreed": true, "service_index": 1}).refused(409, "conflict").Detail, "already")
	require.Contains(t, s.note(v.ID, object{"kind": "taken_back", "entry_id": first}).refused(409, "conflict").Detail, "changed again")
	s.noted(v.ID, object{"kind": "taken_back", "entry_id": second})
	s.noted(v.ID, object{"kind": "taken_back", "entry_id": first})
	got, _ = s.read(v.ID)
	require.EqualValues(t, 7800, got.PriceCents)
	require.Nil(t, got.PriceToday)
}

func TestADepositIsAskedByTheRulesWhenAVisitIsBooked(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.moneyRules(object{"notice_hours": 72, "deposit_other": object{"cents": 1000}})
	mara := s.client("Mara")
	long, _ := s.book(mara, start.Add(97*time.Hour), s.straightening())
	require.EqualValues(t, 16000, long.Deposit.AskedCents, "the half, with chemicals")
	require.True(t, long.Deposit.By.Equal(long.Start.Add(-72*time.Hour)))
	soon, _ := s.book(s.client("Ines"), start.Add(time.Hour), []object{s.by(s.ben, "Dry cut")})
	require.EqualValues(t, 1000, soon.Deposit.AskedCents)
	require.True(t, soon.Deposit.By.Equal(soon.Start), "there is no time for notice any more")
	require.Equal(t, "50 % of 320.00 = 160.00", s.last(long.ID).Note)

	// A pencilled visit is asked for when it is booked, unless that was done.
	var held api.VisitBody
	a := s.call("POST", "/v1/holds", object{"start": start.Add(98 * time.Hour), "services": []object{s.by(s.ben, "Dry cut")}}, "Idempotency-Key", "h").is(201, &held)
	require.Nil(t, held.Deposit)
	s.noted(held.ID, object{"kind": "deposit_asked", "amount_cents": 500})
	s.call("POST", "/v1/visits/"+held.ID+"/book", object{"client_id": s.client("Olga")}, "If-Match", a.header.Get("ETag")).is(200, &held)
	require.EqualValues(t, 500, held.Deposit.AskedCents)

	// Somebody who did not come pays the whole price ahead next time.
	s.at(soon.Start.Add(time.Hour))
	s.call("POST", "/v1/visits/"+soon.ID+"/miss", nil, "If-Match", `"v1"`).is(200, nil)
	again, _ := s.book(soon.ClientID, start.Add(99*time.Hour), []object{s.by(s.ben, "Dry cut")})
	require.EqualValues(t, 3900, again.Deposit.AskedCents)
	require.Equal(t, "100 % of 39.00 = 39.00, since the client did not come to the last visit", s.last(again.ID).Note)
}

func TestWhatBecomesOfADepositIsAskedAndNotDecided(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	off := func(at time.Time, paid bool, when time.Time, how string) api.VisitBody {
		s.at(start)
		v, _ := s.book(s.client("Mara"), at, []object{s.by(s.ben, "Dry cut")})
		if paid {
			s.noted(v.ID, object{"kind": "received", "amount_cents": 2000, "how": "card"})
		}
		s.at(when)
		var out api.VisitBody
		s.call("POST", "/v1/visits/"+v.ID+"/"+how, nil, "If-Match", `"v1"`).is(200, &out)
		return out
	}
	at := start.Add(73 * time.Hour)
	require.Nil(t, off(at, false, start.Add(72*time.Hour), "cancel").Question, "nothing was paid")
	early := off(at, true, at.Add(-48*time.Hour), "cancel").Question
	require.Equal(t, &api.DepositQuestionBody{LeftCents: 2000, Choices: []string{"returned", "carried_over"},
		Words: "20.00 EUR are here, and the visit was cancelled in time: return them or carry them over to another visit?"}, early)
	late := off(at, true, at.Add(-47*time.Hour), "cancel").Question
	require.Equal(t, &api.DepositQuestionBody{LeftCents: 2000, InsideNotice: true, Choices: []string{"returned", "carried_over", "kept"},
		Words: "20.00 EUR are here, and the visit was cancelled less than 48 hours before the visit: keep them, return them or carry them over to another visit?"}, late)
	missed := off(at, true, at.Add(time.Hour), "miss")
	require.Equal(t, "20.00 EUR are here, and nobody came: keep them, return them or carry them over to another visit?", missed.Question.Words)
	require.EqualValues(t, 2000, s.noted(missed.ID, object{"kind": "kept", "amount_cents": 2000, "note": "by the rule"}).KeptCents)
	require.Contains(t, s.note(missed.ID, object{"kind": "returned", "amount_cents": 1}).refused(409, "conflict").Detail, "20.00 EUR were kept")
}

func TestWhatWasCalledOffIsAnsweredThoughNothingCanBeAskedOfItsMoney(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	at := start.Add(73 * time.Hour)
	cancelled, tag := s.book(s.client("Mara"), at, []object{s.by(s.ben, "Dry cut")})
	missed, other := s.book(s.client("Juna"), at.Add(time.Hour), []object{s.by(s.ben, "Dry cut")})
	exec := func(q string) {
		t.Helper()
		_, err := s.db().ExecContext(t.Context(), q)
		require.NoError(t, err)
	}
	// Money can be read until a change of a visit is committed, and not any more then.
	exec(`CREATE FUNCTION hide_money() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN ALTER TABLE IF EXISTS money_entry RENAME TO hidden_money; RETURN NULL; END $$`)
	exec(`CREATE CONSTRAINT TRIGGER hide_money AFTER UPDATE ON visit DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION hide_money()`)
	var b api.VisitBody
	s.call("POST", "/v1/visits/"+cancelled.ID+"/cancel", nil, "If-Match", tag).is(200, &b)
	require.Equal(t, "cancelled", b.State)
	require.Nil(t, b.Question)
	exec(`ALTER TABLE hidden_money RENAME TO money_entry`)
	s.at(missed.Start.Add(time.Minute))
	s.call("POST", "/v1/visits/"+missed.ID+"/miss", nil, "If-Match", other).is(200, &b)
	require.Equal(t, "missed", b.State)
}
