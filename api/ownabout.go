package api

import (
	"context"
	"encoding/json"
	"net/http"
	"slices"

	"github.com/labstack/echo/v4"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// ownBundle answers with everything, as a file.
func (s *Server) ownBundle(c echo.Context) error {
	var b OwnBundle
	answered, err := s.inside(c, s.store.InTx, func(ctx context.Context, v *ownView) (err error) {
		b, err = v.bundle(ctx)
		return err
	})
	switch {
	case answered:
		return err
	case is(err, scheduling.ErrNotFound):
		return noSuchOwn(c)
	case err != nil:
		return sorry(c, err)
	}
	doc, err := json.MarshalIndent(b, "", "  ")
	if err != nil {
		return sorry(c, err)
	}
	c.Response().Header().Set(echo.HeaderContentDisposition, `attachment; filename="everything-about-me.json"`)
	return c.Blob(http.StatusOK, echo.MIMEApplicationJSON, doc)
}

func ownAbout(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("/own/about", "title_about")
	months, _, err := v.t.HealthMonths(ctx)
	if err != nil {
		return d.page, err
	}
	terms, err := v.t.Retention(ctx)
	if err != nil {
		return d.page, err
	}
	term := func(k store.DataKind, key string) pages.OwnText {
		if terms.Months[k] == 0 {
			return d.text("term_none", nil)
		}
		return d.text(key, notify.Says{"months": terms.Months[k]})
	}
	screenings, err := v.t.Screenings(ctx, v.client.ID)
	if err != nil {
		return d.page, err
	}
	answers := slices.ContainsFunc(screenings, func(c store.Screening) bool { return c.Erased == nil })
	d.say("", "about_intro", nil)
	if v.quiet() {
		d.say("", "left_out", nil)
	}
	d.head("about_what")
	c := v.client
	contact := pages.OwnText{Text: clientName(c)}
	for _, x := range []string{c.Phone, c.Mail} {
		if x != "" {
			contact.Text += ", " + x
		}
	}
	health := "about_health_no"
	if answers {
		health = "about_health_yes"
	}
	d.add(pages.OwnBlock{Facts: []pages.OwnFact{
		d.fact("about_contact", pages.Plain(contact.Text), d.text("keep_contact", nil), term(store.KeptClients, "term_contact")),
		d.fact("about_visits", d.text("keep_visits", nil), term(store.KeptVisits, "term_visits")),
		d.fact("about_hair", d.text("keep_hair", nil)),
		d.fact("about_cards", d.text("keep_cards", nil)),
		d.fact("about_consents", d.text("keep_consents", nil)),
		d.fact("about_messages", d.text("keep_messages", nil), term(store.KeptMessages, "term_messages")),
		d.fact("about_health", d.text(health, nil), d.text("keep_health", notify.Says{"months": months})),
	}})
	d.head("about_get")
	d.add(pages.OwnBlock{Links: []pages.OwnLink{{Href: "/own/about/everything", Text: d.text("get_page", nil)},
		{Href: "/own/about/everything.json", Text: d.text("get_file", nil), Saved: "everything-about-me.json"}}})
	d.head("about_wrong")
	d.say("", "about_wrong_how", nil)
	d.call()
	d.head("about_delete")
	d.link("/own/about/delete", "delete_link", false)
	return d.end(), nil
}

// ownEverything is the same as the file, to read.
func ownEverything(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("", "title_everything")
	d.link("/own/about/everything.json", "get_file", false)
	if v.quiet() {
		d.say("", "left_out", nil)
	}
	d.head("about_contact")
	c := v.client
	facts := []pages.OwnFact{d.fact("name", pages.Plain(clientName(c)))}
	for _, x := range []struct{ label, value string }{{"phone", pages.PhoneWords(c.Phone)}, {"mail", c.Mail}, {"noted", c.Note}} {
		if x.value != "" {
			facts = append(facts, d.fact(x.label, pages.Plain(x.value)))
		}
	}
	if v.to.minor {
		facts = append(facts, d.fact("guardian", pages.Plain(v.to.name)))
	}
	d.add(pages.OwnBlock{Facts: facts})
	visits, err := d.t.VisitsOfClient(ctx, d.client.ID)
	if err != nil {
		return d.page, err
	}
	if err := d.allVisits(ctx, visits); err != nil {
		return d.page, err
	}
	if err := d.allHair(ctx); err != nil {
		return d.page, err
	}
	err = d.allSaid(ctx, visits)
	return d.end(), err
}

func (d *ownDoc) allVisits(ctx context.Context, list []store.Visit) error {
	money, err := d.t.MoneyOfVisits(ctx, idsOf(list))
	if err != nil {
		return err
	}
	d.head("about_visits")
	var lines []pages.OwnText
	for _, x := range list {
		state := "state_" + ownState(x.State)
		if toCome(x) {
			state = "state_to_come"
		}
		lines = append(lines, d.text("visit_line", notify.Says{"when": notify.Span{From: x.Start, To: x.End}, "what": serviceNames(x), "price": notify.Said(d.priceOf(x).Text),
			"state": d.said(state, nil)}))
		for _, e := range money[x.ID] {
			lines = append(lines, pages.Plain(d.words.At(e.Noted)+": "+d.n.entryWords(x.ID, e)))
		}
	}
	d.lines(lines)
	return nil
}

// lines adds a list, or that there is nothing.
func (d *ownDoc) lines(list []pages.OwnText) {
	if len(list) == 0 {
		d.say("soft", "nothing_kept", nil)
		return
	}
	d.add(pages.OwnBlock{Items: list})
}

func (d *ownDoc) allHair(ctx context.Context) error {
	past, err := loadHairPast(ctx, d.t, d.n, d.client.ID)
	if err != nil {
		return err
	}
	d.head("about_hair")
	var lines []pages.OwnText
	for _, x := range slices.Backward(past.seen) {
		lines = append(lines, d.text("hair_line", notify.Says{"on": x.on, "hair": d.hair(x.hair)}))
	}
	d.lines(lines)
	d.head("about_cards")
	if d.quiet() {
		d.say("soft", "not_by_this_link", nil)
		return nil
	}
	_, cards, err := clientCards(ctx, d.t, d.client.ID)
	if err != nil {
		return err
	}
	lines = nil
	for _, c := range cards {
		for _, k := range c.stands {
			lines = append(lines, pages.Plain(d.words.Day(c.v.Start)+": "+k.value.words()))
		}
	}
	d.lines(lines)
	return nil
}

func (d *ownDoc) allSaid(ctx context.Context, list []store.Visit) error {
	consents, err := d.t.Consents(ctx, d.client.ID)
	if err != nil {
		return err
	}
	d.head("about_consents")
	var lines []pages.OwnText
	for _, c := range consents {
		name := "consent_line"
		if c.Withdrawn != nil {
			name = "consent_back_line"
		}
		says := notify.Says{"by": c.GivenBy, "on": c.Given}
		if c.Wording > 0 { // else a guardian's yes to one visit
			says["version"] = c.Wording
		}
		lines = append(lines, d.text(name, says))
	}
	d.lines(lines)
	d.head("about_messages")
	sent, err := d.messagesOf(ctx, list)
	if err != nil {
		return err
	}
	lines = nil
	for _, x := range list {
		for _, r := range sent[x.ID] {
			if k, ok := kindNamed(r.Kind); ok && r.State == store.Sent && r.Done != nil {
				lines = append(lines, pages.Plain(d.words.At(*r.Done)+": "+k.words))
			}
		}
	}
	d.lines(lines)
	d.head("about_health")
	if d.quiet() {
		d.say("soft", "not_by_this_link", nil)
		return nil
	}
	d.say("", "health_in_file", nil)
	return nil
}

// erasable reports whether everything about the client can be deleted at once, and
// what has to be cancelled first.
func (v *ownView) erasable(ctx context.Context) (may bool, booked []store.Visit, err error) {
	list, err := v.t.VisitsInView(ctx, v.client.ID)
	if err != nil {
		return false, nil, err
	}
	if booked = v.ahead(list); len(booked) > 0 {
		return false, booked, nil
	}
	any, err := v.t.VisitLines(ctx, v.client.ID, 1)
	if err != nil {
		return false, nil, err
	}
	may, err = v.t.ClientMayErase(ctx)
	return may && len(any) == 0, nil, err
}

func ownDelete(ctx context.Context, v *ownView) (pages.OwnPage, error) {
	d := v.start("", "title_delete")
	may, booked, err := v.erasable(ctx)
	if err != nil {
		return d.page, err
	}
	if len(booked) > 0 {
		d.say("", "delete_booked", nil)
		for _, x := range booked {
			d.add(pages.OwnBlock{Links: []pages.OwnLink{{Href: "/own/visits/" + x.ID + "/cancel", Text: pages.Plain(d.words.Span(x.Start, x.End))}}})
		}
		return d.end(), nil
	}
	list, err := v.t.RequestsOf(ctx, v.client.ID)
	if err != nil {
		return d.page, err
	}
	for _, r := range list {
		if r.Kind == store.AskErase && r.Settled == nil {
			d.say("care", "asked_erase", notify.Says{"on": r.Made})
			return d.end(), nil
		}
	}
	name := map[bool]string{true: "delete_now", false: "delete_ask"}[may]
	d.say("", name+"_what", nil)
	d.say("", "delete_kept", nil)
	d.say("soft", "delete_get_first", nil)
	button, step := name, "sure"
	if v.query.Get("sure") == "yes" {
		d.say("care", "delete_sure", nil)
		button, step = name+"_yes", "yes"
	}
	f := d.makeForm("/own/about/delete", button)
	f.Hidden = []pages.OwnHidden{{Name: "step", Value: step}}
	d.add(pages.OwnBlock{Form: f})
	d.link("/own/about", "delete_not", false)
	return d.end(), nil
}

// doDelete asks once more, then deletes or asks the desk to.
func doDelete(ctx context.Context, v *ownView) (string, error) {
	if err := v.t.LockClient(ctx, v.client.ID); err != nil {
		return "", err
	}
	may, booked, err := v.erasable(ctx)
	switch {
	case err != nil:
		return "", err
	case len(booked) > 0:
		return "", forbidden("wrong_booked")
	case v.form.Get("step") != "yes":
		return "/own/about/delete?sure=yes", nil
	case may:
		return "/own/deleted", v.t.DeleteClient(ctx, v.client.ID, v.client.Version)
	}
	_, err = v.t.AddClientRequest(ctx, store.ClientRequest{Client: v.client.ID, Kind: store.AskErase, Guardian: v.to.minor, Made: v.now})
	return "/own/about/delete?done=asked", err
}

// deletedOwn says that nothing is kept any more.
func (s *Server) deletedOwn(c echo.Context) error {
	if _, err := s.door(c); err == nil { // somebody who is still there
		return noSuchOwn(c)
	}
	s.setOwnCookie(c, "", 0)
	return message(c, http.StatusOK, "Everything about you is deleted", "The salon keeps nothing that names you. Copies that protect against loss are overwritten with time.")
}

// idsOf are the ids of some visits.
func idsOf(list []store.Visit) []string {
	ids := make([]string, len(list))
	for i, x := range list {
		ids[i] = x.ID
	}
	return ids
}
