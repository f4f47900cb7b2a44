package owner

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) rulePages() {
	p.get("/set-up/rules", "set-booking-rules", (*visit).rulesSheet)
	for path, change := range map[string]func(*visit, *api.BookingRules, *faults){
		"booking": (*visit).bookingTyped, "needs": (*visit).needsTyped, "money": (*visit).moneyTyped, "spacing": (*visit).spacingTyped,
		"clients": (*visit).clientsTyped, "order": (*visit).orderTyped,
	} {
		p.post("/set-up/rules/"+path, "set-booking-rules", func(v *visit) (answer, error) { return v.saveRules(path, change) }, (*visit).rulesSheet)
	}
	p.post("/set-up/rules/care", "set-care-rules", (*visit).saveCare, (*visit).rulesSheet)
	p.post("/set-up/rules/privacy", "set-privacy", (*visit).savePrivacy, (*visit).rulesSheet)
	p.post("/set-up/rules/invitations", "set-invitation-settings", func(v *visit) (answer, error) {
		b := api.InvitationSettingsBody{Send: v.ticked("send_invitations"), RepliesMail: v.typed("replies_mail"), Refused: []api.RefusalBody{}}
		_, err := v.ask(http.MethodPut, "/invitation-settings", b, nil)
		return answer{to: "/set-up/rules?done=saved#invitations"}, err
	}, (*visit).rulesSheet)
}

func (v *visit) rulesSheet() (*sheet, error) {
	rules, tag, err := tagged[api.BookingRules](v, "/booking-rules")
	if err != nil {
		return nil, err
	}
	care, careTag, err := tagged[api.CareRules](v, "/care-rules")
	if err != nil {
		return nil, err
	}
	privacy, privacyTag, err := tagged[api.PrivacyBody](v, "/privacy")
	if err != nil {
		return nil, err
	}
	invite, inviteTag, err := tagged[api.InvitationSettingsBody](v, "/invitation-settings")
	if err != nil {
		return nil, err
	}
	services, err := v.services()
	if err != nil {
		return nil, err
	}
	s := v.sheet("Rules")
	s.Parts = append(s.Parts, part{List: []link{{Href: "#booking", Text: "Booking"}, {Href: "#needs", Text: "What a visit needs"}, {Href: "#money", Text: "Quotes and deposits"},
		{Href: "#spacing", Text: "Services that have to be apart"}, {Href: "#care", Text: "Aftercare and regrowth"}, {Href: "#clients", Text: "What clients may do by themselves"}, {Href: "#order", Text: "Which times come first"},
		{Href: "#privacy", Text: "Privacy"}, {Href: "#invitations", Text: "Invitations by mail"},
		{Href: "/set-up/consultation", Text: "Questions of the consultation, and the consent"}}},
		bookingPart(rules, services, tag), needsPart(rules.Needs, tag), v.moneyPart(rules.Money, tag), spacingPart(rules.Spacing, tag),
		clientsPart(rules, tag), orderPart(rules, services, tag), carePart(care, careTag), privacyPart(privacy, privacyTag), invitationPart(invite, inviteTag))
	return s, nil
}

// saveRules changes a part of the rules of booking and leaves the others.
func (v *visit) saveRules(part string, change func(*visit, *api.BookingRules, *faults)) (answer, error) {
	rules, _, err := tagged[api.BookingRules](v, "/booking-rules")
	if err != nil {
		return answer{}, err
	}
	var f faults
	change(v, &rules, &f)
	if err := f.err(); err != nil {
		return answer{}, err
	}
	_, err = v.ask(http.MethodPut, "/booking-rules", rules, nil)
	return answer{to: "/set-up/rules?done=saved#" + part}, err
}

func ruleForm(id, tag string, fields ...pages.Field) []form {
	return []form{{ID: id, Action: "/set-up/rules/" + id, Hidden: []hidden{version(tag)}, Fields: fields, Buttons: save("Save these rules")}}
}

func bookingPart(r api.BookingRules, services []api.ServiceBody, tag string) part {
	return part{ID: "booking", Title: "Booking", Forms: ruleForm("booking", tag,
		pages.Number("booking-hold_minutes", "Pencilled for", "Minutes, 1 to 1440, while a client decides", fmt.Sprint(r.HoldMinutes)),
		pages.Number("booking-missed_after_minutes", "Ask whether a client came after", "Minutes, 1 to 240, usually 20", fmt.Sprint(r.MissedAfterMinutes)),
		pages.Number("booking-arrive_together_minutes", "Arriving together means within", "Minutes, 1 to 120, usually 15", fmt.Sprint(r.TogetherMinutes)),
		pages.Number("booking-share_overrun_limit", "A second client meanwhile", "Offered when the chance to come back late is at most so many percent, 0 to 50, usually 5", plain(100**r.ShareOverrunLimit)),
		pages.Tick("booking-follow_ups_free", "First wash checks and corrections cost nothing", "", *r.FollowUpsFree),
		choose("booking-stylist_clears", "Clearing the chair", r.StylistClears, "auto", "by the stylist where nobody assists", "always", "always by the stylist", "never", "never by the stylist"),
		pages.Several("booking-assistant_steps", "Steps that an assistant may do here", r.AssistantSteps, kindOptions(services, r.AssistantSteps)))}
}

func (v *visit) bookingTyped(r *api.BookingRules, f *faults) {
	r.HoldMinutes, r.MissedAfterMinutes, r.TogetherMinutes = v.must("hold_minutes", f), v.must("missed_after_minutes", f), v.must("arrive_together_minutes", f)
	if x := v.amount("share_overrun_limit", f); x != nil {
		r.ShareOverrunLimit = new(*x / 100)
	}
	r.FollowUpsFree = new(v.ticked("follow_ups_free"))
	r.StylistClears, r.AssistantSteps = v.typed("stylist_clears"), v.list("assistant_steps")
}

// scopes are which services something is asked for.
func scope(name, label, hint, value string) pages.Field {
	return pages.Select(name, label, hint, value, options("nothing", "no service", "straightening", "straightening", "chemical", "everything with chemicals", "everything", "every service"), "")
}

func needsPart(n *api.NeedRules, tag string) part {
	if n == nil {
		n = &api.NeedRules{}
	}
	lapse := options("consultation", "consultation", "patch_test", "skin test", "strand_test", "strand test", "deposit", "deposit", "guardian", "guardian's yes", "consent", "consent")
	return part{ID: "needs", Title: "What a visit needs before it may begin", Forms: ruleForm("needs", tag,
		scope("needs-consultation_for", "Consultation", "", n.ConsultationFor),
		pages.Number("needs-consultation_hours", "Consultation: hours before the visit", "0 to 336", decimal(n.ConsultationHours)),
		pages.Number("needs-consultation_valid_days", "Consultation: valid for", "Days, 1 to 1095", fmt.Sprint(n.ConsultationValidDays)),
		scope("needs-skin_test_for", "Skin test", "", n.SkinTestFor),
		pages.Number("needs-patch_test_read_hours", "Skin test: stays on for", "Hours, 0 to 96", decimal(n.PatchTestReadHours)),
		pages.Number("needs-patch_test_valid_days", "Skin test: valid for", "Days, 1 to 1095", fmt.Sprint(n.PatchTestValidDays)),
		pages.Tick("needs-skin_test_override", "The licensed person may begin without a skin test", "Only by a written rule of the salon; never after a reaction", n.SkinTestOverride),
		scope("needs-strand_test_for", "Strand test", "Unless the consultation says that none is needed", n.StrandTestFor),
		pages.Tick("needs-strand_test_for_new_clients", "Strand test for everybody who is new here", "", n.StrandTestForNew),
		pages.Number("needs-strand_test_hours", "Strand test: hours before the visit", "0 to 336", decimal(n.StrandTestHours)),
		pages.Number("needs-strand_test_valid_days", "Strand test: valid for", "Days, 1 to 1095", fmt.Sprint(n.StrandTestValidDays)),
		scope("needs-deposit_for", "Deposit", "What was asked has to be there", n.DepositFor),
		pages.Number("needs-deposit_hold_days", "Pencilled until the deposit is there", "Days, 1 to 30", fmt.Sprint(n.DepositHoldDays)),
		scope("needs-consent_for", "Consent", "To the wording in use", n.ConsentFor),
		scope("needs-guardian_for", "Guardian's yes", "For minors, with the licensed person's", n.GuardianFor),
		pages.Number("needs-consent_age", "Decides for herself from", "Years, 12 to 21; local rules decide", fmt.Sprint(n.ConsentAge)),
		pages.Several("needs-lapse_when_overdue", "Cancels the visit by itself when it is not there in time (all others are asked about)", n.LapseWhenOverdue, lapse))}
}

func (v *visit) needsTyped(r *api.BookingRules, f *faults) {
	for field := range v.form {
		if plain, ours := strings.CutPrefix(field, "needs-"); ours {
			v.at["/needs/"+plain] = field
		}
	}
	r.Needs = &api.NeedRules{
		ConsultationFor: v.typed("consultation_for"), ConsultationHours: v.amount("consultation_hours", f), ConsultationValidDays: orZero(v.count("consultation_valid_days", f)),
		SkinTestFor: v.typed("skin_test_for"), PatchTestReadHours: v.amount("patch_test_read_hours", f), PatchTestValidDays: orZero(v.count("patch_test_valid_days", f)),
		SkinTestOverride: v.ticked("skin_test_override"), StrandTestFor: v.typed("strand_test_for"), StrandTestForNew: v.ticked("strand_test_for_new_clients"),
		StrandTestHours: v.amount("strand_test_hours", f), StrandTestValidDays: orZero(v.count("strand_test_valid_days", f)),
		DepositFor: v.typed("deposit_for"), DepositHoldDays: orZero(v.count("deposit_hold_days", f)), ConsentFor: v.typed("consent_for"),
		GuardianFor: v.typed("guardian_for"), ConsentAge: orZero(v.count("consent_age", f)), LapseWhenOverdue: v.list("lapse_when_overdue"),
	}
}

func (v *visit) moneyPart(m *api.MoneyRulesBody, tag string) part {
	if m == nil {
		m = &api.MoneyRulesBody{}
	}
	fields := []pages.Field{
		pages.Number("money-quote_valid_days", "A quoted price is kept for", "Days, 1 to 366", fmt.Sprint(m.QuoteValidDays)),
		pages.Number("money-notice_hours", "Can be cancelled freely until", "Hours before the start, 0 to 336", whole(m.NoticeHours)),
		pages.Number("money-late_minutes", "Late from", "Minutes, 5 to 120, as the quote says", fmt.Sprint(m.LateMinutes)),
	}
	for _, d := range []struct {
		field, label string
		rule         *api.DepositBody
	}{{"deposit_chemical", "Deposit with chemicals", m.DepositChemical}, {"deposit_other", "Deposit for other visits", m.DepositOther},
		{"deposit_after_missed", "Deposit after a client did not come", m.DepositMissed}} {
		fields = append(fields, pages.Input("money-"+d.field, d.label, "A share such as 50 %, or an amount such as "+v.money(5000)+"; empty for none", "text", v.depositText(d.rule)))
	}
	return part{ID: "money", Title: "Quotes and deposits", Text: []string{"Nothing is charged by the program: it says what is asked and notes what came."}, Forms: ruleForm("money", tag, fields...)}
}

func (v *visit) depositText(d *api.DepositBody) string {
	switch {
	case d == nil || d.Percent == 0 && d.Cents == 0:
		return ""
	case d.Cents > 0:
		return v.money(d.Cents)
	}
	return fmt.Sprintf("%d %%", d.Percent)
}

func (v *visit) deposit(field string, f *faults) *api.DepositBody {
	text := v.typed(field)
	v.at["/money/"+field] = v.name(field)
	if share, is := strings.CutSuffix(text, "%"); is {
		var n int
		if _, err := fmt.Sscanf(strings.TrimSpace(share)+"\n", "%d\n", &n); err != nil {
			f.add(v, field, fmt.Sprintf("“%s” is not a share. Right is one such as 50 %%.", text))
		}
		return &api.DepositBody{Percent: n}
	}
	return &api.DepositBody{Cents: v.cents(field, f)}
}

func (v *visit) moneyTyped(r *api.BookingRules, f *faults) {
	for _, field := range []string{"quote_valid_days", "notice_hours", "late_minutes"} {
		v.at["/money/"+field] = v.name(field)
	}
	r.Money = &api.MoneyRulesBody{QuoteValidDays: orZero(v.count("quote_valid_days", f)), NoticeHours: v.count("notice_hours", f), LateMinutes: orZero(v.count("late_minutes", f)),
		DepositChemical: v.deposit("deposit_chemical", f), DepositOther: v.deposit("deposit_other", f), DepositMissed: v.deposit("deposit_after_missed", f)}
}

// spacingPart is the table of services that have to be apart, with room for more.
func spacingPart(list []api.SpacingRuleBody, tag string) part {
	f := ruleForm("spacing", tag)[0]
	f.Hidden = append(f.Hidden, hidden{"rules", fmt.Sprint(len(list) + 2)})
	for i := range len(list) + 2 {
		r, words := api.SpacingRuleBody{Level: "warn"}, "One more rule"
		if i < len(list) {
			r = list[i]
			words = spacingWords(r)
		}
		at := func(field string) string { return fmt.Sprintf("spacing-%d-%s", i, field) }
		f.Groups = append(f.Groups, group{Fold: words, Fields: []pages.Field{
			pages.Input(at("after"), "After", "Such as straightening, colour, bleach, perm, wet; empty takes the rule away", "text", r.After),
			pages.Input(at("before"), "Not", "", "text", r.Before),
			pages.Number(at("hours"), "For hours", "", zeroless(r.Hours)), pages.Number(at("days"), "Or for days", "By the calendar", zeroless(r.Days)),
			pages.Number(at("min_regrowth_cm"), "Least new hair", "cm", zerolessCM(r.MinRegrowth)),
			choose(at("level"), "Then", r.Level, "warn", "say so", "needs_yes", "ask the licensed person"),
			pages.Tick(at("either_way"), "Either way round", "", r.EitherWay),
			pages.Input(at("words"), "Words for people", "Empty: worded by its numbers", "text", r.Words),
		}})
	}
	return part{ID: "spacing", Title: "Services that have to be apart", Forms: []form{f}}
}

func spacingWords(r api.SpacingRuleBody) string {
	if r.Words != "" {
		return fmt.Sprintf("%s, then %s: %s", r.After, r.Before, r.Words)
	}
	return fmt.Sprintf("%s, then %s", r.After, r.Before)
}

func zeroless(n int) string {
	if n == 0 {
		return ""
	}
	return fmt.Sprint(n)
}

func zerolessCM(x float64) string {
	if x == 0 {
		return ""
	}
	return plain(x)
}

func (v *visit) spacingTyped(r *api.BookingRules, f *faults) {
	r.Spacing = []api.SpacingRuleBody{}
	for i := 0; v.form.Has(v.name(fmt.Sprintf("%d-after", i))); i++ {
		at := func(field string) string { return fmt.Sprintf("%d-%s", i, field) }
		if v.typed(at("after"))+v.typed(at("before")) == "" {
			continue
		}
		for _, field := range []string{"after", "before", "hours", "days", "min_regrowth_cm", "level", "words"} {
			v.at[fmt.Sprintf("/spacing/%d/%s", len(r.Spacing), field)] = v.name(at(field))
		}
		v.at[fmt.Sprintf("/spacing/%d", len(r.Spacing))] = v.name(at("after"))
		r.Spacing = append(r.Spacing, api.SpacingRuleBody{After: v.typed(at("after")), Before: v.typed(at("before")), Hours: orZero(v.count(at("hours"), f)),
			Days: orZero(v.count(at("days"), f)), MinRegrowth: orZero(v.amount(at("min_regrowth_cm"), f)), Level: v.typed(at("level")),
			EitherWay: v.ticked(at("either_way")), Words: v.typed(at("words"))})
	}
}

func carePart(b api.CareRules, tag string) part {
	return part{ID: "care", Title: "Aftercare and regrowth", Forms: ruleForm("care", tag,
		pages.Number("care-keep_dry_hours", "Stays dry for", "Hours, 48 to 72", plain(b.KeepDryHours)),
		pages.Number("care-no_tie_hours", "Not tied or tucked for", "Hours, 48 to 168", plain(b.NoTieHours)),
		pages.Number("care-growth_cm_per_month", "Usual growth", "cm a month, 0.8 to 1.3, until a client's own is measured", plain(b.GrowthCM)),
		pages.Number("care-slow_cm_per_month", "Slow growth", "cm a month, 0.5 to 1.1", plain(b.SlowCM)),
		pages.Number("care-quick_cm_per_month", "Quick growth", "cm a month, 1.1 to 1.6", plain(b.QuickCM)),
		pages.Number("care-growth_spread", "How much a client's own growth may differ", "As a share, 0 to 0.5", plain(b.Spread)),
		pages.Number("care-retouch_due_cm", "Remind of a retouch at", "cm of new hair, 2 to 20", plain(b.DueCM)),
		pages.Number("care-retouch_look_cm", "Offer a look from", "cm of new hair, 1 to 20", plain(b.LookCM)),
		pages.Number("care-retouch_floor_months", "No retouch before", "Months, 1 to 12", fmt.Sprint(b.FloorMonths)),
		pages.Number("care-retouch_cap_months", "Remind at the latest after", "Months, 1 to 24", fmt.Sprint(b.CapMonths)))}
}

func (v *visit) saveCare() (answer, error) {
	var f faults
	b := api.CareRules{KeepDryHours: orZero(v.amount("keep_dry_hours", &f)), NoTieHours: orZero(v.amount("no_tie_hours", &f)),
		GrowthCM: orZero(v.amount("growth_cm_per_month", &f)), SlowCM: orZero(v.amount("slow_cm_per_month", &f)), QuickCM: orZero(v.amount("quick_cm_per_month", &f)),
		Spread: orZero(v.amount("growth_spread", &f)), DueCM: orZero(v.amount("retouch_due_cm", &f)), LookCM: orZero(v.amount("retouch_look_cm", &f)),
		FloorMonths: orZero(v.count("retouch_floor_months", &f)), CapMonths: orZero(v.count("retouch_cap_months", &f))}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	_, err := v.ask(http.MethodPut, "/care-rules", b, nil)
	return answer{to: "/set-up/rules?done=saved#care"}, err
}

func privacyPart(b api.PrivacyBody, tag string) part {
	return part{ID: "privacy", Title: "Privacy", Links: []link{{Href: "/set-up/keeping", Text: "How long everything else is kept"}}, Forms: ruleForm("privacy", tag,
		pages.Number("privacy-health_months", "What is noted about health is erased so many months after the last visit", "1 to 120; your adviser knows what local rules ask for. Another term erases nothing for two days", fmt.Sprint(b.HealthMonths)),
		pages.Tick("privacy-client_may_erase", "A client of whom no visit has to stay on record may have everything about her deleted on her own pages", "Otherwise the desk is asked", b.ClientMayErase))}
}

// savePrivacy shows what another term would erase first before it saves it.
func (v *visit) savePrivacy() (answer, error) {
	if v.form.Get("do") == "back" {
		return answer{}, errBack
	}
	b, _, err := tagged[api.PrivacyBody](v, "/privacy")
	if err != nil {
		return answer{}, err
	}
	var f faults
	was := strconv.Itoa(b.HealthMonths)
	b.HealthMonths, b.ClientMayErase = v.must("health_months", &f), v.ticked("client_may_erase")
	if err := f.err(); err != nil {
		return answer{}, err
	}
	s, err := v.goesFirst("/set-up/rules", "privacy", url.Values{"health_months": {strconv.Itoa(b.HealthMonths)}}, url.Values{"health_months": {was}})
	if err != nil || s != nil {
		return answer{sheet: s}, err
	}
	_, err = v.ask(http.MethodPut, "/privacy", b, nil)
	return answer{to: "/set-up/rules?done=saved#privacy"}, err
}

// clientsPart is until when clients change their visits without asking.
func clientsPart(r api.BookingRules, tag string) part {
	return part{ID: "clients", Title: "What clients may do by themselves", Text: []string{"On their own pages, which a link in their messages opens."}, Forms: ruleForm("clients", tag,
		pages.Number("clients-client_may_cancel_hours", "Cancel a visit until", "Hours before it, 0 to 8760; empty: they ask the salon", whole(r.ClientCancels.Hours())),
		pages.Number("clients-client_may_move_hours", "Choose another time until", "Hours before it, 0 to 8760; empty: they ask the salon", whole(r.ClientMoves.Hours())))}
}

func (v *visit) clientsTyped(r *api.BookingRules, f *faults) {
	r.ClientCancels = api.HoursBefore(v.count("client_may_cancel_hours", f))
	r.ClientMoves = api.HoursBefore(v.count("client_may_move_hours", f))
}

func invitationPart(b api.InvitationSettingsBody, tag string) part {
	p := part{ID: "invitations", Title: "Invitations by mail", Forms: ruleForm("invitations", tag,
		pages.Tick("invitations-send_invitations", "Mails about visits carry an invitation that calendars understand", "Clients who subscribe to their calendar get none", b.Send),
		pages.Input("invitations-replies_mail", "Answers of calendars go to", "Empty: to the salon's own address, where nobody but people reads them", "email", b.RepliesMail))}
	for _, r := range b.Refused {
		p.List = append(p.List, link{Text: fmt.Sprintf("%s: %s in the last 30 days", r.Reason, countWords(r.Mails, "mail"))})
	}
	slices.SortFunc(p.List, func(a, b link) int { return strings.Compare(a.Text, b.Text) })
	return p
}
