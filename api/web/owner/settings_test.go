package owner_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"chairblock/api/web/webtest"
)

// document is one of the salon's settings documents, with the page on which its
// owner changes it.
type document struct {
	page  string
	forms []string // that change it, and each of which leaves alone what it does not show
	other map[string]string
	full  func(*webtest.Salon) webtest.Object // differs from the defaults throughout
}

// nowhere marks a setting that no field of the page has.
const nowhere = ""

// documents are the settings of a salon. other names, for a setting whose field is
// called otherwise, the beginning of the field's name; nowhere for what the page
// leaves as it is or says in another way.
func documents() map[string]document {
	hair := map[string]string{}
	for _, other := range []string{"length_in", "free_length_cm", "free_length_in", "shrinkage", "hairs_per_cm2", "regrowth_in", "plate_depth_in", "batches", "plan",
		"curl", "passes", "area_share", "areas", "consultation_held", "iron_celsius", "iron_fahrenheit"} {
		hair["usual_mix/hair/"+other] = nowhere // kept as it is: the page asks for what is needed most
	}
	rules := map[string]string{"money/deposit_chemical": "money-deposit_chemical", "money/deposit_other": "money-deposit_other", "money/deposit_after_missed": "money-deposit_after_missed"}
	for k, v := range hair {
		rules[k] = v
	}
	none := func(*webtest.Salon) webtest.Object { return nil }
	return map[string]document{
		"/booking-rules": {"/set-up/rules", []string{"booking", "needs", "money", "spacing", "clients", "order"}, rules, fullRules},
		"/care-rules":    {"/set-up/rules", []string{"care"}, nil, fullCare},
		"/privacy": {"/set-up/rules", []string{"privacy"}, nil, func(*webtest.Salon) webtest.Object {
			return webtest.Object{"health_months": 7, "client_may_erase": true}
		}},
		"/retention": {"/set-up/keeping", []string{"retention"}, nil, func(*webtest.Salon) webtest.Object {
			return webtest.Object{"clients_months": 60, "never_came_months": 9, "visits_months": nil, "messages_months": 15, "requests_months": 6, "invitations_months": 2, "absences_months": nil, "health_reads_months": 24}
		}},
		"/invitation-settings": {"/set-up/rules", []string{"invitations"}, nil, func(*webtest.Salon) webtest.Object {
			return webtest.Object{"send_invitations": true, "replies_mail": "replies@harbour.example"}
		}},
		"/message-rules": {"/set-up/messages", []string{"messages"}, map[string]string{"not_sent": "messages-sent"}, fullMessages},
		"/pace-settings": {"/set-up/pace", []string{"pace"}, map[string]string{"off": "pace-learn", "staff/staff_id": "pace-staff-", "staff/off": "pace-staff-", "staff/counts_from": "pace-staff-"}, fullPace},
		"/consultation-form": {"/set-up/consultation", []string{"questions"}, nil, func(*webtest.Salon) webtest.Object {
			return webtest.Object{"own_questions": []webtest.Object{{"text": "Do you wear contact lenses?", "outcome": "do_not_book"}, {"text": "Do you swim?", "outcome": "ask"}}}
		}},
		"/salon": {"/set-up", []string{"salon"}, map[string]string{"chair_time": nowhere}, func(*webtest.Salon) webtest.Object { // chair time has a page of its own
			return webtest.Object{"name": "Quay Chairs", "currency": "GBP", "length_unit": "in", "heat_unit": "F", "address": "3 Quay Lane", "phone": "+442079460019",
				"mail": "quay@harbour.example", "emergency": "999", "chair_time": webtest.Object{"dwell_minutes": 9}}
		}},
		"/maker-figures": {"/set-up", []string{"maker"}, nil, func(*webtest.Salon) webtest.Object {
			return webtest.Object{"solution": "Solution", "solution_strength": "mild", "neutralizer": "Neutralizer", "neutralizer_strength": "ready", "processing_minutes": 14,
				"longest_minutes": 31, "neutralizer_minutes": 6, "dry_before_iron_percent": 81.5}
		}},
		"/hours": {"/set-up/hours", []string{"week"}, map[string]string{"open": "week-open-"}, func(*webtest.Salon) webtest.Object {
			return webtest.Object{"open": []webtest.Object{{"weekday": 2, "from": "09:30", "to": "13:00"}, {"weekday": 2, "from": "14:00", "to": "20:15"}, {"weekday": 6, "from": "18:00", "to": "00:00"}}}
		}},
		"/chair-time-settings": {"/set-up/chair-time", nil, map[string]string{"values": "time-values-"}, none},
		"/webhook":             {"/set-up/messages", nil, nil, none},
		// The page that sets it, /set-up/sign-in, asks for the password first, see package signin.
		"/access-rules": {"/set-up", nil, map[string]string{"owners_second_factor": nowhere, "everybodys_second_factor": nowhere, "second_factor_from": nowhere}, none},
	}
}

func fullRules(s *webtest.Salon) webtest.Object {
	head := webtest.Object{"length_cm": 41.5, "density": "high", "strand": "fine", "porosity": "low", "damaged": true, "new_client": true, "regrowth_cm": 0.5, "sections": 5,
		"plate_depth_cm": 3.5, "hands": 2, "batches": 2, "plan": "normal", "curl": "curly", "passes": 2, "consultation_held": true, "iron_celsius": 180}
	return webtest.Object{"hold_minutes": 11, "arrive_together_minutes": 16, "missed_after_minutes": 21, "share_overrun_limit": 0.07, "follow_ups_free": false,
		"stylist_clears": "always", "assistant_steps": []string{"wash"}, "client_may_cancel_hours": 12, "client_may_move_hours": nil,
		"spacing": []webtest.Object{{"after": "colour", "before": "bleach", "hours": 5, "either_way": true, "level": "needs_yes", "min_regrowth_cm": 2.5, "words": "Not so soon."},
			{"after": "perm", "before": "colour", "days": 12, "either_way": false, "level": "warn", "words": ""}},
		"usual_mix": []webtest.Object{{"service_id": s.Services["Dry cut"], "per_day": 3, "plural": "cuts", "worth": 12.5}, {"service_id": s.Services["Straightening"], "per_day": 1, "hair": head}},
		"money": webtest.Object{"quote_valid_days": 31, "notice_hours": 49, "late_minutes": 16, "deposit_chemical": webtest.Object{"percent": 40},
			"deposit_other": webtest.Object{"cents": 1234}, "deposit_after_missed": webtest.Object{"percent": 90}},
		"needs": webtest.Object{"consultation_for": "chemical", "consultation_hours": 25, "consultation_valid_days": 364, "skin_test_for": "straightening", "patch_test_valid_days": 181,
			"patch_test_read_hours": 30.5, "skin_test_override": true, "strand_test_for": "chemical", "strand_test_for_new_clients": true, "strand_test_hours": 26, "strand_test_valid_days": 91,
			"deposit_for": "chemical", "guardian_for": "everything", "consent_for": "straightening", "consent_age": 17, "deposit_hold_days": 13, "lapse_when_overdue": []string{"deposit", "consent"}},
		"ranking": webtest.Object{"lost": 1.5, "wish_per_hour": 0.25, "other_lead": 2, "stay_per_hour": 0.125, "no_slack": 0.5, "later_per_day": 0.01, "slack_cap_minutes": 12}}
}

func fullCare(*webtest.Salon) webtest.Object {
	return webtest.Object{"keep_dry_hours": 50, "no_tie_hours": 60, "growth_cm_per_month": 1.05, "slow_cm_per_month": 0.75, "quick_cm_per_month": 1.35, "growth_spread": 0.2,
		"retouch_due_cm": 7, "retouch_look_cm": 4.5, "retouch_floor_months": 3, "retouch_cap_months": 11}
}

func fullMessages(*webtest.Salon) webtest.Object {
	return webtest.Object{"quiet_from": "21:15", "quiet_to": "07:45", "not_sent": []string{"day_after", "retouch_again"}, "language": "de", "dated_at": "11:30", "prepare_hours_before": 71,
		"reminder_hours_before": 25, "reminder_asks_yes": false, "yes_within_hours": 5, "retouch_again_weeks": 3, "late_minutes": 17, "late_by_itself": true, "tell_checks": true,
		"invitations_need_yes": true}
}

func fullPace(s *webtest.Salon) webtest.Object {
	return webtest.Object{"off": true, "counts_from": "2026-01-02", "staff": []webtest.Object{{"staff_id": s.Ada, "off": true, "counts_from": "2026-02-03"}}, "constants": webtest.Object{}}
}

// schema is what a description says of a value.
type schema struct {
	Ref        string            `json:"$ref"`
	ReadOnly   bool              `json:"readOnly"`
	Properties map[string]schema `json:"properties"`
	Items      *schema           `json:"items"`
}

// described reads the settings documents of the interface's description: what can
// be set in each, by path.
func described(t *testing.T, s *webtest.Salon) map[string][]string {
	t.Helper()
	raw, err := s.Server.Spec()
	require.NoError(t, err)
	var spec struct {
		Paths map[string]map[string]struct {
			RequestBody struct {
				Content map[string]struct{ Schema schema }
			}
		}
		Components struct{ Schemas map[string]schema }
	}
	require.NoError(t, json.Unmarshal(raw, &spec))
	var leaves func(at string, x schema) []string
	leaves = func(at string, x schema) (out []string) {
		if name, ok := strings.CutPrefix(x.Ref, "#/components/schemas/"); ok {
			ro := x.ReadOnly
			x = spec.Components.Schemas[name]
			x.ReadOnly = x.ReadOnly || ro
		}
		if x.Items != nil && !x.ReadOnly {
			return leaves(at, *x.Items)
		}
		if len(x.Properties) == 0 {
			return []string{at}
		}
		for name, p := range x.Properties {
			if !p.ReadOnly && name != "$schema" {
				out = append(out, leaves(strings.TrimPrefix(at+"/"+name, "/"), p)...)
			}
		}
		slices.Sort(out)
		return out
	}
	out := map[string][]string{}
	for path, ways := range spec.Paths {
		if put, ok := ways["put"]; ok && !strings.Contains(path, "{") {
			out[strings.TrimPrefix(path, "/v1")] = leaves("", put.RequestBody.Content["application/json"].Schema)
		}
	}
	return out
}

// alias finds how a setting's field is called otherwise, by the longest beginning of
// its path.
func (d document) alias(leaf string) (field string, ok bool) {
	for at := leaf; at != ""; at = at[:max(0, strings.LastIndexByte(at, '/'))] {
		if field, ok = d.other[at]; ok {
			return field, true
		}
	}
	return "", false
}

func TestEverySettingHasAFieldOnAPageOfTheOwner(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	docs, all := documents(), described(t, s)
	require.NotEmpty(t, all)
	for path, leaves := range all {
		doc, ok := docs[path]
		require.True(t, ok, "no page is known that changes %s", path)
		page := d.see(doc.page)
		var names []string
		for _, m := range regexp.MustCompile(` name="([^"]+)"`).FindAllStringSubmatch(page.body, -1) {
			names = append(names, regexp.MustCompile(`-\d+-`).ReplaceAllString(m[1], "-")) // a row of a list
		}
		for _, leaf := range leaves {
			field, other := doc.alias(leaf)
			if other && field == nowhere {
				continue
			}
			plain := strings.ReplaceAll(leaf, "/", "-")
			require.True(t, slices.ContainsFunc(names, func(name string) bool {
				if other {
					return strings.HasPrefix(name, field)
				}
				_, ofForm, _ := strings.Cut(name, "-")
				return name == plain || ofForm == plain || strings.HasPrefix(ofForm, plain+"-") && leaf == "constants"
			}), "%s has no field for %s on %s", path, leaf, doc.page)
		}
	}
}

// has reports whether a document says something at a path, in any row of a list.
func has(v any, path []string) bool {
	switch x := v.(type) {
	case []any:
		return len(path) == 0 || slices.ContainsFunc(x, func(row any) bool { return has(row, path) })
	case map[string]any:
		if len(path) == 0 {
			return true
		}
		y, ok := x[path[0]]
		return ok && has(y, path[1:])
	}
	return len(path) == 0
}

func TestAFormSentAsItIsChangesNoSetting(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	all := described(t, s)
	read := func(path string) (out map[string]any, tag string) {
		tag = s.Ask(http.MethodGet, path, nil, http.StatusOK, &out).Get("ETag")
		return out, tag
	}
	docs := documents()
	for _, path := range []string{"/booking-rules", "/care-rules", "/privacy", "/retention", "/invitation-settings", "/message-rules", "/pace-settings", "/consultation-form", "/maker-figures", "/hours", "/salon"} {
		doc := docs[path]
		full := doc.full(s)
		if path == "/pace-settings" {
			now, _ := read(path)
			for _, x := range now["list"].([]any) {
				c := x.(map[string]any)
				full["constants"].(webtest.Object)[c["name"].(string)] = between(c)
			}
		}
		_, tag := read(path)
		s.Ask(http.MethodPut, path, full, http.StatusOK, nil, "If-Match", tag)
		var sent any
		text, err := json.Marshal(full)
		require.NoError(t, err)
		require.NoError(t, json.Unmarshal(text, &sent))
		for _, leaf := range all[path] {
			if _, other := doc.alias(leaf); !other {
				require.True(t, has(sent, strings.Split(leaf, "/")), "%s is not tried with another %s than the default", path, leaf)
			}
		}
		for _, id := range doc.forms {
			before, _ := read(path)
			form, action := d.see(doc.page).form(t, id)
			p := d.send(http.MethodPost, action, form)
			require.Equal(t, http.StatusOK, p.status, "%s %s: %s", path, id, p.text())
			require.NotContains(t, p.text(), "to put right")
			after, _ := read(path)
			require.Equal(t, before, after, "%s, form %s", path, id)
		}
	}
	// The other documents of the same row are as they were, too.
	for path, want := range map[string]string{"/privacy": `"client_may_erase":true`, "/booking-rules": `"client_may_cancel_hours":12,"client_may_move_hours":null`, "/salon": `"dwell_minutes":9`} {
		var got json.RawMessage
		s.Ask(http.MethodGet, path, nil, http.StatusOK, &got)
		require.Contains(t, string(got), want)
	}
}

// between is another value of a constant than its default, within its range.
func between(c map[string]any) float64 {
	least, most, usual := c["min"].(float64), c["max"].(float64), c["default"].(float64)
	if usual >= 2 && usual+1 <= most { // may have to be whole
		return usual + 1
	}
	if usual != most {
		return usual + (most-usual)/64
	}
	return usual - (usual-least)/64
}

func TestClientsAreLetDoWhatTheOwnerTicks(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	d.fill(d.see("/set-up/rules"), "clients", map[string]string{"client_may_cancel_hours": "6", "client_may_move_hours": ""}).says(t, "Saved.")
	d.fill(d.see("/set-up/rules"), "privacy", map[string]string{"client_may_erase": "true"}).says(t, "Saved.")
	var rules, privacy json.RawMessage
	s.Ask(http.MethodGet, "/booking-rules", nil, http.StatusOK, &rules)
	require.Contains(t, string(rules), `"client_may_cancel_hours":6,"client_may_move_hours":null`)
	d.fill(d.see("/set-up/rules"), "privacy", map[string]string{"health_months": "9"}).says(t, "Saved.")
	s.Ask(http.MethodGet, "/privacy", nil, http.StatusOK, &privacy)
	require.JSONEq(t, `{"health_months": 9, "client_may_erase": true, "health_from_date": "2026-06-10"}`, string(privacy))
	p := d.fill(d.see("/set-up/rules"), "clients", map[string]string{"client_may_cancel_hours": "9999"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.body, `id="e-clients-client_may_cancel_hours"`)
}

func TestTheUsualMixAndQuestionsAreWrittenOnPages(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	p := d.fill(d.see("/set-up/rules"), "order", map[string]string{"ranking-lost": "", "usual_mix-0-service_id": s.Services["Straightening"], "usual_mix-0-per_day": "2"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.body, `id="e-order-ranking-lost"`)
	p = d.fill(p, "order", map[string]string{"ranking-lost": "2,5"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.body, `id="e-order-usual_mix-0-hair-length_cm"`, "its time depends on the hair")
	d.fill(p, "order", map[string]string{"usual_mix-0-hair-length_cm": "35", "usual_mix-1-service_id": s.Services["Dry cut"], "usual_mix-1-per_day": "4"}).says(t, "Saved.", "A usual day: 4 of Dry cut")
	p = d.fill(d.see("/set-up/rules"), "order", map[string]string{"usual_mix-0-service_id": ""})
	p.says(t, "Saved.", "A usual day: 4 of Dry cut")
	require.NotContains(t, p.text(), "of Straightening")

	p = d.fill(d.see("/set-up/consultation"), "questions", map[string]string{"own_questions-3-text": "Do you swim?", "own_questions-3-outcome": "do_not_book"})
	p.says(t, "Saved.")
	require.Contains(t, p.body, `name="questions-own_questions-0-text" value="Do you swim?"`, "gaps close")
	p = d.fill(p, "questions", map[string]string{"own_questions-1-text": strings.Repeat("x", 300)})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	require.Contains(t, p.body, `id="e-questions-own_questions-1-text"`)
	form, action := d.see("/set-up/consultation").form(t, "wording")
	form.Set("wording-text", "I agree.")
	for range 2 { // a double press
		d.send(http.MethodPost, action, form).says(t, "Saved.", "Wording 2 is in use.", "I agree.")
	}
	var words struct{ Items []any }
	s.Ask(http.MethodGet, "/consent-wordings", nil, http.StatusOK, &words)
	require.Len(t, words.Items, 2, fmt.Sprint(words.Items))
}

func TestAFigureOutOfBoundsIsNamedInWholeLetters(t *testing.T) {
	t.Parallel()
	_, d := set(t)
	p := d.fill(d.see("/set-up/rules"), "care", map[string]string{"keep_dry_hours": "999"})
	require.Equal(t, http.StatusUnprocessableEntity, p.status)
	p.says(t, "“999” cannot be right. Right is: 72 or less.")
}

// fullStep is a step that differs from what is left out throughout.
func fullStep(more webtest.Object) webtest.Object {
	x := webtest.Object{"kind": "own_kind", "label": "our own", "who": "assistant_or_lead", "where": "basin", "minutes": 12, "hands_on": true, "watched": false,
		"wait_min_minutes": 2, "wait_max_minutes": 7, "helper": true, "may_overrun": false, "held_while_waiting": []string{"basin", "lead"}, "watch_for": []string{"Water lukewarm.", "{off_scalp}"}}
	for k, v := range more {
		x[k] = v
	}
	return x
}

func TestAFormOfAPersonAPlaceAProductOrAServiceSentAsItIsChangesNothing(t *testing.T) {
	t.Parallel()
	s, d := set(t)
	var product struct{ ID string }
	s.Ask(http.MethodPost, "/products", webtest.Object{"name": "Own", "kind": "other", "strength": "", "pack_ml": 100}, http.StatusCreated, &product)
	service := s.Services["Straightening"]
	for _, x := range []struct {
		path, page, form string
		full             webtest.Object
	}{
		{"/staff/" + s.Ada, "/set-up/people/" + s.Ada, "person", webtest.Object{"name": "Ada Birch", "initials": "AB", "may_lead": true, "mail": "ada@harbour.example",
			"skills": []string{"cut", "straightening", "own_skill"}, "leaves_out": []string{"apply", "own_kind"}, "changeover_minutes": 7}},
		{"/staff/" + s.Ada + "/hours", "/set-up/people/" + s.Ada, "hours", webtest.Object{"work": []webtest.Object{{"weekday": 1, "from": "09:15", "to": "13:00"}, {"weekday": 6, "from": "20:00", "to": "00:00"}},
			"breaks": []webtest.Object{{"weekday": 1, "from": "11:00", "to": "11:10"}}}},
		{"/stations/" + s.Chairs[0], "/set-up/stations/" + s.Chairs[0], "station", webtest.Object{"kind": "chair", "name": "Window", "changeover_minutes": 9}},
		{"/products/" + product.ID, "/set-up/products/" + product.ID, "product", webtest.Object{"name": "Own", "kind": "other", "strength": "", "pack_ml": 250, "cost_cents": 1234, "label": webtest.Object{
			"thioglycolic_acid_percent": 7.5, "thioglycolate_ester_percent": 1.5, "ph": 9.2, "peroxide_percent": 2, "ammonia_percent": 1, "sodium_hydroxide_percent": 0.5, "sodium_bromate_percent": 3,
			"formaldehyde_percent": 0.1, "glyoxylic_acid": true, "professional_use_only": true, "processing_minutes": 14, "longest_minutes": 30, "neutralizer_minutes": 6, "dry_before_iron_percent": 80.5}}},
		{"/services/" + service, "/set-up/services/" + service, "service", webtest.Object{"name": "Straight, our way", "skill": "straightening", "chemical": true, "aftercare": true, "retouch": false,
			"families": []string{"straightening", "wet"}, "clear_minutes": 4, "price_cents": 31000, "products": []webtest.Object{{"product_id": product.ID, "ml": 30}},
			"price_rule": webtest.Object{"by": "band", "helper_cents": 700, "bands": []webtest.Object{{"up_to_cm": 30.5, "low_cents": 1, "medium_cents": 2, "high_cents": 3}, {"low_cents": 4, "medium_cents": 5, "high_cents": 6}}},
			"steps": []webtest.Object{fullStep(webtest.Object{"kind": "wash"}), fullStep(webtest.Object{"kind": "iron", "label": "Iron", "formula": "head", "minutes": 0, "where": "chair", "who": "lead", "held_while_waiting": []string{}, "may_overrun": true}),
				fullStep(webtest.Object{"kind": "own_kind", "who": "lead", "where": "chair", "hands_on": false, "watched": true, "helper": false, "wait_min_minutes": 0, "wait_max_minutes": 0, "held_while_waiting": []string{}})}}},
	} {
		read := func() map[string]any {
			var out map[string]any
			s.Ask(http.MethodGet, x.path, nil, http.StatusOK, &out)
			for _, moves := range []string{"service_version", "made_at", "visits_in_conflict"} {
				delete(out, moves)
			}
			return out
		}
		tag := s.Ask(http.MethodGet, x.path, nil, http.StatusOK, nil).Get("ETag")
		s.Ask(http.MethodPut, x.path, x.full, http.StatusOK, nil, "If-Match", tag)
		before := read()
		form, action := d.see(x.page).form(t, x.form)
		if x.form == "service" {
			form.Set("do", "look")
		}
		p := d.send(http.MethodPost, action, form)
		if x.form == "service" {
			p = d.fill(p, "service", map[string]string{"do": "save"})
		}
		require.Equal(t, http.StatusOK, p.status, "%s: %s", x.path, p.text())
		require.NotContains(t, p.text(), "to put right")
		require.Equal(t, before, read(), x.path)
	}
}
