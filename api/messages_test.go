package api_test

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/emersion/go-smtp"
	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// failed makes the first message about a visit one that the mail server refused.
func (s *salon) failed(visit string) (id string) {
	s.t.Helper()
	require.NoError(s.t, s.db().QueryRow(`
		UPDATE reminder SET state = 'failed', done_at = now(), channel = 'mail', problem = 'refused' WHERE reminder_id = (
			SELECT min(reminder_id) FROM reminder WHERE visit_id = $1) RETURNING reminder_id`, visit).Scan(&id))
	return id
}

func (s *salon) messages(query string) (list []api.MessageBody, next string) {
	s.t.Helper()
	var out struct{ Items []api.MessageBody }
	a := s.call("GET", "/v1/messages"+query, nil).is(200, &out)
	_, next, _ = strings.Cut(a.header.Get("Link"), "?")
	next, _, _ = strings.Cut(next, ">")
	return out.Items, next
}

func TestAMessageThatWasRefusedIsListedAndSentAgainUnderItsID(t *testing.T) {
	s := longAgo(t)
	refuse := true
	p := s.deliver(func(to string) error {
		if refuse && strings.HasPrefix(to, "gone") {
			return &smtp.SMTPError{Code: 550, EnhancedCode: smtp.EnhancedCode{5, 1, 1}, Message: "no such person"}
		}
		return nil
	})
	v, _ := s.book(s.client("Gone"), begin.Add(2*time.Hour), []object{s.by(s.ada, "Dry cut")})
	w, _ := s.book(s.client("Mara"), begin.Add(2*time.Hour), []object{s.by(s.ben, "Dry cut")})
	s.settled(v.ID)
	sent := s.settled(w.ID)["confirmation"]
	list, next := s.messages("")
	require.Empty(t, next)
	require.NotEmpty(t, list)
	for _, m := range list {
		require.Equal(t, "failed", m.State)
		require.Equal(t, v.ID, m.VisitID)
		require.Len(t, m.Attempts, 1)
		a := m.Attempts[0]
		require.Equal(t, []any{1, "mail", "refused"}, []any{a.Number, a.Channel, a.Outcome})
		require.NotNil(t, a.Ended)
		require.NotContains(t, a.Problem+m.Problem, "gone@")
		require.NotContains(t, a.Problem+m.Problem, "no such person")
	}
	m := list[0]
	none, _ := s.messages("?first_date=2024-06-11")
	require.Empty(t, none)
	that, _ := s.messages("?state=failed&first_date=2024-06-10&last_date=2024-06-10")
	require.Len(t, that, len(list))
	others, _ := s.messages("?state=sent")
	require.NotEmpty(t, others)

	// One press sends it once, however often the browser repeats it.
	refuse = false
	before := len(p.taken())
	path := "/v1/messages/" + m.ID + "/again"
	var again api.MessageBody
	s.call("POST", path, nil, "Idempotency-Key", "press").is(200, &again)
	require.Contains(t, []string{"waiting", "sending"}, again.State)
	require.Equal(t, m.MessageID, again.MessageID)
	require.Equal(t, "sent", s.settled(v.ID)[m.Kind].State)
	s.call("POST", path, nil, "Idempotency-Key", "press").is(200, &again)
	letters := p.taken()
	require.Len(t, letters, before+1)
	require.Equal(t, "<"+m.MessageID+">", letters[before].id)
	that, _ = s.messages("?state=sent")
	for _, x := range that {
		if x.ID == m.ID {
			require.Equal(t, []string{"refused", "accepted"}, []string{x.Attempts[0].Outcome, x.Attempts[1].Outcome})
		}
	}

	p2 := s.call("POST", path, nil).refused(http.StatusConflict, "conflict")
	require.Contains(t, p2.Detail, "sent")
	s.call("POST", "/v1/messages/"+sent.ID+"/again", nil).refused(http.StatusConflict, "conflict")
	s.call("POST", "/v1/messages/nothing/again", nil).refused(http.StatusNotFound, "not-found")
}

func TestAMessageWithoutAReasonIsNotSentAgain(t *testing.T) {
	s := longAgo(t)
	v, tag := s.book(s.client("Mara"), begin.Add(73*time.Hour), s.cut())
	id := s.failed(v.ID)
	later, _ := s.book(s.client("Nora"), begin.Add(25*time.Hour), s.cut())
	late := s.failed(later.ID)
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	s.call("POST", "/v1/messages/"+id+"/again", nil).refused(http.StatusConflict, "conflict")
	list, _ := s.messages("?state=failed")
	require.Len(t, list, 1, "the other one went with its visit")
	require.Equal(t, late, list[0].ID)
	s.at(later.Start.Add(time.Hour))
	list, _ = s.messages("?last_date=2024-06-10")
	require.NotContains(t, messageIDs(list), late, "it would come too late")
	list, _ = s.messages("?state=failed")
	require.Equal(t, []string{late}, messageIDs(list))
	p := s.call("POST", "/v1/messages/"+late+"/again", nil).refused(http.StatusConflict, "conflict")
	require.Contains(t, p.Detail, "no reason")
	list, _ = s.messages("?state=failed")
	require.Empty(t, list)
	list, _ = s.messages("?state=withdrawn")
	require.Contains(t, messageIDs(list), late)
}

func messageIDs(list []api.MessageBody) (ids []string) {
	for _, m := range list {
		ids = append(ids, m.ID)
	}
	return ids
}

func TestMessagesComeInPagesAndHangingOnesAreSeen(t *testing.T) {
	s := longAgo(t)
	v, _ := s.book(s.client("Mara"), begin.Add(97*time.Hour), s.straightening())
	w, _ := s.book(s.client("Nora"), begin.Add(73*time.Hour), s.cut())
	ids := map[string]bool{}
	query, pages := "?limit=1&first_date=2024-06-01&last_date=2024-06-30", 0
	for query != "" {
		list, next := s.messages(query)
		require.True(t, next == "" || strings.Contains(next, "last_date=2024-06-30"), next)
		for _, m := range list {
			require.False(t, ids[m.ID], "twice")
			ids[m.ID] = true
			require.Equal(t, "waiting", m.State)
			require.NotNil(t, m.Attempts)
		}
		if query = next; query != "" {
			query = "?" + query
		}
		pages++
	}
	require.Len(t, ids, len(v.Reminders)+len(w.Reminders), "all should have gone out long ago")
	require.GreaterOrEqual(t, pages, len(ids))
	_, err := s.db().Exec(`UPDATE reminder SET state = 'sending', sending_at = now() - interval '3 minutes', tries = 1 WHERE visit_id = $1`, w.ID)
	require.NoError(t, err)
	list, _ := s.messages("?state=sending")
	require.Len(t, list, len(w.Reminders))
	require.NotNil(t, list[0].Sending)
	for query, pointer := range map[string]string{"?state=lost": "state", "?first_date=soon": "first_date", "?limit=0": "limit",
		"?first_date=2024-06-11&last_date=2024-06-10": "last_date"} {
		p := s.call("GET", "/v1/messages"+query, nil).refused(422, "invalid")
		require.Equal(t, []string{"query " + pointer}, pointers(p))
	}
}
