package api_test

import (
	"crypto/sha256"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// strict makes visits of the salon need what they need by the program's own
// rules, but for what is in change.
func (s *salon) strict(change object) {
	s.t.Helper()
	a := s.call("GET", "/v1/booking-rules", nil).is(200, nil)
	body := object{"hold_minutes": 10}
	if change != nil {
		body["needs"] = change
	}
	s.call("PUT", "/v1/booking-rules", body, "If-Match", a.header.Get("ETag")).is(200, nil)
}

// everyNeedRule sets each rule to another value than its own.
func everyNeedRule() object {
	return object{"consultation_for": "chemical", "consultation_hours": 12, "consultation_valid_days": 300, "skin_test_for": "straightening",
		"patch_test_valid_days": 90, "patch_test_read_hours": 20, "skin_test_override": true, "strand_test_for": "chemical", "strand_test_for_new_clients": true,
		"strand_test_hours": 12, "strand_test_valid_days": 60, "deposit_for": "chemical", "guardian_for": "everything", "consent_for": "straightening",
		"consent_age": 18, "deposit_hold_days": 7, "lapse_when_overdue": []string{"deposit"}}
}

// needBodies are right requests about what visits need.
func needBodies(client string) map[string]any {
	return map[string]any{
		"add-skin-test":  object{"product": "Soft Wave", "strength": "N", "family": "straightening", "place": "inner_elbow", "by": "Mina"},
		"read-skin-test": object{"result": "negative", "by": "Ada", "note": "nothing to see"}, "add-strand-test": object{"product": "Soft Wave", "strength": "N", "result": "fine", "by": "Ada", "note": "springs back"},
		"add-reaction": object{"product": "a mask", "note": "itching"},
		"set-minor": object{"minor_until": "2028-03-01", "guardian_name": "Rosa Quist", "guardian_phone": "+4930901820", "guardian_mail": "rosa@example.org",
			"contact_by": "mail", "guardian_stays": "present"},
		"add-guardian-yes": object{"given_by": "Rosa Quist", "how": "phone", "taken_by": "Ada", "approved_by": "Ada"},
		"add-consent":      object{"wording_version": 1, "given_by": "Mara Quist", "how": "written", "taken_by": "Ada"}, "add-consent-wording": object{"text": "I agree.\nTwice."},
		"override-need": object{"by": "Ada", "reason": "cut above the old lengths"}, "name-client": object{"client_id": client, "approved_by": "Ada"},
	}
}

// onRecord notes a skin test, a guardian and a consent of a client, and returns
// the ids of the first and the last.
func (s *salon) onRecord(client string) (test, consent string) {
	s.t.Helper()
	var x struct{ ID string }
	s.call("POST", "/v1/clients/"+client+"/skin-tests", needBodies("")["add-skin-test"]).is(201, &x)
	test = x.ID
	s.call("PUT", "/v1/clients/"+client+"/minor", needBodies("")["set-minor"]).is(200, nil)
	s.call("POST", "/v1/clients/"+client+"/consents", needBodies("")["add-consent"]).is(201, &x)
	return test, x.ID
}

// walkedIn is a walk-in at this moment.
func (s *salon) walkedIn(service string) api.VisitBody {
	s.t.Helper()
	var v api.VisitBody
	s.call("POST", "/v1/walk-ins", object{"service_id": s.services[service], "given_name": "Vida"}, "Idempotency-Key", fmt.Sprintf("w%d", bookings.Add(1))).is(201, &v)
	return v
}

// needed reads what a visit needs, in a line: "consultation missing, …".
func (s *salon) needed(visit string) string {
	s.t.Helper()
	var v api.VisitBody
	s.call("GET", "/v1/visits/"+visit, nil).is(200, &v)
	words := make([]string, len(v.StillNeeded))
	open := 0
	for i, x := range v.StillNeeded {
		words[i] = x.Kind + " " + x.State
		if x.State != "done" && x.State != "overridden" {
			open++
		}
	}
	if v.StillOpen != nil {
		require.Equal(s.t, open, *v.StillOpen)
	}
	return strings.Join(words, ", ")
}

// step starts a step of a visit now.
func (s *salon) step(visit string, ordinal int) answer {
	s.t.Helper()
	tag := s.call("GET", "/v1/visits/"+visit, nil).is(200, nil).header.Get("ETag")
	return s.call("POST", fmt.Sprintf("/v1/visits/%s/steps/%d/start", visit, ordinal), object{}, "If-Match", tag)
}

func (s *salon) arrived(visit string) {
	s.t.Helper()
	tag := s.call("GET", "/v1/visits/"+visit, nil).is(200, nil).header.Get("ETag")
	s.call("POST", "/v1/visits/"+visit+"/arrive", object{}, "If-Match", tag).is(200, nil)
}

func (s *salon) skinTest(client string, at time.Time) (id string) {
	s.t.Helper()
	var x struct{ ID string }
	s.call("POST", "/v1/clients/"+client+"/skin-tests", object{"product": "Soft Wave", "strength": "N", "place": "inner_elbow", "by": "Mina", "put_on_at": at}).is(201, &x)
	return x.ID
}

func (s *salon) readTest(test, result string, more object) answer {
	s.t.Helper()
	body := object{"result": result, "by": "Ada"}
	for k, v := range more {
		body[k] = v
	}
	return s.call("POST", "/v1/skin-tests/"+test+"/reading", body)
}

// complete puts everything on record that a straightening of the client needs.
func (s *salon) complete(client string) {
	s.t.Helper()
	now := *s.clock.Load()
	s.screened(client, nil)
	s.readTest(s.skinTest(client, now.Add(-72*time.Hour)), "negative", nil).is(201, nil)
	s.call("POST", "/v1/clients/"+client+"/strand-tests", object{"product": "Soft Wave", "strength": "N", "result": "fine", "by": "Ada"}).is(201, nil)
	s.call("POST", "/v1/clients/"+client+"/consents", object{"wording_version": 1, "given_by": "herself", "how": "written", "taken_by": "Ada"}).is(201, nil)
}

func TestAVisitIsBookedWithTheListOfWhatItNeedsAndBeginsWhenAllOfItIsThere(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	require.Equal(t, "consultation missing, patch_test missing, strand_test missing, consent missing", s.needed(v.ID))
	require.Equal(t, "put on by Tue 9 June 09:00 and read before the visit begins", v.StillNeeded[1].Right)
	require.Equal(t, "stylist", v.StillNeeded[1].Owner)

	s.at(v.Start)
	s.arrived(v.ID)
	s.step(v.ID, 0).is(200, nil) // the consultation
	p := s.step(v.ID, 1).refused(409, "not-ready")
	require.Len(t, p.StillNeeded, 4)
	for _, word := range []string{"a consultation", "a skin test", "a strand test", "consent", "put on by Tue 9 June 09:00"} {
		require.Contains(t, p.Detail, word)
	}
	s.step(v.ID, 5).refused(409, "not-ready")
	s.call("POST", "/v1/visits/"+v.ID+"/steps/3/finish", object{}, "If-Match", s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")).refused(409, "not-ready")

	s.complete(client)
	require.NotContains(t, s.needed(v.ID), "missing")
	s.step(v.ID, 1).is(200, nil)

	// What begins is a fact: a reaction that is noted now does not keep the rinse
	// from being noted.
	s.hairSeen(v.ID)
	s.step(v.ID, 3).is(200, nil)
	s.call("POST", "/v1/clients/"+client+"/reactions", object{"note": "burning"}).is(201, nil)
	require.Contains(t, s.needed(v.ID), "patch_test missing")
	s.at(v.Start.Add(30 * time.Minute))
	s.step(v.ID, 4).is(200, nil)
}

func TestWhatWasReadBetweenTwoServicesKeepsProductOff(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	s.complete(client)
	v, _ := s.book(client, start.Add(73*time.Hour), append([]object{s.by(s.ada, "Dry cut")}, s.straightening()...))
	s.at(v.Start)
	s.arrived(v.ID)
	s.step(v.ID, 0).is(200, nil) // the cut
	s.call("POST", "/v1/clients/"+client+"/strand-tests", object{"product": "Soft Wave", "result": "snapped", "strength": "N", "by": "Ada"}).is(201, nil)
	s.at(v.Start.Add(30 * time.Minute))
	s.step(v.ID, 2).refused(409, "not-ready")
}

func TestAPositiveTestASnappedStrandAndDoNotBookNeverBegin(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing", "skin_test_override": true})
	for kind, against := range map[string]func(client string){
		"patch_test": func(client string) {
			s.readTest(s.skinTest(client, s.clock.Load().Add(-71*time.Hour)), "positive", nil).is(201, nil)
		},
		"strand_test": func(client string) {
			s.call("POST", "/v1/clients/"+client+"/strand-tests", object{"product": "Other", "strength": "", "result": "snapped", "by": "Ada"}).is(201, nil)
		},
		"consultation": func(client string) { s.screened(client, map[string]string{"sore_scalp": "yes"}) },
	} {
		s.at(start)
		client := s.client("Mara")
		s.complete(client)
		at := start.Add(73 * time.Hour)
		switch kind {
		case "strand_test":
			at = at.Add(24 * time.Hour)
		case "consultation":
			at = at.Add(96 * time.Hour)
		}
		v, _ := s.book(client, at, s.straightening())
		s.at(v.Start)
		s.arrived(v.ID)
		against(client)
		require.Contains(t, s.needed(v.ID), kind+" refused")
		s.step(v.ID, 3).refused(409, "not-ready")
		p := s.call("POST", "/v1/visits/"+v.ID+"/needs/"+kind+"/override", object{"by": "Ada", "reason": "she wishes it"}).refused(422, "refused")
		require.Contains(t, p.Detail, "nobody can let the visit begin like this")
		s.step(v.ID, 3).refused(409, "not-ready")
	}
}

func TestTheDeskHearsOnlyDoneNeededOrWhomToAsk(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	s.complete(client)
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	s.readTest(s.skinTest(client, start.Add(-time.Hour)), "positive", object{"note": "red and swollen"}).is(201, nil)
	require.Contains(t, s.needed(v.ID), "patch_test refused")
	for _, role := range []store.Role{store.Desk, store.AssistantRole} {
		who := s.as(role)
		require.Contains(t, who.needed(v.ID), "patch_test ask")
		bodies := [][]byte{who.call("GET", "/v1/visits/"+v.ID, nil).body, who.call("GET", "/v1/days/2026-06-11", nil).body}
		if role == store.Desk {
			bodies = append(bodies, who.call("GET", "/v1/to-do", nil).body, who.call("GET", "/v1/clients/"+client, nil).body)
		}
		for _, path := range []string{"skin-tests", "strand-tests", "reactions"} {
			who.call("GET", "/v1/clients/"+client+"/"+path, nil).refused(403, "forbidden")
		}
		s.at(v.Start)
		if role == store.Desk {
			who.arrived(v.ID)
		}
		bodies = append(bodies, who.step(v.ID, 3).body)
		s.at(start)
		for _, b := range bodies {
			for _, word := range []string{"positive", "refused", "swollen", "Soft Wave", "snapped"} {
				require.NotContains(t, string(b), word)
			}
		}
		require.Contains(t, string(bodies[0]), "ask the stylist")
	}
	// What is kept of an answer for a repeated request says no more than the desk may know.
	other := s.client("Ines")
	s.readTest(s.skinTest(other, start.Add(-time.Hour)), "positive", nil).is(201, nil)
	a := s.call("POST", "/v1/visits", object{"client_id": other, "start": start.Add(97 * time.Hour), "services": s.straightening(), "approved_by": "Ada"}, "Idempotency-Key", "kept").is(201, nil)
	require.NotContains(t, string(a.body), "positive")
	require.NotContains(t, string(a.body), "refused")
}

func TestWhatIsKeptForRepeatedRequestsSaysNothingAboutHealth(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	s.complete(client)
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	s.at(v.Start)
	s.arrived(v.ID)
	s.readTest(s.skinTest(client, v.Start.Add(-72*time.Hour)), "positive", nil).is(201, nil)
	require.Contains(t, s.needed(v.ID), "patch_test refused")
	s.call("POST", "/v1/visits/"+v.ID+"/hair-as-seen", object{"unchanged": true}, "Idempotency-Key", "seen").is(201, nil)
	made := s.screened(client, map[string]string{"lice_ringworm": "yes"})
	s.call("POST", "/v1/clients/"+client+"/screenings", s.answers(map[string]string{"lice_ringworm": "yes"}), "Idempotency-Key", "asked").is(201, &made)
	require.Equal(t, "do_not_book", made.Outcome)
	stop := object{"reason": "skin", "outcome": "sent_to_doctor", "licensed": "Ada"}
	s.call("POST", "/v1/visits/"+v.ID+"/stop", stop, "Idempotency-Key", "stopped").is(201, nil)
	require.Equal(t, "true", s.call("POST", "/v1/visits/"+v.ID+"/stop", stop, "Idempotency-Key", "stopped").is(201, nil).header.Get("Idempotent-Replayed"))

	db := s.db()
	var kept int
	require.NoError(t, db.QueryRow(`SELECT count(*) FROM idempotency WHERE key IN ('seen', 'asked', 'stopped')`).Scan(&kept))
	require.Equal(t, 3, kept)
	for _, word := range []string{"refused", "positive", "do_not_book", "sent_to_doctor"} {
		require.NoError(t, db.QueryRow(`SELECT count(*) FROM idempotency WHERE convert_from(body, 'UTF8') LIKE '%' || $1 || '%'`, word).Scan(&kept))
		require.Zero(t, kept, word)
	}
	var in api.StopRequest
	raw, err := json.Marshal(stop)
	require.NoError(t, err)
	require.NoError(t, json.Unmarshal(raw, &in))
	raw, err = json.Marshal(in)
	require.NoError(t, err)
	guess := sha256.Sum256(raw)
	require.NoError(t, db.QueryRow(`SELECT count(*) FROM idempotency WHERE fingerprint = $1`, guess[:]).Scan(&kept))
	require.Zero(t, kept, "a few choices are soon tried")

	s.call("DELETE", "/v1/screenings/"+made.ID, nil).is(204, nil)
	var again map[string]string
	s.call("POST", "/v1/clients/"+client+"/screenings", s.answers(map[string]string{"lice_ringworm": "yes"}), "Idempotency-Key", "asked").is(201, &again)
	require.Equal(t, map[string]string{"id": made.ID}, again)
}

func TestAnOverrideNeedsAReasonALicensedPersonAndTheSalonsRule(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	v, _ := s.book(s.client("Mara"), start.Add(73*time.Hour), s.straightening())
	say := func(kind string, body object) answer {
		return s.call("POST", "/v1/visits/"+v.ID+"/needs/"+kind+"/override", body)
	}
	yes := object{"by": "Ada", "reason": "seen and agreed"}
	require.Equal(t, []string{"body /by"}, pointers(say("consultation", object{"by": "Mina", "reason": "seen"}).refused(422, "invalid")))
	require.Equal(t, []string{"body /reason"}, pointers(say("consultation", object{"by": "Ada", "reason": " "}).refused(422, "invalid")))
	require.Contains(t, say("patch_test", yes).refused(422, "refused").Detail, "no written rule")
	require.Contains(t, say("consent", yes).refused(422, "refused").Detail, "in the client's place")
	say("guardian", yes).refused(409, "conflict")
	say("deposit", yes).refused(409, "conflict")
	say("nothing", yes).refused(422, "invalid")
	say("consultation", yes).is(200, nil)
	say("consultation", yes).refused(409, "conflict")
	s.strict(object{"deposit_for": "nothing", "skin_test_override": true})
	say("patch_test", yes).is(200, nil)
	say("strand_test", yes).is(200, nil)
	require.Equal(t, "consultation overridden, patch_test overridden, strand_test overridden, consent missing", s.needed(v.ID))
	s.strict(object{"deposit_for": "nothing"})
	require.Contains(t, s.needed(v.ID), "patch_test missing", "without the written rule it counts no more")

	var list struct{ Items []api.OverrideBody }
	s.call("GET", "/v1/visits/"+v.ID+"/overrides", nil).is(200, &list)
	require.Len(t, list.Items, 3)
	require.Equal(t, "seen and agreed", list.Items[0].Reason)
	s.call("DELETE", "/v1/visits/"+v.ID+"/needs/consultation/override", nil).is(200, nil)
	s.call("DELETE", "/v1/visits/"+v.ID+"/needs/consultation/override", nil).refused(404, "not-found")
	require.Contains(t, s.needed(v.ID), "consultation missing")
}

func TestConsentCountsForTheWordingInUse(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(73*time.Hour), s.straightening())
	agree := func(version int) answer {
		return s.call("POST", "/v1/clients/"+client+"/consents", object{"wording_version": version, "given_by": "Mara Quist", "how": "written", "taken_by": "Ada"})
	}
	require.Equal(t, []string{"body /wording_version"}, pointers(agree(2).refused(422, "invalid")))
	agree(1).is(201, nil)
	require.Contains(t, s.needed(v.ID), "consent done")
	s.call("POST", "/v1/consent-wordings", object{"text": "Another wording."}).is(201, nil)
	require.Contains(t, s.needed(v.ID), "consent missing")
	agree(1).refused(422, "invalid")
	var c api.TreatmentConsentBody
	agree(2).is(201, nil)
	agree(2).is(201, &c)
	require.Contains(t, s.needed(v.ID), "consent done")
	s.call("POST", "/v1/consents/"+c.ID+"/withdraw", nil).is(200, nil)
	require.Contains(t, s.needed(v.ID), "consent missing")
	var list struct{ Items []api.WordingBody }
	s.call("GET", "/v1/consent-wordings", nil).is(200, &list)
	require.Len(t, list.Items, 2)
}

func TestTheDeskSeesWhatIsOpenByItsLatestTime(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	a, b := s.client("Mara"), s.client("Ines")
	s.complete(b)
	late, _ := s.book(a, start.Add(97*time.Hour), s.straightening())
	_, _ = s.book(b, start.Add(73*time.Hour), s.straightening())
	s.book(b, start.Add(24*9*time.Hour+time.Hour), []object{s.by(s.ben, "Dry cut")})
	list := func() (out api.ToDoList) {
		s.call("GET", "/v1/to-do", nil).is(200, &out)
		return out
	}
	got := list()
	require.Len(t, got.Items, 4)
	for i, kind := range []string{"patch_test", "consultation", "strand_test", "consent"} {
		require.Equal(t, kind, got.Items[i].Kind)
		require.Equal(t, late.ID, got.Items[i].VisitID)
		require.Equal(t, "mara@example.org", got.Items[i].Mail)
	}
	require.Zero(t, got.Overdue)
	s.at(got.Items[0].Latest.Add(time.Minute))
	got = list()
	require.Equal(t, 1, got.Overdue)
	require.Equal(t, 1, *got.Items[0].LongFor)
	var day api.DayBody
	s.call("GET", "/v1/days/2026-06-12", nil).is(200, &day)
	require.Equal(t, 4, *day.Visits[0].StillOpen)
	s.call("GET", "/v1/to-do?days=1", nil).is(200, &got)
	require.Empty(t, got.Items)
}

func TestAVisitLapsesByTheSalonsRuleWhenItsTimeIsOver(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	ctx := t.Context()
	s.strict(object{"deposit_for": "nothing", "lapse_when_overdue": []string{"patch_test"}})
	state := func(id string) string {
		var v api.VisitBody
		s.call("GET", "/v1/visits/"+id, nil).is(200, &v)
		return v.State
	}
	sweep := func() { require.NoError(t, s.server.LapseOverdue(ctx, s.row.ID)) }
	v, _ := s.book(s.client("Mara"), start.Add(97*time.Hour), s.straightening())
	tooLate, _ := s.book(s.client("Ines"), start.Add(26*time.Hour), s.straightening()) // after the latest time, with a yes
	latest := v.Start.Add(-48 * time.Hour)
	s.at(latest)
	sweep()
	require.Equal(t, "booked", state(v.ID), "the last minute still counts")
	s.at(latest.Add(time.Second))
	sweep()
	require.Equal(t, "cancelled", state(v.ID))
	require.Equal(t, "booked", state(tooLate.ID), "what was overdue when it was booked is left to the desk")
	var x api.VisitBody
	s.call("GET", "/v1/visits/"+v.ID, nil).is(200, &x)
	require.Contains(t, fmt.Sprint(x.Reminders), "cancelled")
	sweep()

	// Other rules, and visits whose test is there, stay.
	s.at(start)
	client := s.client("Greta")
	s.complete(client)
	ok, _ := s.book(client, start.Add(97*time.Hour), s.straightening())
	s.at(latest.Add(time.Hour))
	sweep()
	require.Equal(t, "booked", state(ok.ID))
	for _, wrong := range []*store.Sealer{nil, healthKey(t, 9)} {
		s.store.SealWith(wrong)
		require.Contains(t, s.needed(ok.ID), "patch_test missing")
		sweep()
		require.Equal(t, "booked", state(ok.ID), "a key that is not there cancels nothing")
	}
}

func TestAVisitIsPencilledUntilItsDeposit(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	hold := func(until string) answer {
		return s.call("POST", "/v1/holds", object{"start": start.Add(10*24*time.Hour + 2*time.Hour), "services": []object{s.by(s.ben, "Dry cut")}, "until_deposit": until},
			"Idempotency-Key", fmt.Sprintf("h%d", bookings.Add(1)))
	}
	var v api.VisitBody
	hold("2026-06-15").is(201, &v)
	require.Equal(t, "2026-06-16T00:00:00+02:00", v.HeldUntil.Format(time.RFC3339))
	for _, wrong := range []string{"2026-06-07", "2026-06-23", "2026-06-19", "2026-13-01"} {
		require.Equal(t, []string{"body /until_deposit"}, pointers(hold(wrong).refused(422, "invalid")), wrong)
	}
	hold("2026-06-18").refused(409, "taken")
	s.call("POST", "/v1/visits/"+v.ID+"/hold", object{"until_deposit": "2026-06-17"}, "If-Match", `"v1"`).is(200, &v)
	require.Equal(t, "2026-06-18T00:00:00+02:00", v.HeldUntil.Format(time.RFC3339))
}

func TestAWalkInForChemicalsBeginsWhenSheIsOnFile(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	s.at(start.Add(2 * time.Hour))
	cut := s.walkedIn("Dry cut")
	s.step(cut.ID, 0).is(200, nil)
	var v api.VisitBody
	s.walkIn("colour", object{"service_id": s.services["Root colour"], "given_name": "Vida", "approved_by": "Ben"}).is(201, &v)
	require.Equal(t, "patch_test missing, consent missing", s.needed(v.ID))
	s.step(v.ID, 0).refused(409, "not-ready")
	client := s.client("Vida")
	s.call("POST", "/v1/clients/"+client+"/consents", object{"wording_version": 1, "given_by": "herself", "how": "written", "taken_by": "Ada"}).is(201, nil)
	var x struct{ ID string }
	s.call("POST", "/v1/clients/"+client+"/skin-tests", object{"product": "Chestnut", "strength": "", "family": "colour", "place": "behind_the_ear", "by": "Ben", "put_on_at": start.Add(-60 * time.Hour)}).is(201, &x)
	s.readTest(x.ID, "negative", nil).is(201, nil)
	tag := s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")
	s.call("POST", "/v1/visits/"+v.ID+"/client", object{"client_id": client}, "If-Match", tag).is(200, nil)
	s.step(v.ID, 0).is(200, nil)
}

func TestNobodyIsGivenAStepThatSheDoesNotDo(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	set := func(id, name string, lead bool, skills []string, out ...string) {
		tag := s.call("GET", "/v1/staff/"+id, nil).header.Get("ETag")
		s.call("PUT", "/v1/staff/"+id, object{"name": name, "initials": name[:1], "may_lead": lead, "skills": skills, "leaves_out": append([]string{}, out...)}, "If-Match", tag).is(200, nil)
	}
	v, _ := s.book(s.client("Mara"), start.Add(73*time.Hour), s.straightening())
	helps := func(a api.OpeningsAnswer) bool { return len(a.Openings) > 0 }
	require.True(t, helps(s.openings(s.straightening(), nil)))
	// The assistant does not rinse: the stylist in charge does.
	set(s.mina, "Mina", false, []string{}, "rinse_1", "rinse_2")
	w, _ := s.book(s.client("Ines"), start.Add(97*time.Hour), s.straightening())
	for _, st := range w.Steps {
		for _, u := range st.Units {
			require.False(t, strings.HasPrefix(st.Kind, "rinse") && u.UnitID == s.mina, st.Kind)
		}
	}
	// Whoever does not apply solution is not in charge of a service that does.
	set(s.ada, "Ada", true, []string{"straightening", "cut"}, "apply")
	require.False(t, helps(s.openings(s.straightening(), nil)))
	require.True(t, helps(s.openings([]object{s.by(s.ada, "Dry cut")}, nil)))
	s.call("POST", "/v1/visits", object{"client_id": s.client("Nora"), "start": start.Add(121 * time.Hour), "services": s.straightening(), "approved_by": "Ben"}, "Idempotency-Key", "k").refused(422, "invalid")
	var day api.DayBody
	s.call("GET", "/v1/days/"+v.Start.Format(time.DateOnly), nil).is(200, &day)
	require.Contains(t, strings.Join(day.Conflicts, "; "), "Ada does not do “apply solution”")
	set(s.ada, "Ada", true, []string{"straightening", "cut"})
	require.True(t, helps(s.openings(s.straightening(), nil)))
}
