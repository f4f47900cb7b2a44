package api_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestARepeatedBookingHasOneEffectAndOneAnswer(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	body := object{"client_id": s.client("Mara"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening(), "note": "prefers quiet <&> 静か"}
	first := s.call("POST", "/v1/visits", body, "Idempotency-Key", "7d1c").is(201, nil)
	require.Empty(t, first.header.Get("Idempotent-Replayed"))
	tables := s.tables()
	before := tables()
	for _, key := range []string{"7d1c", `"7d1c"`, "  7d1c  "} {
		s.at(start.Add(30 * time.Hour)) // however late, even when the start lies in the past
		again := s.call("POST", "/v1/visits", body, "Idempotency-Key", key).is(201, nil)
		require.Equal(t, string(first.body), string(again.body))
		for _, h := range []string{"ETag", "Location", "Content-Type"} {
			require.Equal(t, first.header.Get(h), again.header.Get(h))
		}
		require.Equal(t, "true", again.header.Get("Idempotent-Replayed"))
	}
	require.Equal(t, before, tables())

	// The answer stays what it was, whatever has become of the visit.
	s.at(start)
	var v api.VisitBody
	first.is(201, &v)
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", first.header.Get("ETag")).is(200, nil)
	again := s.call("POST", "/v1/visits", body, "Idempotency-Key", "7d1c").is(201, nil)
	require.Equal(t, string(first.body), string(again.body))
}

func TestAKeyBelongsToOneRequestOfOneToken(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, nora := s.client("Mara"), s.client("Nora")
	body := object{"client_id": mara, "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").is(201, nil)
	body["note"] = "another"
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").refused(422, "key-reused")
	body["client_id"], body["start"] = nora, start.Add(49*time.Hour)
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").refused(422, "key-reused")
	s.as(store.Desk).call("POST", "/v1/visits", body, "Idempotency-Key", "k").is(201, nil)
	// Another operation has keys of its own, too.
	s.call("POST", "/v1/clients", object{"given_name": "Ines"}, "Idempotency-Key", "k").is(201, nil)
	again := s.call("POST", "/v1/clients", object{"given_name": "Ines"}, "Idempotency-Key", "k").is(201, nil)
	require.Equal(t, "true", again.header.Get("Idempotent-Replayed"))
	s.call("POST", "/v1/clients", object{"given_name": "Inez"}, "Idempotency-Key", "k").refused(422, "key-reused")
	n := s.neighbour()
	n.call("POST", "/v1/clients", object{"given_name": "Ines"}, "Idempotency-Key", "k").is(201, nil)
}

func TestABookingNeedsAKeyThatCanBeKept(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	body := object{"client_id": s.client("Mara"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	before := s.tables()()
	for _, key := range []string{"", "   ", `""`, `"  "`} {
		p := s.call("POST", "/v1/visits", body, "Idempotency-Key", key).refused(400, "idempotency-key")
		require.NotEmpty(t, p.Detail)
	}
	for _, key := range []string{strings.Repeat("k", 256), "\xff", "a\tb", "\"a\\u0000b\""} {
		p := s.call("POST", "/v1/visits", body, "Idempotency-Key", key).refused(422, "invalid")
		require.Equal(t, []string{"header Idempotency-Key"}, pointers(p), "%q", key)
	}
	require.Equal(t, before, s.tables()())
	s.call("POST", "/v1/visits", body, "Idempotency-Key", strings.Repeat("k", 255)).is(201, nil)
}

func TestAClashIsAnsweredAgainWithFreshAlternatives(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.book(s.client("Mara"), start.Add(25*time.Hour), s.straightening())
	body := object{"client_id": s.client("Nora"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	first := s.call("POST", "/v1/visits", body, "Idempotency-Key", "late").refused(409, "taken")
	s.book(s.client("Ines"), first.Alternatives[0].Start, s.straightening())
	before := s.tables()()
	second := s.call("POST", "/v1/visits", body, "Idempotency-Key", "late").refused(409, "taken")
	require.Equal(t, first.Detail, second.Detail)
	require.NotEmpty(t, second.Alternatives)
	require.NotEqual(t, first.Alternatives[0], second.Alternatives[0], "the first of them is taken by now")
	require.Equal(t, before, s.tables()())
}

func TestAFaultyRequestDoesNotUseUpItsKey(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	body := object{"client_id": "nobody", "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").refused(422, "invalid")
	body["client_id"] = s.client("Mara")
	s.call("POST", "/v1/visits", body, "Idempotency-Key", "k").is(201, nil)
}

func TestOneKeySentManyTimesAtOnceBooksOnce(t *testing.T) {
	t.Parallel()
	for range 5 {
		s := newSalon(t)
		body := object{"client_id": s.client("Mara"), "start": start.Add(25 * time.Hour), "approved_by": "Ada", "services": s.straightening()}
		answers := s.atOnce(8, func(int) request { return request{"POST", "/v1/visits", body, []string{"Idempotency-Key", "k"}} })
		fresh := 0
		var first []byte
		for _, a := range answers {
			if a.status == 409 {
				a.refused(409, "running")
				require.NotEmpty(t, a.header.Get("Retry-After"))
				continue
			}
			a.is(201, nil)
			if a.header.Get("Idempotent-Replayed") == "" {
				fresh++
			}
			if first == nil {
				first = a.body
			}
			require.Equal(t, string(first), string(a.body))
		}
		require.Equal(t, 1, fresh)
		var list struct{ Items []api.VisitBody }
		s.call("GET", "/v1/visits?first_date=2026-06-09&last_date=2026-06-09", nil).is(200, &list)
		require.Len(t, list.Items, 1)
	}
}

func TestWhatIsAddedIsThereOnceHoweverOftenItIsSent(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	test := s.skinTest(client, start.Add(-48*time.Hour))
	minor := s.client("Lia")
	s.call("PUT", "/v1/clients/"+minor+"/minor", object{"minor_until": "2028-03-01", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}).is(200, nil)
	var lias api.VisitBody
	s.call("POST", "/v1/visits", object{"client_id": minor, "start": start.Add(97 * time.Hour), "approved_by": "Ada", "services": s.straightening()}, "Idempotency-Key", "lia").is(201, &lias)
	before := s.tables()
	count := func(name string) string { n, _, _ := strings.Cut(before()[name], " "); return n }
	for path, x := range map[string]struct {
		body  object
		table string
	}{
		"/staff":                               {object{"name": "Ines", "initials": "I", "may_lead": true, "skills": []string{}, "works_open_hours": true}, "staff"},
		"/stations":                            {object{"kind": "chair", "name": "Chair 8", "changeover_minutes": 3}, "unit"},
		"/stations/several":                    {object{"chairs": 1, "basins": 2}, "unit"},
		"/closures":                            {object{"first_date": "2026-12-24", "last_date": "2026-12-26", "reason": "Christmas"}, "closure"},
		"/closures/several":                    {object{"items": []object{{"first_date": "2026-12-24", "last_date": "2026-12-24", "reason": ""}, {"first_date": "2026-12-31", "last_date": "2026-12-31", "reason": ""}}}, "closure"},
		"/absences":                            {object{"unit_id": s.ben, "from": "2026-07-01T09:00:00+02:00", "to": "2026-07-01T12:00:00+02:00"}, "absence"},
		"/services":                            {object{"name": "Fringe", "skill": "", "chemical": false, "aftercare": false, "price_cents": 900, "steps": []object{{"kind": "cut", "label": "cut", "who": "lead", "where": "chair", "minutes": 10, "hands_on": true}}}, "service"},
		"/consent-wordings":                    {object{"text": "I agree."}, "consent_wording"},
		"/clients/" + client + "/skin-tests":   {object{"product": "Soft", "strength": "N", "place": "inner_elbow", "by": "Ada"}, "test_record"},
		"/skin-tests/" + test + "/reading":     {object{"result": "negative", "by": "Ada", "note": "nothing"}, "test_record"},
		"/clients/" + client + "/strand-tests": {object{"product": "Soft", "strength": "N", "result": "fine", "by": "Ada", "note": "soft"}, "test_record"},
		"/clients/" + client + "/reactions":    {object{"product": "Soft", "note": "red behind the ear"}, "test_record"},
		"/visits/" + lias.ID + "/guardian-yes": {object{"how": "phone", "taken_by": "Ada"}, "consent"},
	} {
		first := s.call("POST", "/v1"+path, x.body, "Idempotency-Key", "twice").is(201, nil)
		n := count(x.table)
		require.NotEmpty(t, n, "no table %s", x.table)
		again := s.call("POST", "/v1"+path, x.body, "Idempotency-Key", "twice").is(201, nil)
		require.Equal(t, n, count(x.table), path)
		require.JSONEq(t, string(first.body), string(again.body), path)
		require.Equal(t, "true", again.header.Get("Idempotent-Replayed"), path)
		require.Equal(t, first.header.Get("Location"), again.header.Get("Location"), path)
		s.call("POST", "/v1"+path, x.body).is(map[bool]int{false: 201, true: 409}[strings.HasSuffix(path, "/reading")], nil) // without a key it is another one
	}
	var hours api.StaffHoursBody
	var staff struct{ Items []api.StaffBody }
	s.call("GET", "/v1/staff", nil).is(200, &staff)
	for _, p := range staff.Items {
		if p.Name == "Ines" {
			s.call("GET", "/v1/staff/"+p.ID+"/hours", nil).is(200, &hours)
		}
	}
	var open api.HoursBody
	s.call("GET", "/v1/hours", nil).is(200, &open)
	require.Equal(t, open.Open, hours.Work)
	// Nothing that was seen is kept beside the sealed notes.
	for _, word := range []string{"red behind", "negative", "Soft"} {
		require.Zero(t, s.howMany(`SELECT count(*) FROM idempotency WHERE convert_from(body, 'UTF8') LIKE '%' || $1 || '%'`, word), word)
	}
}

func TestOfAListNothingIsAddedWhenOneOfItCannotBeRight(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	tables := s.tables()
	before := tables()
	p := s.call("POST", "/v1/closures/several", object{"items": []object{{"first_date": "2026-12-24", "last_date": "2026-12-24", "reason": ""}, {"first_date": "2026-12-31", "last_date": "2026-12-30", "reason": ""}}}).refused(422, "invalid")
	require.Equal(t, []string{"body /items/1/last_date"}, pointers(p))
	p = s.call("POST", "/v1/stations/several", object{}).refused(422, "invalid")
	require.Equal(t, []string{"body /chairs"}, pointers(p))
	require.Equal(t, before, tables())
}

func TestASecretWhoseAnswerWasLostIsAnsweredAnewUntilItIsUsed(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ask := func() (b api.TokenBody) {
		s.call("POST", "/v1/tokens", object{"role": "desk", "label": "till"}, "Idempotency-Key", "k").is(201, &b)
		return b
	}
	lost, kept := ask(), ask()
	require.Equal(t, lost.ID, kept.ID)
	require.NotEmpty(t, kept.Token)
	require.NotEqual(t, lost.Token, kept.Token)
	as := func(token string) *salon { x := *s; x.token = token; return &x }
	as(lost.Token).call("GET", "/v1/salon", nil).refused(401, "unauthorized")
	as(kept.Token).call("GET", "/v1/salon", nil).is(200, nil)
	require.Empty(t, ask().Token, "somebody uses it: it stays as it is")
	as(kept.Token).call("GET", "/v1/salon", nil).is(200, nil)

	feed := func() (b api.FeedBody) {
		s.call("POST", "/v1/feeds", object{"kind": "salon"}, "Idempotency-Key", "k").is(201, &b)
		return b
	}
	one, two := feed(), feed()
	require.Equal(t, one.ID, two.ID)
	require.NotEmpty(t, two.URL)
	require.NotEqual(t, one.URL, two.URL)
	require.Zero(t, s.howMany(`SELECT count(*) FROM idempotency WHERE convert_from(body, 'UTF8') ~ 'b_|/cal/'`), "no secret is kept")
}

// howMany counts in the database.
func (s *salon) howMany(query string, args ...any) int {
	s.t.Helper()
	db := s.db()
	var n int
	require.NoError(s.t, db.QueryRow(query, args...).Scan(&n))
	return n
}
