package owner_test

import (
	"fmt"
	"net/http"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api"
)

// hostile is text that must come back as text.
const hostile = `"><script>alert(1)</script>&amp;`

func TestARefusedFormKeepsWhatWasTypedAndNamesEveryField(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	straightening := "/set-up/services/" + s.Services["Straightening"]
	for _, x := range []struct {
		page, form string
		fields     map[string]string
		wrong      []string // fields that are named
	}{
		{"/set-up", "salon", map[string]string{"name": "", "phone": hostile, "mail": "nobody", "currency": "coins", "emergency": "help"}, []string{"name", "phone", "mail", "currency", "emergency"}},
		{"/set-up", "week", map[string]string{"open-1": hostile, "open-2": "from nine"}, []string{"open-1", "open-2"}},
		{"/set-up/hours", "week", map[string]string{"open-3": "09:00-13:00, 12:00-18:00"}, []string{"open-1"}},
		{"/set-up/hours", "week", map[string]string{"open-3": "09:00-13:70"}, []string{"open-3"}},
		{"/set-up/hours", "close", map[string]string{"days": hostile}, []string{"days"}},
		{"/set-up/hours", "close", map[string]string{"days": "2026-12-26 to 2026-12-24"}, []string{"days"}},
		{"/set-up", "person", map[string]string{"name": strings.Repeat("x", 1000), "initials": hostile, "other": "Hair & Skin!"}, []string{"name", "initials", "other"}},
		{"/set-up", "rooms", map[string]string{"chairs": "many"}, []string{"chairs"}},
		{"/set-up", "rooms", nil, []string{"chairs"}},
		{"/set-up", "maker", map[string]string{"processing_minutes": "soon", "dry_before_iron_percent": hostile}, []string{"processing_minutes", "dry_before_iron_percent"}},
		{"/set-up", "maker", map[string]string{"longest_minutes": "500"}, []string{"longest_minutes"}},
		{"/set-up", "maker", map[string]string{"solution": ""}, []string{"solution", "solution_strength", "neutralizer_strength"}},
		{"/set-up/people/" + s.Ada, "person", map[string]string{"name": "", "mail": "x", "changeover_minutes": "-1"}, []string{"changeover_minutes"}},
		{"/set-up/people/" + s.Ada, "person", map[string]string{"name": "", "mail": "x"}, []string{"name", "mail"}},
		{"/set-up/people/" + s.Ada, "hours", map[string]string{"work-1": "9-18, 10-12", "break-2": "x"}, []string{"break-2"}},
		{"/set-up/people/" + s.Ada, "last", map[string]string{"day": "soon"}, []string{"day"}},
		{"/set-up/absences", "away", map[string]string{"reason": hostile}, []string{"first", "unit_id"}},
		{"/set-up/absences", "away", map[string]string{"unit_id": s.Ada, "first": "2026-07-02", "last": "2026-07-01"}, []string{"last"}},
		{"/set-up/absences", "away", map[string]string{"unit_id": s.Ada, "first": "2026-07-02", "reason": strings.Repeat("x", 1000)}, []string{"reason"}},
		{"/set-up/stations", "station", map[string]string{"kind": "Big Chair", "name": ""}, []string{"kind", "name"}},
		{"/set-up/stations/" + s.Chairs[0], "station", map[string]string{"name": strings.Repeat("x", 1000)}, []string{"name"}},
		{"/set-up/services", "new", map[string]string{"name": ""}, []string{"name"}},
		{straightening, "service", map[string]string{"do": "look", "name": "", "skill": "Not a skill!", "steps-3-label": "", "steps-5-wait_min_minutes": "20"},
			[]string{"name", "skill", "steps-3-label", "steps-5-wait_min_minutes"}},
		{straightening, "service", map[string]string{"do": "look", "steps-0-minutes": "x", "price_cents": "cheap"}, []string{"steps-0-minutes", "price_cents"}},
		{straightening, "service", map[string]string{"do": "look", "steps-7-formula": "", "steps-7-minutes": "2000"}, []string{"steps-7-minutes"}},
		{straightening, "service", map[string]string{"do": "look", "steps-3-hands": "watching", "steps-3-who": "nobody"}, []string{"steps-3-who"}},
		{straightening, "service", map[string]string{"do": "look", "steps-0-kind": "", "steps-0-own": "Talk!", "steps-0-formula": "", "steps-0-minutes": "5"}, []string{"steps-0-own"}},
		{straightening, "service", map[string]string{"do": "look", "price_rule-by": "band", "price_rule-bands-0-up_to_cm": "40", "price_rule-bands-0-low_cents": "100"}, nil},
		{straightening, "service", map[string]string{"do": "look", "steps-7-watch_for": "{no_such} " + hostile}, []string{"steps-7-watch_for"}},
		{"/set-up/chair-time", "time", map[string]string{"do": "look", "values-dwell_minutes": "2", "values-press_fine_seconds": "quick"}, []string{"values-press_fine_seconds"}},
		{"/set-up/chair-time", "time", map[string]string{"do": "look", "values-dwell_minutes": "2"}, []string{"values-dwell_minutes"}},
		{"/set-up/rules", "booking", map[string]string{"hold_minutes": "0", "missed_after_minutes": "500"}, []string{"hold_minutes", "missed_after_minutes"}},
		{"/set-up/rules", "booking", map[string]string{"share_overrun_limit": "80"}, []string{"share_overrun_limit"}},
		{"/set-up/rules", "needs", map[string]string{"consent_age": "3", "patch_test_read_hours": "500"}, []string{"consent_age", "patch_test_read_hours"}},
		{"/set-up/rules", "money", map[string]string{"deposit_chemical": "most of it"}, []string{"deposit_chemical"}},
		{"/set-up/rules", "money", map[string]string{"deposit_chemical": "180 %", "late_minutes": "1"}, []string{"deposit_chemical", "late_minutes"}},
		{"/set-up/rules", "spacing", map[string]string{"0-hours": "99999", "1-after": "?"}, []string{"0-hours"}},
		{"/set-up/rules", "spacing", map[string]string{"1-after": "Hair colour!"}, []string{"1-after"}},
		{"/set-up/rules", "care", map[string]string{"retouch_due_cm": "90"}, []string{"retouch_due_cm"}},
		{"/set-up/rules", "care", map[string]string{"keep_dry_hours": "10"}, []string{"keep_dry_hours"}},
		{"/set-up/rules", "privacy", map[string]string{"health_months": "0"}, []string{"health_months"}},
		{"/set-up/keeping", "retention", map[string]string{"clients_months": "6", "messages_months": "0", "invitations_months": "500"}, []string{"clients_months", "messages_months", "invitations_months"}},
		{"/set-up/keeping", "retention", map[string]string{"never_came_months": ""}, []string{"never_came_months"}},
		{"/set-up/rules", "invitations", map[string]string{"replies_mail": "x"}, []string{"replies_mail"}},
		{"/set-up/messages", "messages", map[string]string{"reminder_hours_before": "999"}, []string{"reminder_hours_before"}},
		{"/set-up/messages", "messages", map[string]string{"quiet_from": "x", "language": "?"}, []string{"quiet_from", "language"}},
		{"/set-up/messages", "gateway", map[string]string{"address": "ftp://x.example"}, []string{"address"}},
		{"/set-up/messages", "language", map[string]string{"tag": "../x"}, []string{"tag"}},
		{"/set-up/messages/languages/de", "texts", map[string]string{"document": "{\n  \"tag\": de\n}"}, []string{"document"}},
		{"/set-up/messages/languages/de", "texts", map[string]string{"document": "{}"}, []string{"document"}},
		{"/set-up/pace", "pace", map[string]string{"counts_from": "yesterday"}, []string{"counts_from"}},
		{"/set-up/access", "token", map[string]string{"label": strings.Repeat("x", 1000), "expires": "2020-01-01"}, []string{"label", "expires"}},
		{"/set-up/access", "feed", map[string]string{"label": strings.Repeat("x", 1000)}, []string{"label"}},
		{"/set-up/products", "product", map[string]string{"label-ph": "19", "pack_ml": "0"}, []string{"label-ph", "pack_ml"}},
		{"/set-up/products", "product", map[string]string{"name": "", "strength": ""}, []string{"name", "strength"}},
	} {
		t.Run(x.form+" "+strings.Join(x.wrong, " "), func(t *testing.T) {
			d := *d
			d.t = t
			p := d.fill(d.see(x.page), x.form, x.fields)
			require.Equal(t, http.StatusUnprocessableEntity, p.status, p.text())
			p.says(t, "to put right")
			typed, _ := p.form(t, x.form)
			for field, value := range x.fields {
				if field != "do" {
					require.Equal(t, value, typed.Get(x.form+"-"+field))
				}
			}
			for _, field := range x.wrong {
				require.Contains(t, p.body, `id="e-`+x.form+"-"+field+`"`, "%s is named: %s", field, p.text())
				require.Contains(t, p.body, `href="#f-`+x.form+"-"+field+`"`)
			}
			require.NotContains(t, p.body, "<script>alert")
		})
	}
}

func TestAServiceIsChangedStepByStepAndItsEffectIsShownFirst(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	v := s.Straightening(s.Client("Juna", "Kestrel"), s.Ada, tuesday)
	path := "/set-up/services/" + s.Services["Straightening"]
	p := d.see(path)
	p = d.fill(p, "service", map[string]string{"do": "add-0"})
	p.says(t, "2. new step")
	p = d.fill(p, "service", map[string]string{"steps-1-label": "a glass of water", "steps-1-own": "water", "do": "up-1"})
	p.says(t, "1. a glass of water", "2. consultation")
	p = d.fill(p, "service", map[string]string{"do": "down-0"})
	p.says(t, "1. consultation", "2. a glass of water")
	var x api.ServiceBody
	s.Ask(http.MethodGet, "/services/"+s.Services["Straightening"], nil, http.StatusOK, &x)
	require.Equal(t, 1, x.Version, "nothing is saved by moving steps about")

	p = d.fill(p, "service", map[string]string{"do": "look", "price_cents": "350"})
	p.says(t, "What it does", "No booked visit is hit: every one of 1 booked visit with this service keeps the steps", "35 cm, average", "+10", "320.00 EUR", "350.00 EUR")
	require.Equal(t, 7, strings.Count(p.text(), "+10"), "ten minutes more on each of seven heads")
	s.Ask(http.MethodGet, "/services/"+s.Services["Straightening"], nil, http.StatusOK, &x)
	require.Equal(t, 1, x.Version, "nor by looking")
	p = d.fill(p, "service", map[string]string{"do": "save"})
	p.says(t, "Saved as a new version.", "Version 2", "Version 1")
	s.Ask(http.MethodGet, "/services/"+s.Services["Straightening"], nil, http.StatusOK, &x)
	require.Equal(t, 2, x.Version)
	require.Equal(t, "a glass of water", x.Steps[1].Label)
	require.Equal(t, int64(35000), x.PriceCents)
	var kept api.VisitBody
	s.Ask(http.MethodGet, "/visits/"+v.ID, nil, http.StatusOK, &kept)
	require.Equal(t, 1, kept.Services[0].ServiceVersion)
	require.Equal(t, v.End, kept.End)
	d.see(path+"/versions/1").says(t, "apply solution", "320.00 EUR")
	d.fill(p, "service", map[string]string{"do": "remove-1"})
	p = d.fill(d.see(path), "copy", map[string]string{"name": "Straightening, slow"})
	p.says(t, "Copied.")
	require.Contains(t, p.body, "<h1>Straightening, slow</h1>")
	d.fill(p, "remove", nil).says(t, "Removed.")
}

func TestAServiceThatWasNotLookedAtIsNotSaved(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	path := "/set-up/services/" + s.Services["Dry cut"]
	p := d.fill(d.see(path), "service", map[string]string{"do": "look", "steps-0-minutes": "45"})
	p.says(t, "everybody", "30 min", "45 min", "+15")
	form, action := p.form(t, "service") // the one that saves
	form.Set("service-steps-0-minutes", "400")
	form.Set("do", "save")
	p = d.send(http.MethodPost, action, form)
	p.says(t, "What it does", "400 min")
	var x api.ServiceBody
	s.Ask(http.MethodGet, "/services/"+s.Services["Dry cut"], nil, http.StatusOK, &x)
	require.Equal(t, 30, x.Steps[0].Minutes)
	// Nobody saves over what somebody else has saved.
	old := d.fill(d.see(path), "service", map[string]string{"do": "look", "steps-0-minutes": "40"})
	mine, action := old.form(t, "service")
	mine.Set("do", "save")
	d.fill(d.fill(d.see(path), "service", map[string]string{"do": "look", "steps-0-minutes": "35"}), "service", map[string]string{"do": "save"}).says(t, "Saved as a new version.")
	p = d.send(http.MethodPost, action, mine)
	require.Equal(t, http.StatusPreconditionFailed, p.status)
	p.says(t, "Somebody else changed this in the meantime")
}

func TestAPriceByLengthAndAmountIsShownOnSevenHeads(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	path := "/set-up/services/" + s.Services["Straightening"]
	fields := map[string]string{"do": "look", "price_rule-by": "band", "price_rule-bands-0-up_to_cm": "30", "price_rule-bands-0-low_cents": "200",
		"price_rule-bands-0-medium_cents": "220", "price_rule-bands-0-high_cents": "240,50"}
	for i, amount := range []string{"low", "medium", "high"} {
		fields["price_rule-bands-1-"+amount+"_cents"] = fmt.Sprint(300 + 20*i)
	}
	p := d.fill(d.see(path), "service", fields)
	p.says(t, "200.00 EUR", "220.00 EUR", "320.00 EUR")
	p = d.fill(p, "service", map[string]string{"do": "save"})
	p.says(t, "Saved as a new version.")
	var x api.ServiceBody
	s.Ask(http.MethodGet, "/services/"+s.Services["Straightening"], nil, http.StatusOK, &x)
	require.Equal(t, []api.PriceBandBody{{UpToCM: 30, LowCents: 20000, MediumCents: 22000, HighCents: 24050}, {LowCents: 30000, MediumCents: 32000, HighCents: 34000}}, x.PriceRule.Bands)
	d.see("/set-up/services").says(t, "by length and amount, usually")
}

func TestConstantsOfChairTimeShowWhatTheyDoBeforeTheyAreSaved(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	p := d.fill(d.see("/set-up/chair-time"), "time", map[string]string{"do": "look", "values-dwell_minutes": "9"})
	p.says(t, "What it does", "neutralizer working: 5 → 9 min", "35 cm, average", "No booked visit is hit")
	var list api.SettingsBody
	value := func() float64 {
		s.Ask(http.MethodGet, "/chair-time-settings", nil, http.StatusOK, &list)
		for _, x := range list.Items {
			if x.Name == "dwell_minutes" {
				return x.Value
			}
		}
		return 0
	}
	require.InDelta(t, 5, value(), 0)
	d.fill(p, "time", map[string]string{"do": "save"}).says(t, "Saved.")
	require.InDelta(t, 9, value(), 0)
	d.fill(d.see("/set-up/chair-time"), "time", map[string]string{"do": "look"}).says(t, "Nothing would change.")
	d.fill(d.see("/set-up/chair-time"), "reset", nil).says(t, "All constants are back at their defaults.")
	require.InDelta(t, 5, value(), 0)
}

func TestRulesAreSavedPartByPart(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	p := d.see("/set-up/rules")
	for _, x := range []struct {
		form   string
		fields map[string]string
	}{
		{"booking", map[string]string{"hold_minutes": "25", "share_overrun_limit": "10", "assistant_steps": "wash"}},
		{"needs", map[string]string{"consultation_for": "chemical", "consent_age": "18", "lapse_when_overdue": "deposit"}},
		{"money", map[string]string{"deposit_chemical": "30 %", "deposit_other": "5.50", "deposit_after_missed": ""}},
		{"spacing", map[string]string{"0-after": "", "0-before": ""}},
		{"care", map[string]string{"keep_dry_hours": "72", "growth_cm_per_month": "1,2"}},
		{"privacy", map[string]string{"health_months": "6"}},
		{"invitations", map[string]string{"replies_mail": "replies@harbour.example"}},
	} {
		p = d.fill(p, x.form, x.fields)
		p.says(t, "Saved.")
	}
	var r api.BookingRules
	s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, &r)
	require.Equal(t, 25, r.HoldMinutes)
	require.InDelta(t, 0.1, *r.ShareOverrunLimit, 1e-9)
	require.Equal(t, []string{"wash"}, r.AssistantSteps)
	require.Equal(t, 18, r.Needs.ConsentAge)
	require.Equal(t, "chemical", r.Needs.ConsultationFor)
	require.Equal(t, "nothing", r.Needs.SkinTestFor)
	require.Equal(t, []string{"deposit"}, r.Needs.LapseWhenOverdue)
	require.Equal(t, 30, r.Money.DepositChemical.Percent)
	require.Equal(t, int64(550), r.Money.DepositOther.Cents)
	require.Equal(t, api.DepositBody{}, *r.Money.DepositMissed)
	var care api.CareRules
	s.Ask(http.MethodGet, "/care-rules", nil, http.StatusOK, &care)
	require.InDelta(t, 1.2, care.GrowthCM, 1e-9)
}

func TestMessagesAreReadBeforeAnybodyGetsThem(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	p := d.fill(d.see("/set-up/messages"), "preview", map[string]string{"kind": "reminder", "to_guardian": "true"})
	p.says(t, "As a text message", "Harbour Chairs", "Rosa")
	p = d.see("/set-up/messages")
	form, action := p.form(t, "messages")
	form.Del("messages-sent")
	form.Set("messages-sent", "reminder")
	form.Set("messages-reminder_hours_before", "48")
	d.send(http.MethodPost, action, form).says(t, "Saved.")
	var r api.MessageRules
	s.Ask(http.MethodGet, "/message-rules", nil, http.StatusOK, &r)
	require.Equal(t, 48, r.ReminderHours)
	require.NotContains(t, r.NotSent, "reminder")
	require.Contains(t, r.NotSent, "confirmation")

	p = d.fill(d.see("/set-up/messages"), "language", map[string]string{"tag": "DE"})
	require.Equal(t, "/set-up/messages/languages/de", p.path)
	typed, _ := p.form(t, "texts")
	german := strings.Replace(typed.Get("texts-document"), `"tag": "en"`, `"tag": "de"`, 1)
	d.fill(p, "texts", map[string]string{"document": german}).says(t, "Saved.", "de")
	p = d.see("/set-up/messages/languages/de")
	d.fill(p, "remove", nil).says(t, "Removed.")
}

func TestSecretsAreShownOnce(t *testing.T) {
	t.Parallel()
	_, d := set(t)
	p := d.fill(d.see("/set-up/access"), "feed", map[string]string{"label": "the phone " + hostile})
	p.says(t, "It is shown only now.", "/cal/f_")
	p = d.see("/set-up/access").says(t, "the whole salon", "never")
	require.NotContains(t, p.body, "/cal/")
	d.fill(p, "rotate", nil).says(t, "It is shown only now.", "/cal/f_")
	d.fill(p, "endfeed", nil).says(t, "Ended: it works no more.")
	p = d.fill(d.see("/set-up/access"), "token", map[string]string{"label": "till", "role": "desk", "expires": "2026-12-31"})
	p.says(t, "It is shown only now.", "Bearer")
	p = d.see("/set-up/access").says(t, "till", "what the front desk does", "1 January 2027")
	d.fill(p, "endtoken", nil).says(t, "Ended: it works no more.")
	require.NotContains(t, d.see("/set-up/access").text(), "till")

	p = d.fill(d.see("/set-up/messages"), "gateway", map[string]string{"address": "http://127.0.0.1:9/in", "enabled": "off"})
	p.says(t, "It is shown only now.", "whsec_")
	p = d.see("/set-up/messages")
	require.NotContains(t, p.body, "whsec_")
	d.fill(p, "secret", nil).says(t, "The old one signs beside it for a day", "whsec_")
	d.fill(d.see("/set-up/messages"), "gatewaytest", nil).says(t, "It did not take what we sent")
	d.fill(d.see("/set-up/messages"), "gone", nil).says(t, "Ended")
}

const holidays = "BEGIN:VCALENDAR\r\nVERSION:2.0\r\n" +
	"BEGIN:VEVENT\r\nUID:1\r\nDTSTART;VALUE=DATE:20261225\r\nDTEND;VALUE=DATE:20261227\r\nSUMMARY:Christmas\\, both\r\n  days\r\nTRANSP:TRANSPARENT\r\nEND:VEVENT\r\n" +
	"BEGIN:VEVENT\r\nUID:2\r\nDTSTART;VALUE=DATE:20260831\r\nSUMMARY;LANGUAGE=en:<b>Late summer</b>\r\nEND:VEVENT\r\n" +
	"BEGIN:VEVENT\r\nUID:3\r\nDTSTART;VALUE=DATE:20250101\r\nSUMMARY:Long over\r\nEND:VEVENT\r\n" +
	"BEGIN:VEVENT\r\nUID:4\r\nDTSTART:20260710T100000Z\r\nDTEND:20260710T110000Z\r\nSUMMARY:Not a whole day\r\nEND:VEVENT\r\n" +
	"BEGIN:VEVENT\r\nUID:5\r\nDTSTART;VALUE=DATE:20260801\r\nSTATUS:CANCELLED\r\nSUMMARY:Called off\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"

func TestHolidaysOfACalendarFileAreProposals(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	closed := func() []api.ClosureBody {
		var list struct{ Items []api.ClosureBody }
		s.Ask(http.MethodGet, "/closures", nil, http.StatusOK, &list)
		return list.Items
	}
	p := d.upload("/set-up/hours/file", "file", "calendar", holidays)
	p.says(t, "Nothing is noted yet.", "Mon 31 August 2026 <b>Late summer</b>", "Fri 25 December 2026 to Sat 26 December 2026 Christmas, both days")
	require.NotContains(t, p.body, "<b>Late")
	for _, other := range []string{"Long over", "Not a whole day", "Called off"} {
		require.NotContains(t, p.text(), other)
	}
	require.Empty(t, closed())
	p = d.fill(p, "close", map[string]string{"chosen": "2026-12-25 to 2026-12-26 Christmas, both days"})
	p.says(t, "The closing days are noted.")
	require.Equal(t, []api.ClosureBody{{ID: closed()[0].ID, First: "2026-12-25", Last: "2026-12-26", Reason: "Christmas, both days"}}, closed())
	d.upload("/set-up/hours/file", "file", "calendar", holidays).says(t, "Late summer")
	require.NotContains(t, d.upload("/set-up/hours/file", "file", "calendar", holidays).text(), "Christmas", "what is known is not proposed again")
	for _, wrong := range []string{"<html>not found</html>", "", strings.Repeat("x", 230<<10)} {
		p = d.upload("/set-up/hours/file", "file", "calendar", wrong)
		require.Contains(t, []int{http.StatusUnprocessableEntity, http.StatusRequestEntityTooLarge}, p.status)
	}
}
