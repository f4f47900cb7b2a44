package api_test

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"chairblock/api"
	"chairblock/store"
)

// mayDo says who may do what, written down a second time: o owner, d desk, l
// stylist in charge, a assistant.
var mayDo = map[string]string{
	"get-salon": "odla", "update-salon": "o", "list-chair-time-settings": "odl",
	"set-chair-time-settings": "o", "reset-chair-time-settings": "o", "preview-chair-time-settings": "o",
	"report-salon": "o", "preview-change": "od", "read-closing-days": "o", "preview-service": "o", "get-set-up": "o", "add-usual-services": "o",
	"get-maker-figures": "o", "set-maker-figures": "o",
	"get-booking-rules": "odla", "set-booking-rules": "o",
	"get-pace-settings": "o", "set-pace-settings": "o", "report-pace": "ol",
	"get-care-rules": "odla", "set-care-rules": "o",
	"list-staff": "odla", "get-staff": "odla", "add-staff": "o", "update-staff": "o", "delete-staff": "o",
	"get-staff-hours": "odla", "set-staff-hours": "o", "list-working-days": "odla",
	"list-staff-rotas": "odla", "add-staff-rota": "o", "get-staff-rota": "odla", "set-staff-rota": "o", "delete-staff-rota": "o",
	"list-single-days": "odla", "add-single-day": "o", "get-single-day": "odla", "set-single-day": "o", "delete-single-day": "o",
	"list-stations": "odla", "get-station": "odla", "add-station": "o", "add-stations": "o", "update-station": "o", "delete-station": "o",
	"get-hours": "odla", "set-hours": "o",
	"list-opening-days": "odla", "add-opening-day": "o", "get-opening-day": "odla", "set-opening-day": "o", "delete-opening-day": "o",
	"list-closures": "odla", "add-closure": "o", "add-closures": "o", "delete-closure": "o",
	"list-absences": "odla", "add-absence": "od", "delete-absence": "od",
	"list-private-calendars": "odl", "add-private-calendar": "odl", "add-private-file": "odl", "get-private-calendar": "odl",
	"update-private-calendar": "odl", "replace-private-file": "odl", "fetch-private-calendar": "odl", "delete-private-calendar": "odl",
	"list-services": "odla", "get-service": "odla", "add-service": "o", "update-service": "o", "delete-service": "o",
	"copy-service": "o", "list-service-versions": "odla", "get-service-version": "odla",
	"list-products": "odla", "get-product": "odla", "add-product": "o", "update-product": "o", "delete-product": "o",
	"get-stock": "odla", "add-stock-movement": "odla", "list-stock-movements": "odl", "set-visit-product": "odl",
	"make-quote": "odl", "get-quote": "odl", "list-quotes": "odl", "list-money": "odl", "note-money": "odl",
	"list-clients": "odl", "get-client": "odl", "add-client": "odl", "update-client": "odl", "delete-client": "o", "preview-merge": "od", "merge-clients": "od", "export-client": "od", "export-client-files": "od", "look-at-erasure": "o", "erase-client": "o", "list-changes": "o",
	"list-heads": "odl", "add-head": "odl", "expect-hair": "odl",
	"get-hair-map": "ol", "list-hair-treatments": "ol", "add-hair-treatment": "ol", "delete-hair-treatment": "ol",
	"make-estimate": "odl", "get-estimate": "odl", "phone-estimate": "odl",
	"find-openings": "odl",
	"book-visit":    "odl", "list-visits": "odla", "get-visit": "odla", "move-visit": "odl", "cancel-visit": "odl",
	"arrive-visit": "odla", "finish-visit": "odl", "miss-visit": "od",
	"start-step": "odla", "finish-step": "odla", "undo-step": "odla", "list-visit-events": "odl",
	"get-delays": "odl", "apply-remedy": "odl",
	"add-hold": "odl", "list-holds": "odl", "book-held-visit": "odl", "release-visit": "odl", "hold-visit": "odl",
	"add-walk-in": "odl", "keep-time": "odl",
	"get-person-day": "odla", "get-visit-run": "ola", "tap-visit": "odla",
	"get-card": "ola", "get-visit-now": "odla", "add-card-fact": "ola", "correct-card-fact": "ola",
	"hair-as-seen": "odl", "rinse-now": "odla", "undo-rinse-now": "odla", "stop-visit": "ol", "clear-follow-up": "ol",
	"book-first-wash-check": "odl", "book-correction": "odl", "get-last-card": "ol", "export-cards": "ol",
	"swap-visit": "odl", "extend-visit": "odl", "set-visit-group": "odl",
	"list-waiting": "odl", "add-waiting": "odl", "get-waiting": "odl", "update-waiting": "odl", "withdraw-waiting": "odl",
	"match-waiting": "odl", "plan-day": "odl", "get-day-plan": "odl", "apply-day-plan": "odl",
	"find-group-openings": "odl", "book-group": "odl", "get-group": "odl",
	"get-day": "odla", "watch-salon": "odla", "get-week": "odla",
	"get-undo": "odla", "undo-last": "odla", "undo-arrival": "odla", "list-reminders": "odl", "list-messages": "od", "send-message-again": "od",
	"get-webhook": "o", "add-webhook": "o", "update-webhook": "o", "delete-webhook": "o", "rotate-webhook-secret": "o", "test-webhook": "o",
	"add-skin-test": "odla", "read-skin-test": "ol", "list-skin-tests": "ol", "add-strand-test": "ol", "list-strand-tests": "ol",
	"add-reaction": "odla", "list-reactions": "ol",
	"get-minor": "odl", "set-minor": "odl", "delete-minor": "odl", "add-guardian-yes": "odl",
	"list-consents": "odl", "add-consent": "odl", "withdraw-consent": "odl", "list-consent-wordings": "odla", "add-consent-wording": "o",
	"override-need": "odl", "withdraw-override": "odl", "list-overrides": "ol", "list-to-do": "odl", "name-client": "odl",
	"undo-miss": "od", "find-clients": "odl", "get-client-overview": "odl", "lay-aside-message": "od",
	"list-own-links": "odl", "add-own-link": "odl", "rotate-own-link": "odl", "revoke-own-link": "odl", "close-own-pages": "odl",
	"list-client-requests": "odl", "settle-client-request": "odl",
	"list-feeds": "odl", "add-feed": "odl", "rotate-feed": "odl", "revoke-feed": "odl",
	"get-consultation-form": "odl", "set-consultation-form": "o", "list-screenings": "odl", "add-screening": "ol",
	"get-screening": "ol", "delete-screening": "ol", "decide-screening": "ol",
	"get-privacy": "odl", "set-privacy": "o", "list-health-reads": "o",
	"get-retention": "o", "set-retention": "o", "preview-retention": "o",
	"list-accounts": "o", "get-account": "o", "add-account": "o", "update-account": "o", "add-account-link": "o", "end-account-sessions": "o",
	"list-tokens": "o", "add-token": "o", "revoke-token": "o",
	"get-own-second-factor": "odla", "begin-own-second-factor": "odla", "confirm-own-second-factor": "odla", "end-own-second-factor": "odla",
	"new-recovery-codes": "odla", "reset-second-factor": "o", "get-access-rules": "o", "set-access-rules": "o", "sign-in": "odla", "sign-out": "odla",
	"get-message-rules": "odla", "set-message-rules": "o", "get-message-wishes": "odl", "set-message-wishes": "odl",
	"list-languages": "odla", "get-language": "odla", "set-language": "o", "delete-language": "o", "preview-message": "odl",
	"note-yes": "odl", "take-back-yes": "odl",
	"get-invitation-settings": "o", "set-invitation-settings": "o", "list-invitation-replies": "odl",
	"tell-running-late": "odl", "list-calls": "odl", "add-call-try": "odl",
}

// request is a right request of one operation.
type request struct {
	method, path string // path with the id in it
	body         any
	headers      []string
}

// besides are the headers without one of them.
func (r request) besides(name string) []string {
	var out []string
	for i := 0; i+1 < len(r.headers); i += 2 {
		if r.headers[i] != name {
			out = append(out, r.headers[i], r.headers[i+1])
		}
	}
	return out
}

// things are one of each that an id can name, by the path that it stands in.
func (s *salon) things() map[string]string {
	s.t.Helper()
	client := s.client("Mara")
	v, _ := s.book(client, start.Add(49*time.Hour), s.straightening())
	out := map[string]string{"staff": s.ben, "stations": s.chairs[1], "services": s.services["Dry cut"], "clients": client,
		"estimates": v.Services[0].EstimateID, "visits": v.ID}
	for path, body := range map[string]object{
		"closures": {"first_date": "2026-12-24", "last_date": "2026-12-26"},
		"absences": {"unit_id": s.ben, "from": "2026-07-01T09:00:00+02:00", "to": "2026-07-01T12:00:00+02:00"},
		"feeds":    {"kind": "client", "subject_id": client},
		"products": {"name": "Solution", "kind": "solution", "strength": "normal", "pack_ml": 500},
		"quotes":   {"client_id": client, "services": s.straightening()},
		"tokens":   {"role": "desk", "label": "spare"},
		"accounts": {"mail": "ada@example.org", "name": "Ada", "roles": []string{"owner"}},
	} {
		var x struct{ ID string }
		s.call("POST", "/v1/"+path, body).is(201, &x)
		out[path] = x.ID
	}
	out["rotas"] = s.byDate(s.ben)
	s.call("POST", "/v1/hours/days", openingDay("2026-06-10", "08:00", "19:00")).is(201, nil)
	out["screenings"] = s.screened(client, map[string]string{"perm": "yes"}).ID
	out["skin-tests"], out["consents"] = s.onRecord(client)
	out["facts"] = s.fact(v)
	out["calls"] = s.becomes(v.ID, "prepare", "to_call")
	out["private-calendars"] = s.privateFile(s.ada, diary()).ID
	waiting := s.waits(client, object{"first_date": "2026-07-06", "last_date": "2026-07-10"})
	out["waiting-list"] = waiting.ID
	out["day-plans"] = s.plan(object{"date": "2026-07-06", "waiting_list": []string{waiting.ID}, "rounds": 50}).ID
	out["messages"] = s.failed(v.ID)
	out["own-links"], out["client-requests"] = s.ownThings(client)
	s.call("POST", "/v1/webhook", object{"address": nowhere, "enabled": true}).is(201, nil)
	// Right behind the visit, so that it can join.
	out["visit-groups"] = s.group("one_after_other", s.visitOf("Ines", v.End.Add(5*time.Minute), s.by(s.ben, "Dry cut")),
		s.visitOf("Lena", v.End.Add(35*time.Minute), s.by(s.ada, "Dry cut"))).ID
	return out
}

// requests makes a right request of every operation, by its id.
func (s *salon) requests() map[string]request {
	s.t.Helper()
	things := s.things()
	straightening := s.services["Straightening"]
	windows := []object{{"weekday": 1, "from": "09:00", "to": "18:00"}}
	steps := []object{{"kind": "cut", "label": "Cut", "who": "lead", "where": "chair", "minutes": 20, "hands_on": true}}
	bodies := map[string]any{
		"add-account":       object{"mail": "desk@example.org", "name": "Carla", "roles": []string{"desk"}},
		"update-account":    object{"mail": "ada@example.org", "staff_id": s.ada, "roles": []string{"owner", "lead"}},
		"update-salon":      object{"name": "Quay Chairs", "currency": "EUR", "length_unit": "cm", "heat_unit": "C", "address": "1 Quay", "phone": "+4930901820", "mail": "desk@quay.example", "emergency": "112"},
		"set-booking-rules": object{"hold_minutes": 12, "needs": everyNeedRule()}, "set-invitation-settings": object{"send_invitations": true, "replies_mail": "replies@quay.example"},
		"set-pace-settings": object{"counts_from": "2026-01-01", "staff": []object{{"staff_id": s.ben, "off": true}}, "constants": object{"noise_sd": 0.25}},
		"add-staff":         object{"name": "Ora", "initials": "O", "may_lead": true, "skills": []string{"cut"}},
		"update-staff":      object{"name": "Ben", "initials": "B", "may_lead": true, "skills": []string{"cut"}},
		"add-station":       object{"kind": "chair", "name": "Chair 3", "changeover_minutes": 3}, "update-station": object{"kind": "chair", "name": "Window", "changeover_minutes": 3},
		"set-hours": object{"open": windows}, "set-staff-hours": object{"work": windows, "breaks": []object{}},
		"add-staff-rota": twoWeeks("2026-09-01", ""), "set-staff-rota": twoWeeks("2026-07-01", "2026-08-30"),
		"add-single-day": singleDay("2026-06-14", "10:00", "15:00"), "set-single-day": singleDay("2026-06-10"),
		"add-opening-day": openingDay("2026-06-14", "10:00", "15:00"), "set-opening-day": openingDay("2026-06-10"),
		"add-stations": object{"chairs": 1, "basins": 1},
		"add-closures": object{"items": []object{{"first_date": "2026-08-05", "last_date": "2026-08-06", "reason": "works"}}},
		"add-closure":  object{"first_date": "2026-08-03", "last_date": "2026-08-04", "reason": "works"},
		"add-absence":  object{"unit_id": s.mina, "from": "2026-07-02T09:00:00+02:00", "to": "2026-07-02T12:00:00+02:00"},
		"add-service":  object{"name": "Fringe", "skill": "cut", "chemical": false, "aftercare": false, "price_cents": 900, "steps": steps},
		"add-client":   object{"given_name": "Nora"}, "update-client": object{"given_name": "Mara", "family_name": "Quist"},
		"add-head":      object{"measured_on": "2026-06-08", "hair": hair()},
		"make-estimate": object{"service_id": straightening, "hair": hair()}, "phone-estimate": object{"reach": "chin", "history": []string{"nothing"}},
		"find-openings": object{"services": s.straightening(), "limit": 2},
		"book-visit":    object{"client_id": s.client("Nora"), "start": start.Add(169 * time.Hour), "services": s.straightening()},
		"move-visit":    object{"start": start.Add(97 * time.Hour), "approved_by": "Ada"}, "finish-visit": object{},
		"cancel-visit": object{"others": "keep"}, "extend-visit": object{"minutes": 5}, "set-visit-group": object{"group_id": things["visit-groups"]},
		"swap-visit":          object{"other_id": s.visit("Olga", start.Add(121*time.Hour)), "other_version": 1, "approved_by": "Ada"},
		"find-group-openings": object{"how": "side_by_side", "limit": 1, "visits": []object{{"services": s.straightening()}, {"services": []object{s.by(s.ben, "Dry cut")}}}},
		"book-group": object{"how": "side_by_side", "visits": []object{s.visitOf("Rosa", start.Add(time.Hour), s.by(s.ada, "Dry cut")),
			s.visitOf("Thea", start.Add(time.Hour), s.by(s.ben, "Dry cut"))}},
		"add-feed": object{"kind": "staff", "subject_id": s.ada}, "add-token": object{"role": "assistant", "staff_id": s.mina, "label": "phone"},
	}
	bodies["add-service"].(object)["price_rule"] = object{"by": "minutes", "cents_per_minute": 110, "round_up_to_cents": 500, "least_cents": 900}
	bodies["add-service"].(object)["products"] = []object{{"product_id": things["products"], "ml": 10}}
	bodies["update-service"] = bodies["add-service"]
	bodies["preview-service"] = object{"service_id": things["services"], "service": bodies["add-service"]}
	bodies["read-closing-days"] = object{"calendar": "BEGIN:VCALENDAR\r\nBEGIN:VEVENT\r\nUID:a\r\nDTSTART;VALUE=DATE:20261225\r\nSUMMARY:Christmas\r\nEND:VEVENT\r\nEND:VCALENDAR\r\n"}
	bodies["preview-change"] = object{"gone_unit_id": s.ben}
	bodies["set-maker-figures"] = object{"solution": "Lotion", "solution_strength": "normal", "neutralizer": "Fix", "neutralizer_strength": "ready",
		"processing_minutes": 15, "longest_minutes": 30, "neutralizer_minutes": 7, "dry_before_iron_percent": 85}
	label := object{"thioglycolic_acid_percent": 7.5, "ph": 9.2, "processing_minutes": 15, "longest_minutes": 30, "dry_before_iron_percent": 80}
	bodies["add-product"] = object{"name": "Solution", "kind": "solution", "strength": "mild", "pack_ml": 500, "cost_cents": 2400, "label": label}
	bodies["update-product"] = object{"name": "Lotion", "kind": "solution", "strength": "normal", "pack_ml": 1000, "label": label}
	bodies["add-stock-movement"] = object{"kind": "received", "ml": 1000, "note": "delivery"}
	bodies["set-visit-product"] = object{"product_id": things["products"], "ml": 120, "approved_by": "Ada"}
	bodies["make-quote"] = object{"services": s.straightening(), "client_id": things["clients"], "lead_id": s.ada}
	bodies["note-money"] = object{"kind": "deposit_asked", "amount_cents": 5000, "by": start, "note": "by card, please"}
	maps.Copy(bodies, needBodies(s.client("Runa")))
	maps.Copy(bodies, messageBodies())
	bodies["find-clients"] = object{"text": "mar"}
	bodies["undo-last"] = object{"id": "book-0-1-1"}
	bodies["lay-aside-message"] = object{"why": "told her on the telephone"}
	bodies["add-own-link"], bodies["settle-client-request"] = object{"label": "phone", "days_unused": 30}, object{"outcome": "done", "note": "called her"}
	bodies["add-call-try"] = object{"outcome": "left_word", "note": "on the machine", "again_at": start.Add(3 * time.Hour)}
	german := s.language("de")
	bodies["set-chair-time-settings"] = object{"values": object{"press_medium_seconds": 3}}
	bodies["preview-chair-time-settings"] = bodies["set-chair-time-settings"]
	bodies["reset-chair-time-settings"] = object{"names": []string{"press_medium_seconds"}}
	bodies["copy-service"] = object{"name": "Dry cut, short"}
	bodies["arrive-visit"], bodies["start-step"], bodies["finish-step"] = object{}, object{}, object{}
	bodies["apply-remedy"] = object{"remedy": strings.Repeat("0", 24), "as_of": start}
	bodies["add-waiting"] = object{"client_id": things["clients"], "services": s.straightening(), "first_date": "2026-07-13", "last_date": "2026-07-14", "weekdays": []int{1, 2},
		"from": "09:00", "to": "18:00", "lead_ids": []string{s.ada}}
	bodies["update-waiting"] = bodies["add-waiting"]
	bodies["match-waiting"] = object{"first_date": "2026-07-06", "last_date": "2026-07-07", "rounds": 50}
	bodies["plan-day"] = object{"date": "2026-07-06", "waiting_list": []string{"all"}, "movable": []string{"all_not_started"}, "rounds": 50,
		"away": []object{{"unit_id": s.ben, "from": "2026-07-06T09:00:00+02:00", "to": "2026-07-06T12:00:00+02:00"}}}
	bodies["apply-day-plan"] = object{"approved_by": "Ada"}
	var held api.VisitBody
	s.call("POST", "/v1/holds", object{"start": start.Add(124 * time.Hour), "services": []object{s.by(s.ben, "Dry cut")}}, "Idempotency-Key", "pencilled").is(201, &held)
	bodies["add-hold"] = object{"start": start.Add(100 * time.Hour), "services": []object{s.by(s.ben, "Dry cut")}, "title": "a caller"}
	bodies["book-held-visit"], bodies["hold-visit"] = object{"client_id": s.client("Ines")}, object{"minutes": 30}
	bodies["set-care-rules"] = object{"keep_dry_hours": 72, "no_tie_hours": 96, "growth_cm_per_month": 1.0, "slow_cm_per_month": 0.7, "quick_cm_per_month": 1.2,
		"growth_spread": 0.2, "retouch_due_cm": 8, "retouch_look_cm": 6, "retouch_floor_months": 5, "retouch_cap_months": 10}
	bodies["add-hair-treatment"] = object{"kind": "relaxer_or_perm", "done_on": "2025-03-01"}
	var treatment api.HairTreatmentBody
	s.call("POST", "/v1/clients/"+things["clients"]+"/hair-treatments", bodies["add-hair-treatment"]).is(201, &treatment)
	bodies["add-walk-in"] = object{"service_id": s.services["Dry cut"], "given_name": "Vida"}
	bodies["keep-time"] = object{"unit_ids": []string{s.mina}, "start": start.Add(101 * time.Hour), "minutes": 20, "title": "the laundry"}
	bodies["add-screening"] = s.answers(nil)
	bodies["decide-screening"] = object{"decision": "no", "why": "her doctor says no", "decided_by": "Ada"}
	bodies["set-consultation-form"] = object{"own_questions": []object{{"text": "Do you wear contact lenses?", "outcome": "ask"}}}
	bodies["set-privacy"] = object{"health_months": 6}
	bodies["set-retention"] = object{"clients_months": nil, "never_came_months": 12, "visits_months": 120, "messages_months": 14, "requests_months": 12, "invitations_months": 3,
		"absences_months": 12, "health_reads_months": 36}
	bodies["add-card-fact"], bodies["correct-card-fact"] = object{"kind": "iron", "iron": object{"setting": 170, "unit": "C"}}, object{"iron": object{"setting": 175}}
	bodies["hair-as-seen"], bodies["rinse-now"] = object{"unchanged": true}, object{}
	bodies["tap-visit"] = object{"kind": "arrive"}
	bodies["stop-visit"] = object{"reason": "other", "detail": "the light went out", "outcome": "rinsed", "told": []string{"client"}, "licensed": "Ada"}
	bodies["clear-follow-up"] = object{"licensed": "Ada", "why": "looked at it"}
	bodies["book-first-wash-check"] = object{"start": "2026-06-15T10:00:00+02:00"}
	bodies["book-correction"] = object{"start": "2026-06-16T09:00:00+02:00", "approved_by": "Ada", "hair": hair()}
	bodies["add-webhook"] = object{"address": nowhere, "enabled": false}
	bodies["update-webhook"] = bodies["add-webhook"]
	bodies["sign-in"] = object{"mail": "sue@example.org", "password": herPassword}
	bodies["confirm-own-second-factor"], bodies["set-access-rules"] = object{"code": "123456"}, object{"owners_second_factor": true}
	fetched := s.privateRequests(bodies)
	twin := s.client("Mara")
	bodies["merge-clients"] = object{"other_id": twin, "other_version": 1}
	query := map[string]string{"preview-merge": "?other_id=" + twin, "add-private-file": "?label=Home&staff_id=" + s.ada, "list-visits": "?first_date=2026-06-08&last_date=2026-06-12", "list-reminders": "?first_date=2026-06-08&last_date=2026-06-12",
		"list-invitation-replies": "?first_date=2026-06-08&last_date=2026-06-12", "watch-salon": "?seconds=0",
		"delete-minor": "?approved_by=Ada&reason=noted+by+mistake"}
	out := map[string]request{}
	for path, ops := range readSpec(s.t).Paths {
		kind := strings.Split(strings.TrimPrefix(path, "/"), "/")[0]
		for method, op := range ops {
			id := things[kind]
			if slices.Contains([]string{"book-held-visit", "release-visit", "hold-visit"}, op.ID) {
				id = held.ID
			}
			if op.ID == "fetch-private-calendar" {
				id = fetched
			}
			r := request{method: strings.ToUpper(method), body: bodies[op.ID],
				path: "/v1" + strings.NewReplacer("{id}", id, "{date}", "2026-06-10", "{ordinal}", "0", "{fact}", things["facts"], "{rota}", things["rotas"], "{kind}", "strand_test", "{tag}", "de", "{version}", "1", "{treatment}", treatment.ID).Replace(path) + query[op.ID]}
			for _, p := range op.Parameters {
				switch p.Name {
				case "If-Match":
					tag := `"v1"`
					if strings.HasSuffix(path, "/hours") {
						tag = s.call("GET", r.path, nil).header.Get("ETag")
					}
					if kind == "maker-figures" {
						tag = s.call("GET", r.path, nil).header.Get("ETag")
					}
					if kind == "languages" {
						tag = german
					}
					r.headers = append(r.headers, p.Name, tag)
				case "Idempotency-Key":
					r.headers = append(r.headers, p.Name, "key of "+op.ID)
				}
			}
			require.Equal(s.t, op.RequestBody != nil, r.body != nil, op.ID)
			if isFile(op) {
				r.headers = append(r.headers, "Content-Type", "text/calendar")
			}
			out[op.ID] = r
		}
	}
	return out
}

func (s *salon) send(r request) answer {
	s.t.Helper()
	return s.call(r.method, r.path, r.body, r.headers...)
}

// atWork is the salon seen with a role: a stylist's with Ada's own token, since a
// stylist's that is nobody's reads nobody's health.
func (s *salon) atWork(role store.Role) *salon {
	if role == store.LeadRole {
		return s.asPerson(role, s.ada)
	}
	return s.as(role)
}

func TestEachRoleMayDoWhatItsTableSaysAndNothingElse(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	requests := s.requests()
	require.Equal(t, slices.Sorted(maps.Keys(mayDo)), slices.Sorted(maps.Keys(requests)))
	tables := s.tables()
	for _, role := range []store.Role{store.Owner, store.Desk, store.LeadRole, store.AssistantRole} {
		who := s.atWork(role)
		letter := string(role[0])
		before := tables()
		for id, r := range requests {
			if strings.Contains(mayDo[id], letter) {
				continue
			}
			p := who.send(r).refused(403, "forbidden")
			require.Contains(t, p.Detail, "owner", "%s as %s", id, role)
			if r.body != nil { // nothing of the request is looked at before
				who.call(r.method, r.path, object{"nothing": "right"}, r.headers...).refused(403, "forbidden")
			}
		}
		require.Equal(t, before, tables(), "what is forbidden to %s changed something", role)
		for id, r := range requests {
			if strings.Contains(mayDo[id], letter) && r.method == "GET" {
				who.send(r).is(200, nil)
			}
		}
	}
	// Changes that a role may make are refused for their content only.
	for _, role := range []store.Role{store.Owner, store.Desk, store.LeadRole, store.AssistantRole} {
		who := s.atWork(role)
		for id, r := range requests {
			if r.method == "GET" || !strings.Contains(mayDo[id], string(role[0])) {
				continue
			}
			a := who.call(r.method, r.path, object{"nothing": "right"}, r.headers...)
			require.NotContains(t, []int{401, 403}, a.status, "%s as %s: %s", id, role, a.body)
		}
	}
}

func TestARightRequestOfEveryOperationSucceeds(t *testing.T) {
	t.Parallel()
	s := newSalon(t)
	requests := s.requests()
	s.store.Close()
	reads := s.copy(t)
	for _, id := range slices.Sorted(maps.Keys(mayDo)) {
		t.Run(id, func(t *testing.T) {
			if requests[id].method == "GET" {
				reads.at(start)
				reads.succeeds(t, id, requests)
				return
			}
			s.copy(t).succeeds(t, id, requests) // each changes what others need
		})
	}
}

// succeeds brings about what the operation needs beside what requests makes, and
// demands that it succeeds.
func (s *salon) succeeds(t *testing.T, id string, requests map[string]request) {
	t.Helper()
	r := requests[id]
	switch id {
	case "delete-client":
		s.call("DELETE", "/v1/clients/"+s.client("Ines"), nil, "If-Match", `"v1"`).is(204, nil)
		return
	case "erase-client":
		s.call("POST", "/v1/clients/"+s.client("Ines")+"/erase", nil, "If-Match", `"v1"`).is(200, nil)
		return
	case "arrive-visit", "tap-visit", "finish-visit", "miss-visit", "start-step", "finish-step":
		s.at(start.Add(54 * time.Hour))
	case "undo-arrival":
		s.at(start.Add(54 * time.Hour))
		r.headers = []string{"If-Match", s.send(requests["arrive-visit"]).is(200, nil).header.Get("ETag")}
	case "undo-last":
		s.book(s.client("Orla"), start.Add(193*time.Hour), s.straightening())
		var last api.UndoBody
		s.call("GET", "/v1/undo", nil).is(200, &last)
		r.body = object{"id": last.Action.ID}
	case "undo-step":
		s.at(start.Add(54 * time.Hour))
		r.headers = []string{"If-Match", s.send(requests["start-step"]).is(200, nil).header.Get("ETag")}
	case "undo-miss":
		s.at(start.Add(50 * time.Hour))
		r.headers = []string{"If-Match", s.send(requests["miss-visit"]).is(200, nil).header.Get("ETag")}
	case "apply-remedy":
		s.call("POST", "/v1/absences", object{"unit_id": s.mina, "from": "2026-06-10T08:00:00+02:00", "to": "2026-06-10T19:00:00+02:00"}).is(201, nil)
		d := s.delays("2026-06-10")
		r.body = object{"remedy": d.Remedies[0].ID, "as_of": d.AsOf}
	case "add-walk-in":
		s.at(start.Add(2 * time.Hour))
	case "tell-running-late":
		_, late := lateMorning(s)
		r.path = "/v1/visits/" + late.id + "/tell-running-late"
	case "add-webhook":
		s.call("DELETE", "/v1/webhook", nil, "If-Match", `"v1"`).is(204, nil)
	case "add-card-fact", "correct-card-fact":
		s.at(start.Add(50 * time.Hour))
	case "hair-as-seen", "rinse-now", "undo-rinse-now", "stop-visit", "clear-follow-up", "book-correction":
		s.underWay(requests["get-visit"].path, id, &r)
	case "override-need", "withdraw-override":
		s.strict(nil)
		if id == "withdraw-override" {
			s.send(requests["override-need"]).is(200, nil)
		}
	case "take-back-yes":
		s.send(requests["note-yes"]).is(200, nil)
	case "sign-in", "sign-out", "begin-own-second-factor", "confirm-own-second-factor", "end-own-second-factor", "new-recovery-codes", "reset-second-factor":
		s.stepFor(id, &r)
	case "name-client":
		s.at(start.Add(2 * time.Hour))
		r.path = "/v1/visits/" + s.walkedIn("Dry cut").ID + "/client"
		r.headers = []string{"If-Match", `"v2"`}
	}
	a := s.send(r)
	require.Less(t, a.status, 300, "%s: %s", id, a.body)
	if a.status == 201 {
		require.True(t, strings.HasPrefix(a.header.Get("Location"), "/v1/"), id)
	}
}

// endOfID is the last part of a UUID.
var endOfID = regexp.MustCompile(`-[0-9a-f]{12}\b`)

func TestIdsOfAnotherSalonDoNotExist(t *testing.T) {
	t.Parallel()
	theirs := newSalon(t)
	requests := theirs.requests()
	mine := theirs.neighbour()
	tables := theirs.tables()
	for id, r := range requests {
		if path, _, _ := strings.Cut(r.path, "?"); !strings.Contains(path, "-7") { // no UUID in the address
			continue
		}
		a := mine.send(r)
		a.refused(404, "not-found")
		r.path = endOfID.ReplaceAllString(r.path, "-000000000000")
		require.Equal(t, mine.send(r).body, a.body, "%s: an unknown id has the same answer", id)
	}
	for _, x := range []struct {
		path string
		body object
		want string
	}{
		{"/v1/absences", object{"unit_id": theirs.ada, "from": "2026-07-02T09:00:00+02:00", "to": "2026-07-02T12:00:00+02:00"}, "/unit_id"},
		{"/v1/feeds", object{"kind": "staff", "subject_id": theirs.ada}, "/subject_id"},
		{"/v1/feeds", object{"kind": "client", "subject_id": theirs.client("Ines")}, "/subject_id"},
		{"/v1/tokens", object{"role": "lead", "staff_id": theirs.ada, "label": ""}, "/staff_id"},
		{"/v1/estimates", object{"service_id": theirs.services["Straightening"], "hair": hair()}, "/service_id"},
		{"/v1/estimates", object{"service_id": mine.services["Straightening"], "client_id": theirs.client("Ines"), "hair": hair()}, "/client_id"},
		{"/v1/openings", object{"services": theirs.straightening()}, "/services/0/service_id"},
		{"/v1/openings", object{"services": []object{{"service_id": mine.services["Dry cut"], "lead_id": theirs.ada}}}, "/services/0/lead_id"},
		{"/v1/openings", object{"services": mine.straightening(), "client_id": theirs.client("Ines")}, "/client_id"},
		{"/v1/visits", object{"client_id": theirs.client("Ines"), "start": start.Add(time.Hour), "services": mine.straightening()}, "/client_id"},
	} {
		before := tables()
		p := mine.call("POST", x.path, x.body, "Idempotency-Key", "other", "Content-Type", "application/json").refused(422, "invalid")
		require.Equal(t, []string{"body " + x.want}, pointers(p))
		require.Equal(t, before, tables())
	}
	var list struct{ Items []api.VisitBody }
	mine.call("GET", "/v1/visits?client_id="+requests["get-client"].path[len("/v1/clients/"):], nil).is(200, &list)
	require.Empty(t, list.Items)
	for _, path := range []string{"/v1/clients", "/v1/feeds", "/v1/closures", "/v1/absences", "/v1/visits?first_date=2026-06-08&last_date=2026-06-12", "/v1/reminders?first_date=2026-06-08&last_date=2026-06-12"} {
		mine.call("GET", path, nil).is(200, &list)
		require.Empty(t, list.Items, path)
	}
}
