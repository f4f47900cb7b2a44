package api_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// healthKey is a sealer of a key that tests can make again.
func healthKey(t testing.TB, n ...byte) *store.Sealer {
	t.Helper()
	var keys [][]byte
	for _, b := range n {
		sum := sha256.Sum256([]byte{b})
		keys = append(keys, sum[:])
	}
	s, err := store.NewSealer(keys...)
	require.NoError(t, err)
	return s
}

// answers is the form that the salon asks now, answered so that nothing speaks
// against booking, but for changes; "-" leaves a question out. What was done to
// the hair was done in a salon, unless a change says where.
func (s *salon) answers(change map[string]string) object {
	s.t.Helper()
	var form api.ConsultationForm
	s.call("GET", "/v1/consultation-form", nil).is(200, &form)
	list := []object{}
	change = maps.Clone(change)
	for _, id := range []string{"straightened", "relaxer", "perm", "bleach", "colour", "henna_metallic", "smoothing"} {
		if a := change[id]; a != "" && a != "no" && change["where_done"] == "" {
			change["where_done"] = "salon"
		}
	}
	for _, q := range form.Questions {
		a := map[string]string{"yes_no_not_sure": "no", "date": "2026-06-07", "text": "straight"}[q.Kind]
		if q.Kind == "choice" {
			a = q.Choices[0].ID
		}
		to, changed := change[q.ID]
		if (q.After != "" || q.Optional) && !changed || to == "-" {
			continue
		}
		if changed {
			a = to
		}
		list = append(list, object{"question": q.ID, "answer": a})
	}
	return object{"form_version": form.Version, "answers": list, "consent": object{"by": "client", "agreed": true}}
}

// screened keeps a consultation of a client.
func (s *salon) screened(client string, change map[string]string) api.ScreeningMade {
	s.t.Helper()
	var out api.ScreeningMade
	s.call("POST", "/v1/clients/"+client+"/screenings", s.answers(change)).is(201, &out)
	return out
}

// asPerson is the salon seen with a stylist's own token.
func (s *salon) asPerson(role store.Role, staff string) *salon {
	s.t.Helper()
	c := *s
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(tx *store.Tx) (err error) {
		_, c.token, err = tx.AddToken(s.t.Context(), role, staff, string(role), nil)
		return err
	}))
	return &c
}

func (s *salon) reading(id string) api.ScreeningBody {
	s.t.Helper()
	var out api.ScreeningBody
	s.call("GET", "/v1/screenings/"+id, nil).is(200, &out)
	return out
}

func TestAConsultationIsKeptAndReadByThoseWhoMay(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	ada := s.asPerson(store.LeadRole, s.ada)
	body := s.answers(map[string]string{"pregnancy": "not_sure", "colour": "yes", "coloured_on": "2026-06-01", "details": "zqxqzdetails"})
	a := ada.call("POST", "/v1/clients/"+client+"/screenings", body, "Idempotency-Key", "one")
	var made map[string]string
	a.is(201, &made)
	require.Equal(t, map[string]string{"id": made["id"], "outcome": "ask"}, made, "no more than that")
	require.Equal(t, "/v1/screenings/"+made["id"], a.header.Get("Location"))

	got := s.reading(made["id"])
	require.Equal(t, client, got.ClientID)
	require.Equal(t, s.ada, got.MadeByID)
	require.Equal(t, "2026-06-15", got.Earliest)
	require.True(t, *got.StrandTest)
	require.Len(t, got.Answers, len(body["answers"].([]object)))
	var codes []string
	for _, r := range got.Reasons {
		codes = append(codes, r.Code)
		require.NotEmpty(t, r.Source)
	}
	require.Equal(t, []string{"colour", "fresh_colour", "pregnancy"}, codes)
	require.Contains(t, got.Summary, "Nothing is approved by this form.")
	require.Contains(t, got.Consent.Text, "I agree")
	i := slices.IndexFunc(got.Answers, func(x api.SaidBody) bool { return x.Question == "pregnancy" })
	require.Equal(t, api.SaidBody{Question: "pregnancy", Text: "Are you pregnant or nursing?", Answer: "not_sure", Words: "Not sure"}, got.Answers[i])

	var list struct{ Items []api.ScreeningItem }
	for _, who := range []*salon{s, ada} {
		a := who.call("GET", "/v1/clients/"+client+"/screenings", nil)
		a.is(200, &list)
		require.Equal(t, "ask", list.Items[0].Outcome)
		require.NotContains(t, string(a.body), "pregnan")
	}
	for _, who := range []*salon{s.as(store.Desk), s.as(store.LeadRole), s.asPerson(store.LeadRole, s.ben)} {
		var shown struct{ Items []map[string]any }
		who.call("GET", "/v1/clients/"+client+"/screenings", nil).is(200, &shown)
		require.Equal(t, []string{"form_version", "id", "made_at", "words"}, slices.Sorted(maps.Keys(shown.Items[0])))
		require.Equal(t, "ask the stylist", shown.Items[0]["words"])
	}
}

func TestOnlyTheStylistOfAClientReadsTheAnswers(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	x := s.screened(client, map[string]string{"asthma": "yes"})
	path := "/v1/screenings/" + x.ID
	ada, ben := s.asPerson(store.LeadRole, s.ada), s.asPerson(store.LeadRole, s.ben)
	for _, who := range []*salon{ada, ben} {
		before := s.tables()()
		who.call("GET", path, nil).refused(403, "forbidden")
		who.call("DELETE", path, nil).refused(403, "forbidden")
		who.call("POST", path+"/decision", object{"decision": "yes", "why": "looked"}).refused(403, "forbidden")
		require.Equal(t, before, s.tables()())
	}
	s.book(client, start.Add(73*time.Hour), s.straightening()) // Ada's
	ada.call("GET", path, nil).is(200, nil)
	ben.call("GET", path, nil).refused(403, "forbidden")
	s.call("GET", path, nil).is(200, nil)
	s.as(store.LeadRole).call("GET", path, nil).refused(403, "forbidden") // a token that is nobody's own
	s.as(store.Desk).call("GET", path, nil).refused(403, "forbidden")
	s.as(store.AssistantRole).call("GET", "/v1/clients/"+client+"/screenings", nil).refused(403, "forbidden")
	own := ben.screened(client, map[string]string{"asthma": "yes"})
	ben.call("GET", "/v1/screenings/"+own.ID, nil).is(200, nil)
	ben.call("GET", path, nil).refused(403, "forbidden")
	s.neighbour().call("GET", path, nil).refused(404, "not-found")

	var reads struct{ Items []api.HealthReadBody }
	s.call("GET", "/v1/health-reads", nil).is(200, &reads)
	var what []string
	for _, r := range reads.Items {
		what = append(what, r.What+" "+r.Role+" "+map[string]string{s.ada: "Ada", s.ben: "Ben"}[r.StaffID])
		require.Equal(t, client, r.ClientID)
	}
	slices.Reverse(what)
	require.Equal(t, []string{"made owner ", "read lead Ada", "read owner ", "made lead Ben", "read lead Ben"}, what, "refusals read nothing")
	page := s.call("GET", "/v1/health-reads?limit=4", nil)
	page.is(200, &reads)
	require.Len(t, reads.Items, 4)
	next := strings.TrimSuffix(strings.TrimPrefix(page.header.Get("Link"), "<"), `>; rel="next"`)
	s.call("GET", next, nil).is(200, &reads)
	require.Len(t, reads.Items, 1)
}

func TestFaultsOfAConsultationAreNamedWithoutWhatWasSent(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	tables := s.tables()
	before := tables()
	good := func() ([]object, object) {
		b := s.answers(nil)
		return b["answers"].([]object), b
	}
	secret := "zqxqzsecret"
	for name, x := range map[string]struct {
		change func(list []object, b object)
		want   string
	}{
		"unknown question":     {func(l []object, b object) { l[3]["question"] = secret }, "/answers /answers/3/question"},
		"repeated question":    {func(l []object, b object) { l[4]["question"] = "perm" }, "/answers /answers/4/question"},
		"unknown answer":       {func(l []object, b object) { l[3]["answer"] = secret }, "/answers/3/answer"},
		"long text":            {func(l []object, b object) { l[len(l)-1]["answer"] = strings.Repeat(secret, 1250) }, fmt.Sprintf("/answers/%d/answer", len(s.answers(nil)["answers"].([]object))-1)},
		"nothing answered":     {func(l []object, b object) { b["answers"] = []object{} }, strings.TrimSpace(strings.Repeat("/answers ", 30))},
		"endless answers":      {func(l []object, b object) { b["answers"] = slices.Repeat(l[:1], 1000) }, "/answers"},
		"no agreement":         {func(l []object, b object) { b["consent"] = object{"by": "client", "agreed": false} }, "/consent/agreed"},
		"agreed by somebody":   {func(l []object, b object) { b["consent"] = object{"by": secret, "agreed": true} }, "/consent/by"},
		"a field more":         {func(l []object, b object) { b["note"] = secret }, "/note"},
		"a number":             {func(l []object, b object) { l[3]["answer"] = 7 }, "/answers/3/answer"},
		"an object for answer": {func(l []object, b object) { l[3]["answer"] = object{"said": secret} }, "/answers/3/answer"},
		"a field in an answer": {func(l []object, b object) { l[3]["why"] = secret }, "/answers/3/why"},
	} {
		l, b := good()
		x.change(l, b)
		a := s.call("POST", "/v1/clients/"+client+"/screenings", b, "Idempotency-Key", "k")
		p := a.refused(422, "invalid")
		places := pointers(p)
		slices.Sort(places)
		require.Equal(t, x.want, strings.ReplaceAll(strings.Join(places, " "), "body ", ""), name)
		require.NotContains(t, string(a.body), secret, name)
	}
	l, b := good()
	l[3]["answer"] = secret + "\x00"
	require.NotContains(t, string(s.call("POST", "/v1/clients/"+client+"/screenings", b).body), secret)
	_, b = good()
	b["form_version"] = 2
	s.call("POST", "/v1/clients/"+client+"/screenings", b).refused(409, "conflict")
	s.call("POST", "/v1/clients/"+s.ada+"/screenings", s.answers(nil)).refused(404, "not-found")
	require.Equal(t, before, tables(), "nothing was kept")
}

func TestARepeatedConsultationIsKeptOnceAndItsFingerprintTellsNothing(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	path := "/v1/clients/" + s.client("Mara") + "/screenings"
	body := s.answers(map[string]string{"asthma": "yes"})
	var first, again api.ScreeningMade
	s.call("POST", path, body, "Idempotency-Key", "one").is(201, &first)
	a := s.call("POST", path, body, "Idempotency-Key", "one")
	a.is(201, &again)
	require.Equal(t, first, again)
	require.Equal(t, "true", a.header.Get("Idempotent-Replayed"))
	s.call("POST", path, s.answers(nil), "Idempotency-Key", "one").refused(422, "key-reused")

	// Whoever has a copy of the database tries likely forms against it.
	var in api.ScreeningInput
	raw, err := json.Marshal(body)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &in))
	db := s.db()
	for _, guess := range []any{in, body} {
		raw, err := json.Marshal(guess)
		require.NoError(t, err)
		sum := sha256.Sum256(raw)
		var hits int
		require.NoError(t, db.QueryRow(`SELECT count(*) FROM idempotency WHERE fingerprint = $1`, sum[:]).Scan(&hits))
		require.Zero(t, hits)
	}
	var kept string
	require.NoError(t, db.QueryRow(`SELECT convert_from(body, 'UTF8') FROM idempotency WHERE route LIKE '%/screenings'`).Scan(&kept))
	require.JSONEq(t, fmt.Sprintf(`{"id": %q}`, first.ID), kept)

	s.store.SealWith(healthKey(t, 2, 1)) // the keys were changed in between
	s.call("POST", path, body, "Idempotency-Key", "one").is(201, &again)
	require.Equal(t, first, again)
}

func TestTheLicensedPersonDecides(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	ada := s.asPerson(store.LeadRole, s.ada)
	decide := func(who *salon, id, decision, by string) answer {
		b := object{"decision": decision, "why": "zqxqzwhy " + decision}
		if by != "" {
			b["decided_by"] = by
		}
		return who.call("POST", "/v1/screenings/"+id+"/decision", b)
	}
	ask := ada.screened(client, map[string]string{"asthma": "yes"}).ID
	require.Equal(t, []string{"body /decided_by"}, pointers(decide(s, ask, "yes", "").refused(422, "invalid")), "the token is nobody's own")
	require.Equal(t, []string{"body /decided_by"}, pointers(decide(s, ask, "yes", "Mina").refused(422, "invalid")), "Mina is no stylist")
	require.Equal(t, []string{"body /decided_by"}, pointers(decide(ada, ask, "yes", "Ben").refused(422, "invalid")), "Ada speaks for herself")
	require.Equal(t, []string{"body /decided_by", "body /why"}, slices.Sorted(slices.Values(pointers(
		s.call("POST", "/v1/screenings/"+ask+"/decision", object{"decision": "yes", "why": strings.Repeat("x", 501)}).refused(422, "invalid")))))
	a := decide(ada, ask, "yes", "")
	var made api.DecisionMade
	a.is(200, &made)
	require.Equal(t, api.DecisionMade{ID: ask, Outcome: "ask", Decision: "yes"}, made)
	require.NotContains(t, string(a.body), "zqxqzwhy")
	s.at(start.Add(time.Hour))
	decide(s, ask, "no", "ben").is(200, nil)
	got := s.reading(ask)
	require.Equal(t, "no", got.Decision)
	require.Equal(t, "Ben", got.DecidedBy)
	require.Equal(t, []string{"yes Ada zqxqzwhy yes", "no Ben zqxqzwhy no"}, []string{got.Decisions[0].Decision + " " + got.Decisions[0].By + " " + got.Decisions[0].Why,
		got.Decisions[1].Decision + " " + got.Decisions[1].By + " " + got.Decisions[1].Why}, "what was said before stays")
	decide(ada, ask, "yes", "").is(200, nil)

	decide(ada, ada.screened(client, nil).ID, "yes", "").refused(409, "conflict")
	for id, answers := range map[string]map[string]string{"metal": {"henna_metallic": "yes"}, "sore": {"sore_scalp": "not_sure"}, "both": {"relaxer": "yes", "lice_ringworm": "yes"}} {
		p := decide(ada, ada.screened(client, answers).ID, "yes", "").refused(422, "refused")
		require.Contains(t, p.Detail, "a yes does not change that", id)
	}
	possible := ada.screened(client, map[string]string{"straightened": "elsewhere_unknown"})
	require.Equal(t, "do_not_book", possible.Outcome)
	require.Contains(t, decide(ada, possible.ID, "yes", "").refused(422, "refused").Detail, "after a strand test")
	note := func(at time.Time, result string) {
		require.NoError(t, s.store.InTx(t.Context(), s.row.ID, func(tx *store.Tx) error {
			_, err := tx.AddTestNote(t.Context(), store.TestNote{Client: client, Noted: at, TestFacts: store.TestFacts{What: store.StrandMade, At: at, Result: result}})
			return err
		}))
	}
	note(start.Add(30*time.Minute), "fine")
	decide(ada, possible.ID, "yes", "").refused(422, "refused") // that was before
	note(start.Add(2*time.Hour), "fine")
	note(start.Add(3*time.Hour), "snapped")
	decide(ada, possible.ID, "yes", "").refused(422, "refused")
	note(start.Add(4*time.Hour), "fine")
	decide(ada, possible.ID, "yes", "").is(200, nil)

	s.call("DELETE", "/v1/screenings/"+ask, nil).is(204, nil)
	decide(ada, ask, "yes", "").refused(409, "conflict")
}

func TestAVisitIsBookedAsTheConsultationAllows(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	day := 0
	book := func(client string, services []object, approvedBy string) answer {
		day++
		at := time.Date(2026, 6, 15+day%5+7*(day/5), 9, 0, 0, 0, start.Location())
		return s.as(store.Desk).call("POST", "/v1/visits", object{"client_id": client, "start": at, "services": services, "approved_by": approvedBy},
			"Idempotency-Key", fmt.Sprint("b", day))
	}
	cut, colour := []object{{"service_id": s.services["Dry cut"]}}, []object{{"service_id": s.services["Root colour"]}}
	ask := map[string]string{"pregnancy": "yes"}
	hard := map[string]string{"lice_ringworm": "not_sure"}
	quiet := func(a answer) {
		for _, word := range []string{"pregnan", "lice_", "lice ", "ringworm", "health", "scalp", "allerg"} {
			require.NotContains(t, strings.ToLower(string(a.body)), word)
		}
	}
	never, asked, clear := s.client("Nora"), s.client("Ines"), s.client("Lena")
	s.screened(never, hard)
	id := s.screened(asked, ask).ID
	s.screened(clear, nil)

	for _, approvedBy := range []string{"", "Ada"} {
		a := book(never, colour, approvedBy)
		p := a.refused(422, "refused")
		require.Equal(t, "consultation", p.Cautions[0].Code)
		require.Contains(t, p.Detail, "Ask the stylist in charge before booking")
		quiet(a)
		held := s.call("POST", "/v1/holds", object{"client_id": never, "start": start.Add(100 * time.Hour), "services": colour}, "Idempotency-Key", "h"+approvedBy)
		held.refused(422, "refused")
		quiet(held)
	}
	book(never, cut, "").is(201, nil)
	wish := s.call("POST", "/v1/waiting-list", object{"client_id": never, "services": colour, "first_date": "2026-07-13", "last_date": "2026-07-14"})
	wish.refused(422, "refused")
	quiet(wish)

	a := book(asked, colour, "")
	p := a.refused(422, "refused")
	require.Equal(t, []string{"body /approved_by"}, pointers(p))
	quiet(a)
	book(asked, colour, "Ada").is(201, nil)
	book(asked, cut, "").is(201, nil)
	s.call("POST", "/v1/screenings/"+id+"/decision", object{"decision": "yes", "why": "note from the clinician", "decided_by": "Ada"}).is(200, nil)
	book(asked, colour, "").is(201, nil)
	s.call("POST", "/v1/screenings/"+id+"/decision", object{"decision": "no", "why": "changed", "decided_by": "Ada"}).is(200, nil)
	book(asked, colour, "Ada").refused(422, "refused")

	book(clear, colour, "").is(201, nil)
	coloured := s.client("Thea")
	fresh := s.screened(coloured, map[string]string{"colour": "yes", "coloured_on": "2026-06-08"}).ID
	s.call("POST", "/v1/screenings/"+fresh+"/decision", object{"decision": "yes", "why": "looks fine", "decided_by": "Ada"}).is(200, nil)
	on := func(day int, approvedBy string) answer {
		at := time.Date(2026, 6, day, 13, 0, 0, 0, start.Location())
		return s.call("POST", "/v1/visits", object{"client_id": coloured, "start": at, "services": colour, "approved_by": approvedBy},
			"Idempotency-Key", fmt.Sprint("on", day, approvedBy))
	}
	require.Contains(t, on(20, "").refused(422, "refused").Detail, "not before 22 June 2026") // 14 days after the 8th
	on(22, "").is(201, nil)

	unknown := s.client("Rosa") // never asked: what is still needed says so
	s.call("POST", "/v1/visits", object{"client_id": unknown, "start": time.Date(2026, 7, 31, 9, 0, 0, 0, start.Location()), "services": colour}, "Idempotency-Key", "u").is(201, nil)
}

func TestWithoutAKeyOnlyConsultationsAreRefused(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	x := s.screened(client, map[string]string{"asthma": "yes"})
	body := s.answers(nil)
	path := "/v1/screenings/" + x.ID
	s.store.SealWith(nil)
	for _, r := range []request{
		{"POST", "/v1/clients/" + client + "/screenings", body, nil}, {"GET", path, nil, nil},
		{"POST", path + "/decision", object{"decision": "no", "why": "x", "decided_by": "Ada"}, nil},
	} {
		p := s.send(r).refused(503, "health-key")
		require.Contains(t, p.Detail, "without a key")
	}
	s.call("GET", "/v1/clients/"+client+"/screenings", nil).is(200, nil)
	s.book(client, start.Add(73*time.Hour), s.straightening())
	s.store.SealWith(healthKey(t, 9))
	require.Contains(t, s.call("GET", path, nil).refused(503, "health-key").Detail, "which the service does not have")
	s.call("DELETE", path, nil).is(204, nil)
	got := s.reading(x.ID)
	require.Equal(t, "erased", got.Words)
	require.Empty(t, got.Answers)
	require.NotNil(t, got.Consent.Withdrawn)
	s.call("DELETE", path, nil).is(204, nil)

	s.store.SealWith(healthKey(t, 1))
	y := s.screened(client, map[string]string{"asthma": "yes"})
	_, err := s.db().Exec(`UPDATE sealed_text SET sealed = set_byte(sealed, 99, get_byte(sealed, 99) # 4)`)
	require.NoError(t, err)
	require.Contains(t, s.call("GET", "/v1/screenings/"+y.ID, nil).refused(500, "damaged").Detail, "changed or moved")
	s.call("DELETE", "/v1/screenings/"+y.ID+"?because=mistake", nil).is(204, nil)
	require.Nil(t, s.reading(y.ID).Consent.Withdrawn)
}

func TestTheSalonAddsQuestionsAndOldFormsStayReadable(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	var form api.ConsultationForm
	a := s.call("GET", "/v1/consultation-form", nil)
	a.is(200, &form)
	require.Equal(t, `"v1"`, a.header.Get("ETag"))
	before := s.screened(client, nil)
	old := s.answers(nil)
	set := func(tag string, own ...object) answer {
		if own == nil {
			own = []object{}
		}
		return s.call("PUT", "/v1/consultation-form", object{"own_questions": own}, "If-Match", tag)
	}
	glitter := object{"text": "Is there glitter in it?", "outcome": "do_not_book"}
	set(`"v2"`, glitter).refused(412, "stale")
	require.Equal(t, []string{"body /own_questions/0/text", "body /own_questions/1/text"}, pointers(set(`"v1"`, object{"text": "", "outcome": "ask"}, object{"text": "Your nationality?", "outcome": "ask"}).refused(422, "invalid")))
	set(`"v1"`, slices.Repeat([]object{glitter}, 11)...).refused(422, "invalid")
	a = set(`"v1"`, glitter, object{"text": "Will you wear a hat?", "outcome": "ask"})
	a.is(200, &form)
	require.Equal(t, `"v2"`, a.header.Get("ETag"))
	require.Equal(t, "own_2", form.Questions[len(form.Questions)-1].ID)
	a = set(`"v2"`, glitter, object{"text": " Will you wear a hat? ", "outcome": "ask"})
	require.Equal(t, `"v2"`, a.header.Get("ETag"), "the same questions make no new version")
	s.call("POST", "/v1/clients/"+client+"/screenings", old).refused(409, "conflict")
	after := s.screened(client, map[string]string{"own_1": "not_sure"})
	require.Equal(t, "do_not_book", after.Outcome)
	set(`"v2"`).is(200, &form)
	require.Equal(t, 3, form.Version)
	require.Empty(t, form.Own)
	require.Equal(t, 1, s.reading(before.ID).FormVersion)
	got := s.reading(after.ID)
	require.Equal(t, 2, got.FormVersion)
	require.Equal(t, "own_1", got.Reasons[0].Code)
	require.Equal(t, "Will you wear a hat?", got.Answers[len(got.Answers)-1].Text)
}

func TestTheOwnerSetsHowLongAnswersStay(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var p api.PrivacyBody
	a := s.call("GET", "/v1/privacy", nil)
	a.is(200, &p)
	require.Equal(t, 12, p.HealthMonths)
	tag := a.header.Get("ETag")
	s.call("PUT", "/v1/privacy", object{"health_months": 121}, "If-Match", tag).refused(422, "invalid")
	s.call("PUT", "/v1/privacy", object{"health_months": 6}).refused(428, "if-match")
	a = s.call("PUT", "/v1/privacy", object{"health_months": 6}, "If-Match", tag)
	a.is(200, &p)
	require.Equal(t, 6, p.HealthMonths)
	require.Equal(t, "2026-06-10", p.HealthFrom, "two days on")
	s.call("PUT", "/v1/privacy", object{"health_months": 7}, "If-Match", tag).refused(412, "stale")
	require.Equal(t, a.header.Get("ETag"), s.call("GET", "/v1/privacy", nil).header.Get("ETag"))
}

func TestAClientsAnswersGoWithHer(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	x := s.screened(client, map[string]string{"asthma": "yes"})
	s.call("DELETE", "/v1/clients/"+client, nil, "If-Match", `"v1"`).is(204, nil)
	s.call("GET", "/v1/screenings/"+x.ID, nil).refused(404, "not-found")
	var reads struct{ Items []api.HealthReadBody }
	s.call("GET", "/v1/health-reads", nil).is(200, &reads)
	require.Equal(t, x.ID, reads.Items[0].Screening)
	require.Empty(t, reads.Items[0].ClientID)
}

// TestWhatIsAnsweredStandsNowhereElse puts words nobody else uses into answers
// and reasons and looks for them in logs, every table, answers and messages.
func TestWhatIsAnsweredStandsNowhereElse(t *testing.T) {
	stop := listen(t)
	ran := t.Run("scenario", func(t *testing.T) {
		s := newSalon(t)
		s.at(begin)
		mails := make(chan string, 100)
		s.deliver(func(to string) error { mails <- to; return nil })
		client := s.client("Mara")
		path := "/v1/clients/" + client + "/screenings"
		body := s.answers(map[string]string{"pregnancy": "yes", "wanted": "zqxqzwanted", "details": "zqxqzdetails", "last_wash": begin.Format("2006-01-02")})
		var x api.ScreeningMade
		s.call("POST", path, body, "Idempotency-Key", "one").is(201, &x)
		s.call("POST", path, body, "Idempotency-Key", "one").is(201, nil)
		s.call("POST", "/v1/screenings/"+x.ID+"/decision", object{"decision": "yes", "why": "zqxqzwhyyes", "decided_by": "Ada"}).is(200, nil)
		s.book(client, begin.Add(75*time.Hour), s.straightening())
		raw, err := json.Marshal(body)
		require.NoError(t, err)
		out := s.outside()
		for _, broken := range []string{string(raw[:len(raw)-1]), strings.Replace(string(raw), `"zqxqzwanted"`, `"zqxqzwanted`+"\xff"+`"`, 1),
			strings.Replace(string(raw), `"zqxqzwanted"`, `["zqxqzwanted"]`, 1), strings.Replace(string(raw), `"question":"wanted"`, `"question":"zqxqzquestion"`, 1)} {
			a := out.call("POST", path, broken, "Idempotency-Key", "broken")
			require.Equal(t, http.StatusUnprocessableEntity, a.status)
			require.NotContains(t, string(a.body), "zqxqz")
		}
		// A database that does not do what the program believes.
		db := s.db()
		_, err = db.Exec(`ALTER TABLE sealed_text ADD CHECK (length(sealed) < 5) NOT VALID`)
		require.NoError(t, err)
		a := s.call("POST", path, body, "Idempotency-Key", "two")
		require.Empty(t, a.refused(500, "internal").Detail)

		require.True(t, s.dumpHolds(x.ID), "the dump is complete")
		for _, word := range []string{"zqxqzwanted", "zqxqzdetails", "zqxqzwhyyes", "zqxqzquestion", "pregnan", "asthma"} {
			require.False(t, s.dumpHolds(word), word)
		}
		for _, kind := range []string{"staff", "client"} {
			id := map[string]string{"staff": s.ada, "client": client}[kind]
			feed := s.feed(kind, id).ask("GET")
			feed.is(200, nil)
			require.NotContains(t, string(feed.body), "pregnan")
			require.NotContains(t, string(feed.body), "zqxqz")
		}
	})
	heard := strings.ToLower(stop())
	require.True(t, ran)
	require.Contains(t, heard, "request failed", "something went wrong and was logged")
	for _, word := range []string{"zqxqz", "pregnan", "not_sure", "answers/"} {
		require.NotContains(t, heard, word)
	}
}

// dumpHolds reports whether a row of any table, jobs and kept answers included,
// holds a word as text or as bytes.
func (s *salon) dumpHolds(word string) bool {
	s.t.Helper()
	db := s.db()
	names, err := db.Query(`SELECT table_name FROM information_schema.tables WHERE table_schema = 'public' AND table_type = 'BASE TABLE'`)
	require.NoError(s.t, err)
	defer names.Close()
	for names.Next() {
		var name string
		require.NoError(s.t, names.Scan(&name))
		var hits int
		require.NoError(s.t, db.QueryRow(fmt.Sprintf(`SELECT count(*) FROM %q x WHERE x::text ILIKE '%%' || $1 || '%%' OR x::text LIKE '%%' || $2 || '%%'`, name),
			word, hex.EncodeToString([]byte(word))).Scan(&hits))
		if hits > 0 {
			return true
		}
	}
	require.NoError(s.t, names.Err())
	return false
}
