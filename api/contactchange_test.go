package api_test

import (
	"encoding/json"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// tellings are the messages in line that tell an old address.
func (s *salon) tellings(visit string) (list []store.Due) {
	s.t.Helper()
	require.NoError(s.t, s.store.InTx(s.t.Context(), s.row.ID, func(t *store.Tx) error {
		rows, err := t.RemindersOf(s.t.Context(), visit)
		if err != nil {
			return err
		}
		n, err := t.SalonRow(s.t.Context())
		for _, r := range rows {
			if r.Kind == store.KindAddressChanged && r.State == store.Waiting {
				list = append(list, store.Due{Salon: n, Reminder: r})
			}
		}
		return err
	}))
	return list
}

// rewrite changes a client as the desk does.
func (s *salon) rewrite(client string, change object) {
	s.t.Helper()
	var body object
	tag := s.call("GET", "/v1/clients/"+client, nil).is(200, &body).header.Get("ETag")
	for _, name := range []string{"id", "minor"} {
		delete(body, name)
	}
	for k, v := range change {
		body[k] = v
	}
	s.call("PUT", "/v1/clients/"+client, body, "If-Match", tag).is(200, nil)
}

// bundle is what a client gets of her own file by the link of a message; ok is false
// when the link leads to no page.
func (s *salon) bundle(path string) (b api.OwnBundle, ok bool) {
	s.t.Helper()
	resp, _ := s.web("POST", path+"/own", formType, "", "Sec-Fetch-Site", "same-origin")
	if resp.StatusCode != 303 {
		require.Equal(s.t, 404, resp.StatusCode)
		return b, false
	}
	resp, text := s.web("GET", "/own/about/everything.json", "", "", "Cookie", resp.Cookies[0].Name+"="+resp.Cookies[0].Value)
	require.Equal(s.t, 200, resp.StatusCode)
	require.NoError(s.t, json.Unmarshal([]byte(text), &b))
	return b, true
}

func (s *salon) contactChanges(client string) []api.ContactChangeBody {
	s.t.Helper()
	var o api.ClientOverview
	s.call("GET", "/v1/clients/"+client+"/overview", nil).is(200, &o)
	return o.Contact
}

func TestWhoChangesAClientsAddressGetsNothingOfHerHealthByIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	v, _ := s.book(mara, start.Add(97*time.Hour), s.straightening())
	s.call("POST", "/v1/clients/"+mara+"/skin-tests", object{"product": "Soft Wave", "strength": "N", "place": "inner_elbow", "by": s.ada}).is(201, nil)
	hers, _ := s.linkIn(v.ID, "confirmation")
	b, ok := s.bundle(hers)
	require.True(t, ok)
	require.Len(t, b.Tests, 1)
	require.Empty(t, s.contactChanges(mara))
	s.rewrite(mara, object{"given_name": "Maria"})
	require.Empty(t, s.tellings(v.ID), "her name is no address")

	s.clock.Store(new(s.clock.Load().Add(time.Minute)))
	before := b.Client.Mail
	s.rewrite(mara, object{"mail": "somebody@example.org"})
	_, ok = s.bundle(hers)
	require.False(t, ok, "what went to the old address leads nowhere")
	s.clock.Store(new(s.clock.Load().Add(time.Minute)))
	fresh, _ := s.linkIn(v.ID, "prepare")
	b, ok = s.bundle(fresh)
	require.True(t, ok)
	require.Empty(t, b.Tests, "nothing of health for a week")
	require.Contains(t, b.LeftOut, "changed the address")
	require.Len(t, b.Visits, 1)

	list := s.tellings(v.ID)
	require.Len(t, list, 1)
	require.Equal(t, "being_told", s.contactChanges(mara)[0].Told)
	s.call("POST", "/v1/visits/"+v.ID+"/cancel", nil, "If-Match", s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag"))
	o := &outbox{}
	m, state := s.worked(o, list[0])
	require.Equal(t, store.Sent, state, "also beside a visit that is off")
	require.Equal(t, before, m.To.Address)
	require.Empty(t, m.To.Name)
	require.Contains(t, m.Text, "If you have not asked for that, please call Harbour Chairs")
	for _, hidden := range []string{"somebody@example.org", "Mara", "Maria", "/m/"} {
		require.NotContains(t, m.Text+m.Subject, hidden)
	}
	changes := s.contactChanges(mara)
	require.Len(t, changes, 1)
	require.Equal(t, api.ContactChangeBody{Way: "mail", Changed: changes[0].Changed, By: "owner", Told: "told"}, changes[0])

	s.clock.Store(new(s.clock.Load().Add(7 * 24 * time.Hour)))
	b, _ = s.bundle(fresh)
	require.Len(t, b.Tests, 1, "a week later it is hers")
}

func TestAnAddressThatIsTakenOutAndPutInAnewIsToldAllTheSame(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	v, _ := s.book(mara, start.Add(97*time.Hour), s.straightening())
	s.rewrite(mara, object{"mail": "", "contact_by": "none"})
	require.Len(t, s.tellings(v.ID), 1)
	s.rewrite(mara, object{"mail": "somebody@example.org", "contact_by": "mail"})
	require.Len(t, s.tellings(v.ID), 1, "there was none to be told")
	s.clock.Store(new(s.clock.Load().Add(time.Minute)))
	path, _ := s.linkIn(v.ID, "confirmation")
	b, ok := s.bundle(path)
	require.True(t, ok)
	require.NotEmpty(t, b.LeftOut)
	require.Len(t, s.contactChanges(mara), 2)

	// Somebody answers for her, as is said: she is told at her own address.
	s.call("PUT", "/v1/clients/"+mara+"/minor", object{"minor_until": "2030-01-01", "guardian_name": "Orla Moon", "guardian_mail": "orla@example.org", "contact_by": "mail"}).is(200, nil)
	list := s.tellings(v.ID)
	require.Len(t, list, 2)
	m, state := s.worked(&outbox{}, list[1])
	require.Equal(t, store.Sent, state)
	require.Equal(t, "somebody@example.org", m.To.Address)
	require.True(t, s.contactChanges(mara)[0].Guardian)
	require.Equal(t, list[1].Reminder.MessageID, m.MessageID)
}

func TestWhoTakesAMinorBackGetsNothingOfHerHealthByIt(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara := s.client("Mara")
	v, _ := s.book(mara, start.Add((97+28*24)*time.Hour), s.straightening())
	s.call("POST", "/v1/clients/"+mara+"/skin-tests", object{"product": "Soft Wave", "strength": "N", "place": "inner_elbow", "by": s.ada}).is(201, nil)
	s.call("PUT", "/v1/clients/"+mara+"/minor", object{"minor_until": "2030-01-01", "guardian_name": "Orla Moon", "guardian_mail": "orla@example.org", "contact_by": "mail"}).is(200, nil)
	s.clock.Store(new(s.clock.Load().Add(8 * 24 * time.Hour)))
	orlas, _ := s.linkIn(v.ID, "confirmation")
	told := len(s.tellings(v.ID)) // those that wait

	// Her own address is where messages go once nobody answers for her.
	var was api.ClientBody
	s.call("GET", "/v1/clients/"+mara, nil).is(200, &was)
	s.rewrite(mara, object{"mail": "somebody@example.org"})
	list := s.tellings(v.ID)
	require.Len(t, list, told+1)
	m, state := s.worked(&outbox{}, list[told])
	require.Equal(t, store.Sent, state)
	require.Equal(t, was.Mail, m.To.Address)
	changes := s.contactChanges(mara)
	require.Equal(t, "mail", changes[0].Way)
	require.False(t, changes[0].Guardian)
	b, ok := s.bundle(orlas)
	require.True(t, ok, "the guardian's links stay")
	require.Empty(t, b.Tests)

	s.clock.Store(new(s.clock.Load().Add(8 * 24 * time.Hour)))
	s.call("DELETE", "/v1/clients/"+mara+"/minor?approved_by="+s.ada+"&reason=typed+wrong", nil).is(204, nil)
	_, ok = s.bundle(orlas)
	require.False(t, ok, "what went to the guardian leads nowhere")
	list = s.tellings(v.ID)
	require.Len(t, list, told+1)
	m, state = s.worked(&outbox{}, list[told])
	require.Equal(t, store.Sent, state)
	require.Equal(t, "orla@example.org", m.To.Address)
	s.clock.Store(new(s.clock.Load().Add(time.Minute)))
	fresh, _ := s.linkIn(v.ID, "prepare")
	b, ok = s.bundle(fresh)
	require.True(t, ok)
	require.Empty(t, b.Tests, "nothing of health for a week")
}

func TestAMergeTellsAMinorsOwnAddressThatItIsHersNoMore(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	mara, other := s.client("Mara"), s.client("Mara")
	v, _ := s.book(mara, start.Add(97*time.Hour), s.straightening())
	s.call("PUT", "/v1/clients/"+mara+"/minor", object{"minor_until": "2030-01-01", "guardian_name": "Orla Moon", "guardian_mail": "orla@example.org", "contact_by": "mail"}).is(200, nil)
	s.rewrite(other, object{"mail": "somebody@example.org"})
	var was api.ClientBody
	s.call("GET", "/v1/clients/"+mara, nil).is(200, &was)
	told := len(s.tellings(v.ID))

	s.merged(other, mara).is(200, nil)
	changes := s.contactChanges(other)
	require.True(t, slices.ContainsFunc(changes, func(c api.ContactChangeBody) bool { return c.Way == "mail" && !c.Guardian && c.Told == "being_told" }))
	list := s.tellings(v.ID)
	var to []string
	for _, d := range list[told:] {
		m, state := s.worked(&outbox{}, d)
		require.Equal(t, store.Sent, state)
		to = append(to, m.To.Address)
	}
	require.Contains(t, to, was.Mail)
}
