package owner_test

import (
	"encoding/json"
	"net/http"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/api/web/webtest"
	"chairblock/store"
)

func TestTheOwnerSeesWhatHerTermsEraseBeforeTheyAreSaved(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	s.Client("Mara", "Quist")
	s.Exec(`UPDATE client SET created_at = $1`, webtest.Start.AddDate(0, -8, 0))
	page := "/set-up/keeping"
	p := d.see(page).says(t, "after three in the morning by the salon’s clock", "local law or your accountant may demand longer", "Clients who never came", "nothing to erase",
		"Answers", "What stays, and why", "12 months after the last visit")
	terms := func() string {
		var out json.RawMessage
		s.Ask(http.MethodGet, "/retention", nil, http.StatusOK, &out)
		return string(out)
	}
	p = d.fill(p, "retention", map[string]string{"never_came_months": "6", "requests_months": ""})
	p.says(t, "Nothing is saved yet", "1: Clients who never came")
	require.NotContains(t, p.text(), "waiting list", "nothing of it goes")
	require.Contains(t, terms(), `"never_came_months":12`)
	// Back, with what was typed; and what was seen holds for the terms that it was seen of.
	d.fill(p, "retention", map[string]string{"do": "back"}).says(t, "What stays, and why")
	require.Contains(t, d.fill(p, "retention", map[string]string{"do": "back"}).body, `value="6"`)
	d.fill(p, "retention", map[string]string{"do": "sure", "never_came_months": "5"}).says(t, "Nothing is saved yet")
	require.Contains(t, terms(), `"never_came_months":12`)
	d.fill(p, "retention", map[string]string{"do": "sure"}).says(t, "Saved.", "1 to erase")
	require.Contains(t, terms(), `"never_came_months":6`)
	require.Contains(t, terms(), `"requests_months":null`)
	d.see("/set-up/changes?changes-what=retention_rule").says(t, "how long things are kept")
	s.Ask(http.MethodGet, "/clients", nil, http.StatusOK, nil)

	_, err := s.Store.EraseByAge(t.Context(), webtest.Start.AddDate(0, 0, 2))
	require.NoError(t, err)
	d.see("/set-up/changes?changes-what=retention_run").says(t, "this program by itself", "erased by age never came: 1")
	d.see(page).says(t, "Last looked at on", "nothing to erase")
	require.Equal(t, http.StatusForbidden, open(t, s, store.Desk).get(page).status)
}

func TestAnotherTermForHealthShowsWhatGoesAndWaits(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	client := s.Client("Mara", "Quist")
	s.Exec(`INSERT INTO test_record (salon_id, record_id, client_id, sealed, noted_at) SELECT salon_id, 'r', client_id, 'x', $2 FROM client WHERE client_id = $1`, client, webtest.Start.AddDate(0, -2, 0))
	p := d.fill(d.see("/set-up/rules"), "privacy", map[string]string{"health_months": "1"})
	p.says(t, "Nothing is saved yet", "1: What is on record of health", "on Wed 10 June 2026")
	d.see("/set-up/keeping").says(t, "12 months after the last visit")
	require.Contains(t, d.fill(p, "privacy", map[string]string{"do": "back"}).body, `value="1"`)
	d.see("/set-up/keeping").says(t, "12 months after the last visit")
	d.fill(p, "privacy", map[string]string{"do": "sure"}).says(t, "Saved.")
	d.see("/set-up/keeping").says(t, "1 month after the last visit", "On Wed 10 June 2026: 1 to erase")
	for _, x := range []struct {
		days int
		says string
	}{{1, "On Wed 10 June 2026: 1 to erase"}, {2, "nothing to erase"}} {
		_, err := s.Store.EraseByAge(t.Context(), webtest.Start.AddDate(0, 0, x.days))
		require.NoError(t, err)
		d.see("/set-up/keeping").says(t, x.says)
	}
	d.see("/set-up/changes?changes-what=retention_run").says(t, "erased by age health: 1")
}

func TestTheOwnerSeesWhoStaysBecauseOfMoneyAndWhetherSheHasSeenToHerTerms(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	long := webtest.Start.AddDate(-4, 0, 0)
	for _, name := range []string{"Mara", "Nola"} {
		client := s.Client(name, "Quist")
		v := s.Straightening(client, s.Ada, webtest.Start.Add(26*time.Hour))
		s.Ask(http.MethodPost, "/visits/"+v.ID+"/money", webtest.Object{"kind": "received", "amount_cents": 5000, "how": "card"}, http.StatusCreated, nil)
		s.Exec(`DELETE FROM block WHERE visit_id = $1`, v.ID)
		s.Exec(`UPDATE visit SET state = 'cancelled', starts_at = $2, ends_at = $2::timestamptz + interval '3 hours' WHERE visit_id = $1`, v.ID, long)
		s.Exec(`UPDATE money_entry SET noted_at = $1`, long)
		s.Exec(`UPDATE reminder SET state = 'withdrawn', done_at = $1`, long)
		s.Exec(`UPDATE client SET created_at = $2, changed_at = NULL WHERE client_id = $1`, client, long)
	}
	s.Exec(`UPDATE head SET created_at = $1`, long)
	d.see("/set-up/keeping").says(t, "Who stays because of money (2)", "Mara Quist", "50.00", "which was not finished: neither returned, carried over nor kept")
	var p api.RetentionPreviewBody
	s.Ask(http.MethodGet, "/retention/preview?money_limit=1", nil, http.StatusOK, &p)
	require.Equal(t, []any{2, 1, "Mara Quist", "paid", int64(5000)}, []any{p.Staying, len(p.Stays), p.Stays[0].Name, p.Stays[0].Why, p.Stays[0].Amount})

	s.Exec(`INSERT INTO retention_rule SELECT salon_id, 36, 12, 120, 14, 12, 3, 12, 36, '2026-07-08', 2, NULL FROM salon`)
	const unread = "from Wed 8 July 2026 on they count"
	page := d.see("/set-up/keeping").says(t, unread)
	d.fill(page, "retention", nil).says(t, "Saved.")
	require.NotContains(t, d.see("/set-up/keeping").text(), unread)
}
