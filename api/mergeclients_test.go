package api_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// merged puts the file other onto keep.
func (s *salon) merged(keep, other string, more ...string) answer {
	s.t.Helper()
	tag := s.call("GET", "/v1/clients/"+keep, nil).header.Get("ETag")
	p := s.call("GET", "/v1/clients/"+keep+"/merge?other_id="+other, nil)
	require.Equal(s.t, tag, p.header.Get("ETag"))
	var preview api.MergePreviewBody
	p.is(200, &preview)
	return s.call("POST", "/v1/clients/"+keep+"/merge", object{"other_id": other, "other_version": preview.Other.Version}, append([]string{"If-Match", tag}, more...)...)
}

func TestTwoFilesOfOnePersonBecomeOne(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	keep, other := s.client("Mara"), s.client("Marah")
	begun := *s.clock.Load()
	first, _ := s.book(keep, start.Add(97*time.Hour), s.straightening())
	moved, _ := s.book(other, start.Add(25*time.Hour), s.straightening())
	s.fact(moved)
	s.screened(keep, nil)
	s.at(begun.Add(time.Hour))
	strict := s.screened(other, map[string]string{"perm": "yes"})
	s.call("POST", "/v1/clients/"+other+"/skin-tests", needBodies("")["add-skin-test"]).is(201, nil)
	w := s.waits(other, nil)
	s.wishes(keep, object{"language": "", "voice_message_allowed": true, "agreed_kinds": []string{"retouch"}, "stopped_kinds": []string{"day_after"}, "stopped_ways": []string{}})
	s.wishes(other, object{"language": "de", "voice_message_allowed": false, "agreed_kinds": []string{"day_after"}, "stopped_kinds": []string{"retouch"}, "stopped_ways": []string{"text"}})
	var l api.OwnLinkBody
	s.call("POST", "/v1/clients/"+other+"/own-links", object{}).is(201, &l)
	hers := s.feed("client", other)
	hers.ask("GET").is(200, nil)
	message, _ := s.linkIn(moved.ID, "confirmation")
	_, ok := s.bundle(message)
	require.True(t, ok)
	before := s.contactChanges(keep)

	var p api.MergePreviewBody
	s.call("GET", "/v1/clients/"+keep+"/merge?other_id="+other, nil).is(200, &p)
	require.Empty(t, p.Twice)
	require.Equal(t, []int{1, 0, 1, 1, 1, 1, 1, 1}, []int{p.Other.Coming, p.Other.Past, p.Other.Cards, p.Other.Waiting, p.Other.Screenings, p.Other.Tests, p.Other.Links, p.Other.Feeds})
	text := strings.Join(p.Words, ". ")
	for _, says := range []string{"1 visit to come", "1 record card", "1 consultation with its date", "lead nowhere afterwards: 1 link to her own pages, 1 calendar address", "nothing of this can be undone"} {
		require.Contains(t, text, says)
	}
	s.at(begun.Add(2 * time.Hour))
	key := []string{"Idempotency-Key", "one"}
	var c api.ClientBody
	tag := s.call("GET", "/v1/clients/"+keep, nil).header.Get("ETag")
	body := object{"other_id": other, "other_version": p.Other.Version}
	s.call("POST", "/v1/clients/"+keep+"/merge", body, append(key, "If-Match", tag)...).is(200, &c)
	require.Equal(t, "mara@example.org", c.Mail)
	s.call("POST", "/v1/clients/"+keep+"/merge", body, append(key, "If-Match", tag)...).is(200, nil) // pressed twice

	s.call("GET", "/v1/clients/"+other, nil).refused(404, "not-found")
	var v api.VisitBody
	s.call("GET", "/v1/visits/"+moved.ID, nil).is(200, &v)
	require.Equal(t, keep, v.ClientID)
	var card struct{ Facts []struct{ Kind string } }
	s.call("GET", "/v1/visits/"+moved.ID+"/card", nil).is(200, &card)
	require.NotEmpty(t, card.Facts, "the card stays with its visit")
	s.call("GET", "/v1/waiting-list/"+w.ID, nil).is(200, &w)
	require.Equal(t, keep, w.ClientID)

	// Both consultations keep their dates, and what is sealed can be read.
	var screenings struct{ Items []api.ScreeningBody }
	s.call("GET", "/v1/clients/"+keep+"/screenings", nil).is(200, &screenings)
	require.Len(t, screenings.Items, 2)
	require.Equal(t, strict.ID, screenings.Items[0].ID)
	require.True(t, screenings.Items[0].Made.Equal(begun.Add(time.Hour)) && screenings.Items[1].Made.Equal(begun), "%v", screenings.Items)
	lead := s.asPerson(store.LeadRole, s.ada)
	read := lead.call("GET", "/v1/screenings/"+strict.ID, nil).is(200, nil)
	require.Contains(t, string(read.body), "perm")
	var tests struct{ Items []struct{ Product string } }
	s.call("GET", "/v1/clients/"+keep+"/skin-tests", nil).is(200, &tests)
	require.Len(t, tests.Items, 1)
	require.NotEmpty(t, tests.Items[0].Product)

	// The stricter of both wishes holds.
	wish := s.wishesOf(keep)
	require.Equal(t, []string{"day_after", "retouch"}, wish.Stopped)
	require.Empty(t, wish.Agreed)
	require.Equal(t, []string{"text"}, wish.Ways)
	require.False(t, wish.Voice)
	require.Equal(t, "de", wish.Language)

	// What the erased file gave out leads nowhere.
	hers.ask("GET").is(404, nil)
	resp, _ := s.web("POST", strings.TrimPrefix(l.URL, "http://127.0.0.1"), formType, "")
	require.Equal(t, 404, resp.StatusCode)
	_, ok = s.bundle(message)
	require.False(t, ok)
	changes := s.contactChanges(keep)
	require.Len(t, changes, len(before)+1)
	require.Equal(t, "being_told", changes[0].Told)
	told := append(s.tellings(first.ID), s.tellings(moved.ID)...)
	require.Len(t, told, 1)
	m, _ := s.worked(&outbox{}, told[0])
	require.Equal(t, "marah@example.org", m.To.Address, "she is told at the address of the erased file")
	n := 0
	require.NoError(t, s.db().QueryRow(`SELECT count(*) FROM client WHERE client_id = $1`, other).Scan(&n))
	require.Zero(t, n)
}

func TestTwoFilesAreNotPutTogetherBlindly(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	keep, other := s.client("Mara"), s.client("Marah")
	v, _ := s.book(keep, start.Add(97*time.Hour), []object{s.by(s.ben, "Dry cut")})
	_, _ = s.book(other, start.Add(97*time.Hour), []object{s.by(s.ada, "Dry cut")})
	require.Contains(t, s.merged(keep, other).refused(409, "conflict").Detail, "both files have a visit at one time")
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")).is(200, nil)

	path, tag := "/v1/clients/"+keep+"/merge", s.call("GET", "/v1/clients/"+keep, nil).header.Get("ETag")
	s.call("POST", path, object{"other_id": keep, "other_version": 1}, "If-Match", tag).refused(422, "invalid")
	s.call("POST", path, object{"other_id": store.NewID(), "other_version": 1}, "If-Match", tag).refused(422, "invalid")
	s.call("POST", path, object{"other_id": other, "other_version": 7}, "If-Match", tag).refused(412, "stale")
	s.call("POST", path, object{"other_id": other, "other_version": 1}, "If-Match", `"v9"`).refused(412, "stale")
	s.call("POST", "/v1/clients/"+store.NewID()+"/merge", object{"other_id": other, "other_version": 1}, "If-Match", tag).refused(404, "not-found")
	s.call("GET", path+"?other_id="+keep, nil).refused(422, "invalid")

	// Without the key nothing that is sealed can be moved, and then nothing is.
	s.call("POST", "/v1/clients/"+other+"/skin-tests", needBodies("")["add-skin-test"]).is(201, nil)
	_, err := s.db().Exec(`UPDATE test_record SET sealed = set_byte(sealed, 0, (get_byte(sealed, 0) + 1) % 256)`)
	require.NoError(t, err)
	a := s.merged(keep, other)
	require.GreaterOrEqual(t, a.status, 400, fmt.Sprint(a.status))
	s.call("GET", "/v1/clients/"+other, nil).is(200, nil)

	// Where one file says nothing of messages, that is no wish; where it says none, it is.
	third := s.client("Maria")
	s.rewrite(third, object{"contact_by": "none"})
	var c api.ClientBody
	s.merged(keep, third).is(200, &c)
	require.Equal(t, "none", c.ContactBy)
	var bare api.ClientBody
	s.call("POST", "/v1/clients", object{"given_name": "Lia", "phone": "+4930901820"}).is(201, &bare)
	fourth := s.client("Lia")
	s.merged(bare.ID, fourth).is(200, &c)
	require.Equal(t, []string{"mail", "lia@example.org", "+4930901820"}, []string{c.ContactBy, c.Mail, c.Phone})
}
