package api

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/notify"
	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// OwnBundle is everything that is kept about a client, for herself.
type OwnBundle struct {
	Salon      string                 `json:"salon"`
	MadeAt     time.Time              `json:"made_at"`
	Client     ClientBody             `json:"client"`
	Minor      *MinorBody             `json:"minor,omitempty"`
	Wishes     *MessageWishesBody     `json:"message_wishes"`
	Visits     []OwnVisitBody         `json:"visits"`
	Hair       []HeadOutput           `json:"hair_measured"`
	Treated    []HairTreatmentBody    `json:"hair_treatments_told"`
	Cards      []CardBody             `json:"record_cards"`
	Consents   []TreatmentConsentBody `json:"consents"`
	Wordings   []WordingBody          `json:"consent_wordings"`
	Quotes     []QuoteBody            `json:"quotes"`
	Waiting    []WishBody             `json:"waiting_list_requests"`
	Requests   []ClientRequestBody    `json:"requests"`
	Calendars  []FeedBody             `json:"calendar_addresses"`
	Links      []OwnLinkBody          `json:"links"`
	Screenings []ScreeningBody        `json:"consultations"`
	Tests      []OwnTestBody          `json:"tests_and_reactions"`
	// Unread names what is kept encrypted and cannot be read now.
	Unread []string `json:"not_readable_now"`
	// LeftOut says what is kept and left out here, and why.
	LeftOut string `json:"left_out,omitempty"`
}

// OwnVisitBody is a visit with its money, and the messages about it.
type OwnVisitBody struct {
	VisitBody
	Money    MoneyBody      `json:"money"`
	Messages []ReminderBody `json:"messages"`
}

// OwnTestBody is one note about tests on skin and hair.
type OwnTestBody struct {
	ID    string          `json:"id"`
	Noted time.Time       `json:"noted_at"`
	Facts store.TestFacts `json:"facts"`
}

// bundle gathers everything about the client.
func (v *ownView) bundle(ctx context.Context) (b OwnBundle, err error) {
	b = OwnBundle{Salon: v.n.row.Name, MadeAt: v.now.In(v.n.loc), Client: writeClient(v.client), Unread: []string{}}
	if m, err := v.t.MinorOf(ctx, v.client.ID); err == nil {
		b.Minor = &v.s.writeMinor(v.n, m).Body
	} else if !is(err, scheduling.ErrNotFound) {
		return b, err
	}
	w, err := v.t.MessageWishOf(ctx, v.client.ID)
	if err != nil {
		return b, err
	}
	wishes, err := v.s.writeMessageWishes(ctx, v.t, w)
	if err != nil {
		return b, err
	}
	b.Wishes = &wishes.Body
	parts := []func(context.Context, *OwnBundle) error{v.bundleVisits, v.bundleHair, v.bundleSaid, v.bundleAsked}
	if v.quiet() {
		b.LeftOut = v.label("left_out")
		b.Screenings, b.Tests = []ScreeningBody{}, []OwnTestBody{}
	} else {
		parts = append(parts, v.bundleHealth)
	}
	for _, gather := range parts {
		if err := gather(ctx, &b); err != nil {
			return b, err
		}
	}
	return b, nil
}

func (v *ownView) bundleVisits(ctx context.Context, b *OwnBundle) error {
	b.Visits, b.Cards = []OwnVisitBody{}, []CardBody{}
	list, err := v.t.VisitsOfClient(ctx, v.client.ID)
	if err != nil {
		return err
	}
	sent, err := v.messagesOf(ctx, list)
	if err != nil {
		return err
	}
	money, err := v.t.MoneyOfVisits(ctx, idsOf(list))
	if err != nil {
		return err
	}
	for _, x := range list {
		own := OwnVisitBody{writeVisit(x, v.n, nil), v.n.writeMoney(x, money[x.ID]), []ReminderBody{}}
		for _, r := range sent[x.ID] {
			own.Messages = append(own.Messages, writeReminder(r, v.n.loc))
		}
		b.Visits = append(b.Visits, own)
	}
	if v.quiet() {
		return nil
	}
	names, err := unitNames(ctx, v.t)
	if err != nil {
		return err
	}
	_, cards, err := clientCards(ctx, v.t, v.client.ID)
	for _, c := range cards {
		b.Cards = append(b.Cards, c.body(names, v.now, true))
	}
	return err
}

// messagesOf are the messages to the client about some visits, by visit.
func (v *ownView) messagesOf(ctx context.Context, list []store.Visit) (map[string][]store.Reminder, error) {
	all, err := v.t.MessagesOfVisits(ctx, idsOf(list))
	out := map[string][]store.Reminder{}
	for _, r := range all {
		if r.Staff == "" {
			out[r.Visit] = append(out[r.Visit], r)
		}
	}
	return out, err
}

func (v *ownView) bundleHair(ctx context.Context, b *OwnBundle) error {
	b.Hair, b.Treated = []HeadOutput{}, []HairTreatmentBody{}
	heads, err := v.t.Heads(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, h := range heads {
		out, err := writeHead(h, v.n.time.Units)
		if err != nil {
			return err
		}
		b.Hair = append(b.Hair, out)
	}
	if v.quiet() {
		return nil
	}
	told, err := v.t.HairTreatments(ctx, v.client.ID)
	for _, x := range told {
		b.Treated = append(b.Treated, writeTreatment(x))
	}
	return err
}

// bundleSaid gathers what she agreed to and what she was quoted.
func (v *ownView) bundleSaid(ctx context.Context, b *OwnBundle) error {
	b.Consents, b.Wordings, b.Quotes = []TreatmentConsentBody{}, []WordingBody{}, []QuoteBody{}
	consents, err := v.t.Consents(ctx, v.client.ID)
	if err != nil {
		return err
	}
	all, err := wordings(ctx, v.t)
	if err != nil {
		return err
	}
	used := map[int]bool{}
	for _, c := range consents {
		b.Consents, used[c.Wording] = append(b.Consents, writeConsent(c, v.n.loc)), true
	}
	for _, w := range all {
		if used[w.Version] {
			b.Wordings = append(b.Wordings, writeWording(w))
		}
	}
	quotes, err := v.t.QuotesOf(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, q := range quotes {
		out, err := v.n.writeQuote(q, v.now)
		if err != nil {
			return err
		}
		b.Quotes = append(b.Quotes, out)
	}
	return nil
}

// bundleAsked gathers what she asked for, and the addresses that she was given.
func (v *ownView) bundleAsked(ctx context.Context, b *OwnBundle) error {
	b.Waiting, b.Calendars, b.Links = []WishBody{}, []FeedBody{}, []OwnLinkBody{}
	waiting, err := v.t.Wishes(ctx, "", v.client.ID, "", 500)
	if err != nil {
		return err
	}
	for _, w := range waiting {
		out, err := writeWish(w, v.n)
		if err != nil {
			return err
		}
		b.Waiting = append(b.Waiting, out)
	}
	asked, err := v.t.RequestsOf(ctx, v.client.ID)
	if err != nil {
		return err
	}
	if b.Requests, err = v.s.writeRequests(ctx, v.t, v.n, asked); err != nil {
		return err
	}
	feeds, err := v.t.Feeds(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, f := range feeds {
		b.Calendars = append(b.Calendars, writeFeed(f))
	}
	links, err := v.t.OwnLinks(ctx, v.client.ID)
	for _, l := range links {
		b.Links = append(b.Links, v.s.writeOwnLink(v.n, l, v.to.minor))
	}
	return err
}

// bundleHealth gathers what is kept encrypted, where there is the key for it. That
// it was read is noted, as for everybody.
func (v *ownView) bundleHealth(ctx context.Context, b *OwnBundle) error {
	b.Screenings, b.Tests = []ScreeningBody{}, []OwnTestBody{}
	list, err := v.t.Screenings(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, c := range list {
		out, err := v.n.readScreening(ctx, v.t, c)
		if keyless(err) {
			b.Unread = append(b.Unread, "consultation "+c.ID)
			continue
		}
		if err != nil {
			return err
		}
		b.Screenings = append(b.Screenings, out)
		if c.Erased == nil {
			if err := v.s.noteHealth(ctx, v.t, c.ID, "read"); err != nil {
				return err
			}
		}
	}
	notes, err := v.t.TestNotes(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, x := range notes {
		if x.Unreadable != nil {
			b.Unread = append(b.Unread, "note "+x.ID)
			continue
		}
		b.Tests = append(b.Tests, OwnTestBody{x.ID, x.Noted.In(v.n.loc), x.TestFacts})
	}
	if len(b.Tests) > 0 {
		return v.t.NoteHealthReadOnce(ctx, v.s.healthRead(ctx, v.client.ID, "tests"))
	}
	return nil
}

// keyless reports that the key for what is about health is missing.
func keyless(err error) bool {
	_, unknown := errors.AsType[*store.UnknownKeyError](err)
	return unknown || errors.Is(err, store.ErrNoHealthKey)
}

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
		d.fact("about_contact", pages.Plain(contact.Text), d.text("keep_contact", nil)),
		d.fact("about_visits", d.text("keep_visits", nil)),
		d.fact("about_hair", d.text("keep_hair", nil)),
		d.fact("about_cards", d.text("keep_cards", nil)),
		d.fact("about_consents", d.text("keep_consents", nil)),
		d.fact("about_messages", d.text("keep_messages", nil)),
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
