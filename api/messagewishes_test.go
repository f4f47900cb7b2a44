package api_test

import (
	"bytes"
	"encoding/json"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/notify"
	"chairblock/store"
)

// messageBodies are right requests about messages.
func messageBodies() map[string]any {
	return map[string]any{
		"set-message-rules": object{"quiet_from": "21:00", "quiet_to": "07:30", "not_sent": []string{"day_after"}, "language": "en", "dated_at": "11:00", "prepare_hours_before": 96,
			"reminder_hours_before": 30, "reminder_asks_yes": false, "yes_within_hours": 6, "retouch_again_weeks": 3, "late_minutes": 10, "late_by_itself": true, "tell_checks": true, "invitations_need_yes": true},
		"set-message-wishes": object{"language": "de", "voice_message_allowed": true, "agreed_kinds": []string{"retouch"}, "stopped_kinds": []string{"day_after"}, "stopped_ways": []string{"text"}},
		"set-language":       object{"document": languageFile("de")},
		"preview-message":    object{"kind": "reminder", "language": "de", "to_guardian": true},
		"note-yes":           object{"how": "call"},
	}
}

// languageFile is the English file under another tag.
func languageFile(tag string) json.RawMessage {
	var doc map[string]any
	if err := json.Unmarshal(notify.EnglishFile(), &doc); err != nil {
		panic(err) // the program's own file
	}
	doc["tag"] = tag
	out, err := json.Marshal(doc)
	if err != nil {
		panic(err)
	}
	return out
}

// language adds a language file and returns its ETag.
func (s *salon) language(tag string) string {
	s.t.Helper()
	return s.call("PUT", "/v1/languages/"+tag, object{"document": languageFile(tag)}).is(200, nil).header.Get("ETag")
}

// messageRules sets the salon's rules of messages.
func (s *salon) messageRules(rules object) {
	s.t.Helper()
	tag := s.call("GET", "/v1/message-rules", nil).header.Get("ETag")
	s.call("PUT", "/v1/message-rules", rules, "If-Match", tag).is(200, nil)
}

// wishes sets what a client wishes of messages.
func (s *salon) wishes(client string, w object) api.MessageWishesBody {
	s.t.Helper()
	path := "/v1/clients/" + client + "/message-wishes"
	var out api.MessageWishesBody
	s.call("PUT", path, w, "If-Match", s.call("GET", path, nil).header.Get("ETag")).is(200, &out)
	return out
}

func TestMessageRulesHaveDefaultsThatAnEmptyDocumentBringsBack(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var b api.MessageRules
	tag := s.call("GET", "/v1/message-rules", nil).is(200, &b).header.Get("ETag")
	def := api.MessageRules{QuietFrom: "20:00", QuietTo: "08:00", NotSent: []string{}, Language: "en", DatedAt: "10:00", PrepareHours: 72, ReminderHours: 24,
		AsksYes: new(true), YesWithinHours: 4, RetouchAgainWeeks: 4, LateMinutes: 15, LateByItself: new(false), TellChecks: new(false), InvitationsNeedYes: new(false)}
	require.Equal(t, def, b)
	full := messageBodies()["set-message-rules"]
	a := s.call("PUT", "/v1/message-rules", full, "If-Match", tag).is(200, &b)
	want, err := json.Marshal(full)
	require.NoError(t, err)
	require.JSONEq(t, string(want), string(a.body), "every field is kept")
	s.call("PUT", "/v1/message-rules", object{}, "If-Match", tag).refused(412, "stale")
	s.call("PUT", "/v1/message-rules", object{}).refused(428, "if-match")
	b = api.MessageRules{}
	s.call("PUT", "/v1/message-rules", object{}, "If-Match", a.header.Get("ETag")).is(200, &b)
	require.Equal(t, def, b)

	tag = s.call("GET", "/v1/message-rules", nil).header.Get("ETag")
	bad := object{"quiet_from": "25:00", "quiet_to": "24:00", "dated_at": "9", "language": "not a tag", "not_sent": []string{"reminder", "spam"}, "late_minutes": 4}
	require.Equal(t, []string{"body /quiet_from", "body /quiet_to", "body /dated_at", "body /language", "body /not_sent/1", "body /late_minutes"},
		pointers(s.call("PUT", "/v1/message-rules", bad, "If-Match", tag).refused(422, "invalid")))
	// Another salon's rules are its own.
	s.messageRules(object{"quiet_from": "22:00"})
	n := s.neighbour()
	b = api.MessageRules{}
	n.call("GET", "/v1/message-rules", nil).is(200, &b)
	require.Equal(t, def, b)
}

func TestWhatAClientWishesIsKeptBesideTheClient(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	path := "/v1/clients/" + client + "/message-wishes"
	var w api.MessageWishesBody
	tag := s.call("GET", path, nil).is(200, &w).header.Get("ETag")
	require.Equal(t, `"v1"`, tag)
	require.Equal(t, "client mail", w.SaidBy+" "+w.ContactBy)
	require.Len(t, w.Kinds, 13)
	for _, k := range w.Kinds {
		require.Equal(t, "mail", k.By, k.Kind)
	}
	desk := s.as(store.Desk)
	tag = desk.call("PUT", path, messageBodies()["set-message-wishes"], "If-Match", tag).is(200, &w).header.Get("ETag")
	require.Equal(t, "de", w.Language)
	require.True(t, w.Voice)
	require.Equal(t, []string{"retouch"}, w.Agreed)
	require.Equal(t, []string{"day_after"}, w.Stopped)
	require.Equal(t, []string{"text"}, w.Ways)
	require.Len(t, w.History, 3)
	for _, h := range w.History {
		require.Equal(t, "desk desk client", h.How+" "+h.NotedBy+" "+h.SaidBy)
		require.True(t, h.At.Equal(start))
	}
	desk.call("PUT", path, object{}, "If-Match", `"v1"`).refused(412, "stale")
	// The client herself is changed without them.
	s.call("PUT", "/v1/clients/"+client, object{"given_name": "Mara", "mail": "mara@example.org"}, "If-Match", `"v1"`).is(200, nil)
	var again api.MessageWishesBody
	require.Equal(t, tag, s.call("GET", path, nil).is(200, &again).header.Get("ETag"))
	require.Equal(t, w.History, again.History)
	// Left out is nothing said; what was said before stays on record.
	w = api.MessageWishesBody{}
	desk.call("PUT", path, object{"agreed_kinds": []string{"day_after"}}, "If-Match", tag).is(200, &w)
	require.Empty(t, w.Language+"", w.Stopped)
	require.Equal(t, []string{"day_after"}, w.Agreed)
	require.Len(t, w.History, 6)

	tag = s.call("GET", path, nil).header.Get("ETag")
	bad := object{"language": "x y", "agreed_kinds": []string{"retouch", "check_due", "nothing"}, "stopped_kinds": []string{"retouch"}}
	require.Equal(t, []string{"body /language", "body /agreed_kinds/1", "body /agreed_kinds/2", "body /stopped_kinds/0"},
		pointers(s.call("PUT", path, bad, "If-Match", tag).refused(422, "invalid")))
	s.call("GET", "/v1/clients/"+store.NewID()+"/message-wishes", nil).refused(404, "not-found")
}

func TestAGuardiansWordCountsAsLongAsTheClientIsAMinor(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.client("Mara")
	s.wishes(client, object{"stopped_kinds": []string{"aftercare"}})
	s.call("PUT", "/v1/clients/"+client+"/minor", object{"minor_until": "2026-06-20", "guardian_name": "Rosa Quist", "guardian_mail": "rosa@example.org"}).is(200, nil)
	w := s.wishes(client, object{"stopped_kinds": []string{"retouch"}})
	require.Equal(t, "guardian", w.SaidBy)
	require.Equal(t, []string{"retouch"}, w.Stopped, "her own word is not the guardian's")
	s.at(start.AddDate(0, 0, 30))
	s.call("GET", "/v1/clients/"+client+"/message-wishes", nil).is(200, &w)
	require.Equal(t, "client", w.SaidBy)
	require.Equal(t, []string{"aftercare"}, w.Stopped)
}

func TestWhatBecomesOfAMessageFollowsFromWayWordAndRules(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	by := func(client, kind string) string {
		var w api.MessageWishesBody
		s.call("GET", "/v1/clients/"+client+"/message-wishes", nil).is(200, &w)
		for _, k := range w.Kinds {
			if k.Kind == kind {
				return k.By
			}
		}
		return "missing"
	}
	add := func(more object) string {
		var c api.ClientBody
		body := object{"given_name": "Mara"}
		for k, v := range more {
			body[k] = v
		}
		s.call("POST", "/v1/clients", body).is(201, &c)
		return c.ID
	}
	mail, phone := "mara@example.org", "+4930901820"
	both := add(object{"mail": mail, "phone": phone})
	for _, x := range []struct {
		client string
		want   string
	}{
		{both, "mail"}, {add(object{"mail": mail}), "mail"}, {add(object{"phone": phone, "contact_by": "call"}), "call"},
		{add(object{"phone": phone, "contact_by": "text"}), "call"}, {add(object{"phone": phone, "contact_by": "none"}), "none"}, {add(nil), "none"},
	} {
		require.Equal(t, x.want, by(x.client, "reminder"))
	}
	s.wishes(both, object{"stopped_ways": []string{"mail"}})
	require.Equal(t, "none", by(both, "reminder"))
	require.Equal(t, "call", by(both, "cancelled"), "who stops messages is called before she comes for nothing")
	s.wishes(both, object{"stopped_kinds": []string{"moved", "retouch"}})
	require.Equal(t, "call mail none mail", by(both, "moved")+" "+by(both, "cancelled")+" "+by(both, "retouch")+" "+by(both, "first_wash"))
	s.messageRules(object{"invitations_need_yes": true, "not_sent": []string{"aftercare"}})
	s.wishes(both, object{"agreed_kinds": []string{"retouch"}})
	require.Equal(t, "mail none none mail", by(both, "retouch")+" "+by(both, "first_wash")+" "+by(both, "aftercare")+" "+by(both, "day_after"))
}

func TestTheDeskNotesThatAClientComes(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	v, tag := s.book(s.client("Mara"), start.Add(49*time.Hour), s.cut())
	require.Nil(t, v.SaidYesAt)
	path := "/v1/visits/" + v.ID + "/yes"
	tag2 := s.call("POST", path, object{"how": "call"}).is(200, &v).header.Get("ETag")
	require.True(t, v.SaidYesAt.Equal(start))
	require.NotEqual(t, tag, tag2)
	require.Equal(t, tag2, s.call("POST", path, object{"how": "text"}).is(200, nil).header.Get("ETag"), "once is enough")
	s.call("DELETE", path, nil).is(200, nil)
	s.call("DELETE", path, nil).refused(409, "conflict")
	var got api.VisitBody
	tag = s.call("POST", path, object{"how": "call"}).is(200, nil).header.Get("ETag")
	tag = s.call("POST", "/v1/visits/"+v.ID+"/move", object{"start": v.Start.Add(time.Hour)}, "If-Match", tag).is(200, &got).header.Get("ETag")
	require.Nil(t, got.SaidYesAt, "she has said nothing of the new time")
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", tag).is(200, nil)
	require.Contains(t, s.call("POST", path, object{"how": "call"}).refused(409, "conflict").Detail, "cancelled")
	s.call("POST", path, object{"how": "smoke"}).refused(422, "invalid")
}

func TestASalonWritesInItsOwnWords(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	var en api.LanguageBody
	a := s.call("GET", "/v1/languages/EN", nil).is(200, &en)
	require.True(t, en.Shipped)
	require.Empty(t, a.header.Get("ETag"))
	require.JSONEq(t, string(notify.EnglishFile()), string(en.Document))
	s.call("GET", "/v1/languages/de", nil).refused(404, "not-found")
	s.call("GET", "/v1/languages/d", nil).refused(422, "invalid")
	tag := s.language("de")
	s.call("PUT", "/v1/languages/de", object{"document": languageFile("de")}).refused(428, "if-match")
	s.call("PUT", "/v1/languages/de", object{"document": languageFile("de")}, "If-Match", `"v999999"`).refused(412, "stale")
	own := bytes.ReplaceAll(languageFile("de"), []byte("Hello"), []byte("Moin"))
	require.NotEqual(t, string(languageFile("de")), string(own))
	s.call("PUT", "/v1/languages/de", object{"document": json.RawMessage(own)}, "If-Match", tag).is(200, nil)
	preview := func(language string) (p api.MessagePreviewBody) {
		s.call("POST", "/v1/message-preview", object{"kind": "reminder", "language": language}).is(200, &p)
		return p
	}
	require.Contains(t, preview("de").Text, "Moin")
	require.Contains(t, preview("de-at").Text, "Moin", "a region that has no file of its own")
	require.Equal(t, "en", preview("fr").Language)
	require.Equal(t, "en", preview("").Language)
	s.messageRules(object{"language": "de"})
	require.Equal(t, "de", preview("fr").Language, "the salon's before English")

	faulty := func(tag string, doc any) []string {
		return pointers(s.call("PUT", "/v1/languages/"+tag, object{"document": doc}).refused(422, "invalid"))
	}
	require.Equal(t, []string{"body /document/tag"}, faulty("fr", languageFile("es")))
	require.NotEmpty(t, faulty("fr", object{"tag": "fr"}))
	require.NotEmpty(t, faulty("fr", "texts"))
	require.NotEmpty(t, faulty("fr", nil))
	var list struct{ Items []api.LanguageInList }
	s.call("GET", "/v1/languages", nil).is(200, &list)
	require.Len(t, list.Items, 2)
	require.Equal(t, "en de", list.Items[0].Tag+" "+list.Items[1].Tag)
	require.True(t, list.Items[0].Shipped && list.Items[1].Used)
	// Another salon has none of it.
	n := s.neighbour()
	n.call("GET", "/v1/languages/de", nil).refused(404, "not-found")
	tag = s.call("GET", "/v1/languages/de", nil).header.Get("ETag")
	s.call("DELETE", "/v1/languages/de", nil, "If-Match", tag).is(204, nil)
	require.Equal(t, "en", preview("de").Language)
	s.call("DELETE", "/v1/languages/en", nil, "If-Match", `"v1"`).refused(404, "not-found")
}

func TestEveryMessageCanBeSeenBeforehand(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	for _, kind := range notify.Kinds() {
		var p api.MessagePreviewBody
		s.call("POST", "/v1/message-preview", object{"kind": kind}).is(200, &p)
		require.NotEmpty(t, p.Subject, kind)
		require.NotEmpty(t, p.Text, kind)
		require.Contains(t, p.HTML, "<html", kind)
		require.NotEmpty(t, p.Short, kind)
		require.LessOrEqual(t, len([]rune(p.Short)), 459, kind)
	}
	require.Equal(t, []string{"body /kind", "body /language"}, pointers(s.call("POST", "/v1/message-preview", object{"kind": "spam", "language": "!"}).refused(422, "invalid")))
}
