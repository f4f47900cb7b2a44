package api_test

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// notHandedOut are the columns with something of a client that stand in no export,
// and why.
var notHandedOut = map[string]string{
	"block.unit_id":              "who and what is kept for a step, which the visit says",
	"card_limits.limits":         "the maker's limits for the visit, which are the product's",
	"client.contact_by":          "what stands there before she is asked is said as not_asked",
	"minor.contact_by":           "likewise of a guardian",
	"feed.kind":                  "that it is her calendar",
	"feed.sha256":                "of a secret",
	"own_link.sha256":            "of a secret",
	"estimate.result":            "beside what is shown, how quickly those who work here are",
	"estimate.hair":              "written as hair is asked for, with its defaults",
	"head.hair":                  "likewise",
	"quote.request":              "what was asked, which the answer says",
	"quote.answer":               "written as a quote is answered",
	"wish.wanted":                "written as a request is answered",
	"card_fact.value":            "written as a fact is answered",
	"screening.outcome":          "said of its answers",
	"sealed_text.what":           "which part of a consultation is encrypted there",
	"sealed_text.sealed":         "encrypted; what it says is there",
	"test_record.sealed":         "encrypted; what it says is there",
	"test_record.record_id":      "one note may stand for several",
	"need_override.sealed":       "encrypted; what it says is there",
	"visit_stop.sealed":          "encrypted; what it says stands on the card",
	"invitation.uid":             "names the visit to calendars",
	"invitation.organizer":       "the salon's own address",
	"invitation.method":          "what calendars are asked to do",
	"invitation.message_id":      "names the message to mail programs",
	"reminder.message_id":        "likewise",
	"reminder.channel":           "mail or text, by the way in which she is reached",
	"reminder.detail":            "what the message is filled in with, from the visit",
	"reminder.reason":            "why the salon sent it",
	"reminder_attempt.channel":   "as for the message",
	"reminder_attempt.outcome":   "of one try; the message says what became of it",
	"reminder_attempt.problem":   "likewise",
	"client_act.act_id":          "that she did something on her own pages, which the visit shows",
	"client_act.what":            "likewise",
	"visit.quote_id":             "which quote a visit is from stands in the quote's visit",
	"visit.group_id":             "that somebody comes with her, who is not hers to know",
	"visit_part.uid":             "names a part of the visit to calendars",
	"visit_part.shown":           "tells whether calendars have to be told",
	"visit_part.subject":         "whose calendar shows a part of the visit",
	"visit_part.kind":            "likewise",
	"visit_step_unit.role":       "whom or what a step needs",
	"visit_product.product_id":   "reserved stock",
	"visit_product.approved_by":  "who let another product be reserved",
	"stock_movement.kind":        "of the stock",
	"visit_event.event_id":       "in what order it was noted",
	"card_fact.fact_id":          "likewise",
	"visit_yes.how":              "that and when she said yes is there",
	"visit_yes.noted_by":         "likewise",
	"call_try.try_id":            "likewise",
	"minor_change.change_id":     "likewise",
	"message_choice.choice_id":   "likewise",
	"contact_change.change_id":   "likewise",
	"contact_change.reminder_id": "which message told her",
	"invitation_reply.reply_id":  "likewise",
	"need_override.override_id":  "likewise",
	"health_read.token_id":       "by which key a colleague came in",
	"health_read.screening_id":   "of a consultation that is there",
	"head.head_id":               "likewise",
	"wish.weekdays":              "numbers",
	"visit_step.looks":           "numbers",
}

// rowsOf select the rows of a table that belong to a client, as far as tables name
// her in another way than by her id or that of a visit.
var rowsOf = map[string]string{
	"feed":             `x.kind = 'client' AND x.subject_id = $1`,
	"feed_version":     `false`, // of calendars, without words
	"last_action":      `false`, // what can be taken back, for minutes
	"audit":            `false`, // who changed what, without what it said
	"erased_client":    `false`,
	"merged_client":    `false`, // which files hers was put together from, by ids that lead nowhere
	"call_try":         `x.reminder_id IN (SELECT reminder_id FROM reminder WHERE visit_id IN (SELECT visit_id FROM visit WHERE client_id = $1))`,
	"reminder_attempt": `x.reminder_id IN (SELECT reminder_id FROM reminder WHERE visit_id IN (SELECT visit_id FROM visit WHERE client_id = $1))`,
	"reminder":         `coalesce(x.staff_id, '') = '' AND x.visit_id IN (SELECT visit_id FROM visit WHERE client_id = $1)`, // others are to who works here
	"sealed_text":      `x.screening_id IN (SELECT screening_id FROM screening WHERE client_id = $1)`,
}

// textsOf lists the columns with words of tables that may hold something of a client,
// and what they hold of her.
func (s *salon) textsOf(client string) map[string][]string {
	s.t.Helper()
	out := map[string][]string{}
	named := map[string][]string{}
	for _, c := range s.column(`SELECT c.table_name || '.' || c.column_name || '.' || c.data_type FROM information_schema.columns c JOIN information_schema.tables t USING (table_schema, table_name)
		WHERE table_schema = 'public' AND table_type = 'BASE TABLE' AND c.table_name <> $1`, "salon_event") {
		table, rest, _ := strings.Cut(c, ".")
		named[table] = append(named[table], rest)
	}
	for table, columns := range named {
		where := rowsOf[table]
		for _, c := range columns {
			switch name, _, _ := strings.Cut(c, "."); {
			case where != "":
			case name == "client_id":
				where = `x.client_id = $1`
			case name == "visit_id" && !slices.Contains(columns, "client_id.text"):
				where = `x.visit_id IN (SELECT visit_id FROM visit WHERE client_id = $1)`
			}
		}
		if where == "" {
			continue
		}
		for _, c := range columns {
			name, kind, _ := strings.Cut(c, ".")
			if name == "salon_id" || !slices.Contains([]string{"text", "jsonb", "bytea", "ARRAY"}, kind) {
				continue
			}
			values := s.column(fmt.Sprintf(`SELECT DISTINCT x.%q::text FROM %q x WHERE (%s) AND $1::text <> '' AND x.%q IS NOT NULL AND x.%q::text <> ''`, name, table, where, name, name), client)
			out[table+"."+name] = append(out[table+"."+name], values...)
		}
	}
	return out
}

// Whatever column comes to the database later is handed out, or has a reason not to be.
func TestEverythingAboutAClientIsHandedOutAndNothingIsLeftAfterwards(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	client := s.things()["clients"]
	s.call("POST", "/v1/clients/"+client+"/hair-treatments", object{"kind": "relaxer_or_perm", "done_on": "2025-03-01"}).is(201, nil)
	s.rewrite(client, object{"given_name": "Zqgiven", "family_name": "Zqfamily", "mail": "zq@zq.example", "phone": "+4930901829", "note": "zqnote", "contact_by": "mail"})
	var b api.OwnBundle
	a := s.call("GET", "/v1/clients/"+client+"/everything", nil).is(200, &b)
	require.Equal(t, "Zqgiven", b.Client.GivenName)
	require.Len(t, b.Screenings, 1)
	require.NotEmpty(t, b.Tests)
	require.NotEmpty(t, b.Estimates)
	require.Empty(t, b.LeftOut)
	require.NotEmpty(t, b.Reads, "that it was read is noted")
	texts := s.textsOf(client)
	for _, column := range slices.Sorted(maps.Keys(texts)) {
		for _, x := range texts[column] {
			quoted, err := json.Marshal(x)
			require.NoError(t, err)
			if notHandedOut[column] == "" && x != "{}" && !bytes.Contains(a.body, quoted[1:len(quoted)-1]) {
				t.Errorf("%s: %q is not handed out", column, x)
			}
		}
	}
	for column := range notHandedOut {
		_, there := texts[column]
		require.True(t, there, "%s is no column with something of a client", column)
	}

	// The desk hands out what it may read.
	var quiet api.OwnBundle
	a = s.as(store.Desk).call("GET", "/v1/clients/"+client+"/everything", nil).is(200, &quiet)
	require.NotEmpty(t, quiet.LeftOut)
	require.Len(t, quiet.Visits, len(b.Visits))
	require.Empty(t, len(quiet.Screenings)+len(quiet.Tests)+len(quiet.Cards)+len(quiet.Treated)+len(quiet.Overrides)+len(quiet.Estimates))
	for _, health := range []string{"perm", "Soft Wave", "inner_elbow"} {
		require.NotContains(t, string(a.body), health)
	}

	files := s.call("GET", "/v1/clients/"+client+"/everything.zip", nil).is(200, nil)
	require.Equal(t, "application/zip", files.header.Get("Content-Type"))
	z, err := zip.NewReader(bytes.NewReader(files.body), int64(len(files.body)))
	require.NoError(t, err)
	require.Len(t, z.File, 2)
	f, err := z.Open("everything.html")
	require.NoError(t, err)
	page, err := io.ReadAll(f)
	require.NoError(t, err)
	for _, x := range []string{"Zqgiven Zqfamily", "zqnote", "Soft Wave", "Straightening", "<h2>Consultations</h2>"} {
		require.Contains(t, string(page), x)
	}
	require.NotContains(t, string(page), client, "ids are for programs")

	// Erased, no words are left that named her or were hers.
	var visits struct{ Items []api.VisitBody }
	s.call("GET", "/v1/visits?first_date=2026-06-08&last_date=2026-06-30", nil).is(200, &visits)
	for _, v := range visits.Items {
		if v.ClientID == client {
			s.call("POST", "/v1/visits/"+v.ID+"/cancel", object{}, "If-Match", s.call("GET", "/v1/visits/"+v.ID, nil).header.Get("ETag")).is(200, nil)
		}
	}
	s.at(start.Add(30 * 24 * time.Hour))
	s.call("POST", "/v1/clients/"+client+"/erase", nil, "If-Match", s.call("GET", "/v1/clients/"+client, nil).header.Get("ETag")).is(200, nil)
	for column, list := range s.textsOf(client) {
		if column == "health_read.client_id" || strings.HasPrefix(column, "health_read.") {
			continue // who has read, without what
		}
		require.Empty(t, list, column)
	}
	for _, table := range s.column(`SELECT table_name FROM information_schema.tables WHERE table_schema = 'public' AND table_type = 'BASE TABLE' AND table_name <> $1`, "nothing") {
		require.Empty(t, s.column(`SELECT substring(t::text FROM '(?i).{0,20}(?:'||$1||').{0,20}') FROM "`+table+`" t WHERE t::text ~* $1`, "zqgiven|zqfamily|zqnote|zq@zq|30901829|rosa quist|rosa@example"), table)
	}
}
