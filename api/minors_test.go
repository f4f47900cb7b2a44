package api_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

func TestAMinorIsBookedWithAGuardianAndTheLicensedYes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	minor := func(change object) answer {
		body := object{"minor_until": "2028-03-01"}
		for k, v := range change {
			body[k] = v
		}
		path := "/v1/clients/" + client + "/minor"
		return s.call("PUT", path, body, s.ifThere(path)...)
	}
	require.Equal(t, []string{"body /minor_until"}, pointers(minor(object{"minor_until": "2042-06-09"}).refused(422, "invalid")))
	require.Equal(t, []string{"body /contact_by"}, pointers(minor(object{"contact_by": "call"}).refused(422, "invalid")))
	minor(nil).is(200, nil)
	var c api.ClientBody
	s.as(store.Desk).call("GET", "/v1/clients/"+client, nil).is(200, &c)
	require.True(t, c.Minor)
	ask := object{"client_id": client, "start": start.Add(73 * time.Hour), "services": s.straightening()}
	book := func(key string) answer { return s.call("POST", "/v1/visits", ask, "Idempotency-Key", key) }
	require.Equal(t, []string{"body /client_id"}, pointers(book("a").refused(422, "invalid")))
	minor(object{"guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}).is(200, nil)
	require.Contains(t, book("b").refused(422, "refused").Detail, "a minor")
	ask["approved_by"] = "Ada"
	var v api.VisitBody
	book("c").is(201, &v)
	require.Contains(t, s.needed(v.ID), "guardian missing")
	p := s.call("POST", "/v1/visits/"+v.ID+"/needs/guardian/override", object{"by": "Ada", "reason": "she is nearly sixteen"}).refused(422, "refused")
	require.Contains(t, p.Detail, "in the guardian's place")
	var yes api.GuardianYesBody
	s.call("POST", "/v1/visits/"+v.ID+"/guardian-yes", object{"how": "phone", "taken_by": "Ada"}).is(201, &yes)
	require.Equal(t, "Rosa Quist", yes.GivenBy)
	require.Contains(t, s.needed(v.ID), "guardian waiting", "the yes to what the booking asked is none to treating a minor")
	s.call("POST", "/v1/visits/"+v.ID+"/guardian-yes", object{"how": "phone", "taken_by": "Ada", "approved_by": "Ada"}).is(201, &yes)
	require.Contains(t, s.needed(v.ID), "guardian done")
	s.call("POST", "/v1/consents/"+yes.ID+"/withdraw", nil).is(200, nil) // with the first one
	require.Contains(t, s.needed(v.ID), "guardian missing")
	s.call("POST", "/v1/consents/"+yes.ID+"/withdraw", nil).refused(404, "not-found")

	// From the day on which she is old enough nobody answers for her.
	s.strict(object{"deposit_for": "nothing", "consent_age": 14})
	require.NotContains(t, s.needed(v.ID), "guardian")
	var m api.MinorBody
	s.call("GET", "/v1/clients/"+client+"/minor", nil).is(200, &m)
	require.False(t, m.Minor)
}

// ifThere is the header that changes what stands at a path, none where nothing does.
func (s *salon) ifThere(path string) []string {
	s.t.Helper()
	if a := s.call("GET", path, nil); a.status == 200 {
		return []string{"If-Match", a.header.Get("ETag")}
	}
	return nil
}

func TestNobodyWritesOverAGuardianWhomSomebodyElseHasNoted(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	path := "/v1/clients/" + s.client("Mara") + "/minor"
	body := object{"minor_until": "2028-03-01", "guardian_name": "Rosa Quist", "guardian_phone": "+4930901820"}
	s.call("PUT", path, body, "If-Match", `"v1"`).refused(412, "stale") // nothing is there to be changed
	tag := s.call("PUT", path, body).is(200, nil).header.Get("ETag")
	s.call("PUT", path, body).refused(428, "if-match")
	body["guardian_phone"] = "+4930901821"
	s.call("PUT", path, body, "If-Match", tag).is(200, nil)
	body["guardian_phone"] = "+4930901820" // the other desk still has the page of before
	s.call("PUT", path, body, "If-Match", tag).refused(412, "stale")
	var m api.MinorBody
	s.call("GET", path, nil).is(200, &m)
	require.Equal(t, "+4930901821", m.Phone)
}

func TestNobodyEndsAMinorsStatusWithoutTheLicensedPersonAndAReason(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	path := "/v1/clients/" + s.client("Mara") + "/minor"
	desk := s.as(store.Desk)
	put := func(until string, more object) answer {
		body := object{"minor_until": until}
		for k, v := range more {
			body[k] = v
		}
		return desk.call("PUT", path, body, desk.ifThere(path)...)
	}
	put("2028-03-01", nil).is(200, nil)
	put("2028-03-01", object{"guardian_name": "Rosa Quist"}).is(200, nil)
	put("2028-04-01", nil).is(200, nil) // asks for the guardian for longer
	for _, until := range []string{"2028-03-31", "2020-01-01"} {
		require.ElementsMatch(t, []string{"body /approved_by", "body /reason"}, pointers(put(until, nil).refused(422, "invalid")))
		require.Equal(t, []string{"body /reason"}, pointers(put(until, object{"approved_by": "Ada", "reason": " "}).refused(422, "invalid")))
		require.Equal(t, []string{"body /approved_by"}, pointers(put(until, object{"approved_by": "Mina", "reason": "a slip"}).refused(422, "invalid")))
	}
	require.ElementsMatch(t, []string{"query approved_by", "query reason"}, pointers(desk.call("DELETE", path, nil).refused(422, "invalid")))
	require.Equal(t, []string{"query approved_by"}, pointers(desk.call("DELETE", path+"?approved_by=Mina&reason=a+slip", nil).refused(422, "invalid")))

	put("2028-03-31", object{"approved_by": "Ada", "reason": "her papers say so"}).is(200, nil)
	desk.call("DELETE", path+"?approved_by=Ada&reason=another+client", nil).is(204, nil)
	desk.call("DELETE", path+"?approved_by=Ada&reason=another+client", nil).refused(404, "not-found")
	put("2020-01-01", nil).is(200, nil) // nobody was asked for before
	put("2019-01-01", nil).is(200, nil)
	var m api.MinorBody
	desk.call("GET", path, nil).is(200, &m)
	var got []string
	for _, c := range m.Changes {
		require.Equal(t, "desk", c.NotedBy)
		got = append(got, c.Was+" > "+c.Until+" "+c.ApprovedBy+": "+c.Reason)
	}
	require.Equal(t, []string{" > 2028-03-01 : ", "2028-03-01 > 2028-03-01 : ", "2028-03-01 > 2028-04-01 : ", "2028-04-01 > 2028-03-31 Ada: her papers say so",
		"2028-03-31 >  Ada: another client", " > 2020-01-01 : ", "2020-01-01 > 2019-01-01 : "}, got)
}

func TestMessagesOfAMinorGoToTheGuardianAndSayWhatIsNeeded(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	post := s.deliver(nil)
	client := s.client("Mara")
	s.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2028-03-01", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}).is(200, nil)
	s.book(client, start.Add(73*time.Hour), s.straightening())
	require.Eventually(t, func() bool { return len(post.taken()) == 3 }, time.Minute, 20*time.Millisecond)
	for _, m := range post.taken() { // confirmation, how to prepare, reminder
		require.Equal(t, "rosa@example.org", m.to)
		require.Contains(t, m.text, "Hello Rosa,")
		for _, word := range []string{"a skin test", "a strand test", "a consultation", "the guardian's yes", "consent"} {
			require.Contains(t, m.text, word)
		}
	}
}

func TestAMessageDoesNotAskTheGuardianForWhatTheLicensedPersonHasToSay(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	s.strict(object{"deposit_for": "nothing"})
	client := s.client("Mara")
	s.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2028-03-01", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}).is(200, nil)
	var v api.VisitBody
	s.call("POST", "/v1/visits", object{"client_id": client, "start": start.Add(73 * time.Hour), "services": s.straightening(), "approved_by": "Ada"}, "Idempotency-Key", "a").is(201, &v)
	s.call("POST", "/v1/visits/"+v.ID+"/guardian-yes", object{"how": "phone", "taken_by": "Ada"}).is(201, nil)
	require.Contains(t, s.needed(v.ID), "guardian waiting")
	post := s.deliver(nil)
	require.Eventually(t, func() bool { return len(post.taken()) == 3 }, time.Minute, 20*time.Millisecond)
	for _, m := range post.taken() {
		require.NotContains(t, m.text, "licensed")
		require.NotContains(t, m.text, "guardian's yes")
		require.Contains(t, m.text, "- a skin test, by ")
	}
}
