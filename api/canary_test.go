package api_test

import (
	"encoding/base64"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// canary is something that must be found where it belongs and nowhere else.
type canary struct {
	word string
	at   []string // the places where it belongs
}

// places are whatever somebody else may get to see: each table, calendars of the
// salon, counters, what went out by mail and to the gateway.
func (s *salon) places(g *textGateway, p *post, feeds ...calendar) map[string]string {
	s.t.Helper()
	out := map[string]string{}
	for _, table := range s.column(`SELECT table_name FROM information_schema.tables WHERE table_schema = 'public' AND table_type = 'BASE TABLE' AND table_name <> $1`, "") {
		out["table "+table] = strings.Join(s.column(`SELECT to_jsonb(t)::text FROM "`+table+`" t WHERE $1 = ''`, ""), "\n")
	}
	for i, f := range feeds {
		out[fmt.Sprintf("calendar %d", i)] = unfold(string(f.ask("GET").is(200, nil).body))
	}
	_, out["counters"] = s.counters()
	_, bodies := g.taken()
	out["gateway"] = strings.Join(bodies, "\n")
	for _, m := range p.taken() {
		out["mail"] += m.to + "\n" + m.subject + "\n" + m.text + "\n"
	}
	return out
}

func unfold(ics string) string { return strings.ReplaceAll(ics, "\r\n ", "") }

// foundIn lists the places where a word stands, plainly or as bytes are written.
func foundIn(places map[string]string, word string) (at []string) {
	written := []string{word, hex.EncodeToString([]byte(word))}
	for before := range 3 { // base64 writes three bytes as four, so it depends on what stands before
		x := base64.StdEncoding.EncodeToString(append(make([]byte, before), word...))
		from, to := (before*8+5)/6, (before+len(word))*8/6 // what only the word decides
		written = append(written, x[from:to])
	}
	for place, text := range places {
		if slices.ContainsFunc(written, func(w string) bool { return strings.Contains(strings.ToLower(text), strings.ToLower(w)) }) {
			at = append(at, place)
		}
	}
	slices.Sort(at)
	return at
}

// TestWhatIsPrivateStandsWhereItBelongsAndNowhereElse puts a word nobody else uses
// into each field about a client and notes each secret that is handed out, lets a
// visit be booked, told of, lived through and noted down, and then looks everywhere.
func TestWhatIsPrivateStandsWhereItBelongsAndNowhereElse(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	p, g := s.deliver(nil), runGateway(t)
	var gate api.WebhookBody
	s.call("POST", "/v1/webhook", object{"address": g.address, "enabled": true}).is(201, &gate)
	s.sue()
	signed, _ := s.signsIn("")

	var c api.ClientBody
	s.call("POST", "/v1/clients", object{"given_name": "zqgiven", "family_name": "zqfamily", "mail": "zqmail@client.example", "phone": "+4930901829", "note": "zqnote"},
		"Idempotency-Key", "zq").is(201, &c)
	other := s.call("POST", "/v1/clients", object{"given_name": "Zqtext", "phone": "+4930901830", "contact_by": "text"})
	var byText api.ClientBody
	other.is(201, &byText)
	var own api.OwnLinkBody
	s.call("POST", "/v1/clients/"+c.ID+"/own-links", object{"label": "zqlabel"}).is(201, &own)
	feeds := []calendar{s.feed("client", c.ID), s.feed("staff", s.ada), s.feed("salon", "")}

	form := s.answers(map[string]string{"lice_ringworm": "not_sure"})
	answers := form["answers"].([]object)
	i := slices.IndexFunc(answers, func(a object) bool { return a["answer"] == "straight" })
	require.GreaterOrEqual(t, i, 0, "no question is answered with words")
	answers[i]["answer"] = "zqscalp"
	s.call("POST", "/v1/clients/"+c.ID+"/screenings", form, "Idempotency-Key", "zqasked").is(201, nil)
	s.readTest(s.skinTest(c.ID, start.Add(-72*time.Hour)), "positive", object{"note": "zqrash"}).is(201, nil)

	v, _ := s.book(c.ID, start.Add(25*time.Hour), s.cut())
	s.book(byText.ID, start.Add(27*time.Hour), s.cut())
	require.Eventually(t, func() bool { _, bodies := g.taken(); return len(p.taken()) > 0 && len(bodies) > 0 }, 30*time.Second, 20*time.Millisecond)
	s.at(v.Start)
	s.arrived(v.ID)
	s.at(v.Start.Add(time.Hour))
	s.finishNow(v.ID).is(200, nil)

	secret := func(url string) string {
		x := strings.Split(strings.TrimSuffix(url, ".ics"), "/")
		return x[len(x)-1]
	}
	places := s.places(g, p, feeds...)
	const repeated = "table idempotency" // what a repeated request is answered with, for two days
	for _, x := range []canary{
		{"zqgiven", []string{"mail", "table client", repeated}},
		{"zqfamily", []string{"table client", repeated}},
		{"zqmail@client.example", []string{"mail", "table client", repeated, "table invitation"}},
		{"30901829", []string{"table client", repeated}},
		{"30901830", []string{"gateway", "table client"}},
		{"zqnote", []string{"table client", repeated}},
		{"zqlabel", []string{"table own_link"}},
		{"zqscalp", nil}, // encrypted
		{"zqrash", nil},
		{herPassword, nil},
		{signed.Token, nil},
		{s.token, nil},
		{gate.Secret, nil},
		{secret(own.URL), nil},
		{secret(feeds[0].path), nil},
		{secret(feeds[1].path), nil},
	} {
		require.Equal(t, x.at, foundIn(places, x.word), x.word)
	}
}
