package api

import (
	"context"
	"errors"
	"time"

	"chairblock/scheduling"
	"chairblock/store"
)

// OwnBundle is everything that is kept about a client: for herself, and for the salon
// that hands it out.
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
	Overrides  []OwnOverrideBody      `json:"let_begin_without"`
	Estimates  []EstimateAnswer       `json:"estimates"`
	Contact    []ContactWasBody       `json:"contact_changes"`
	Invited    []InvitedBody          `json:"invitations"`
	Reads      []HealthReadBody       `json:"who_read_about_health"`
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
	Calls    []CallTryBody  `json:"calls"`
	Events   []EventBody    `json:"events"`
}

// OwnOverrideBody is the licensed person's word on a visit.
type OwnOverrideBody struct {
	VisitID string `json:"visit_id"`
	OverrideBody
}

// ContactWasBody is a change of where messages go, with the address before.
type ContactWasBody struct {
	Way      string    `json:"way" enum:"mail,text"`
	Was      string    `json:"was,omitempty" doc:"Left out: there was none, or it was taken out"`
	Guardian bool      `json:"guardian,omitempty" doc:"Of who answers for a minor"`
	Changed  time.Time `json:"changed_at"`
	By       string    `json:"changed_by"`
}

// InvitedBody is an invitation that a calendar was sent, with its last answer.
type InvitedBody struct {
	VisitID  string     `json:"visit_id"`
	Mail     string     `json:"mail"`
	Sent     time.Time  `json:"sent_at" doc:"The last time"`
	Answer   string     `json:"answer,omitempty" enum:"accepted,declined,tentative"`
	Answered *time.Time `json:"answered_at,omitempty"`
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
		if b.Minor.Changes, err = v.n.minorChanges(ctx, v.t, v.client.ID); err != nil {
			return b, err
		}
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
		b.LeftOut = v.leftOut()
		b.Screenings, b.Tests, b.Overrides, b.Estimates = []ScreeningBody{}, []OwnTestBody{}, []OwnOverrideBody{}, []EstimateAnswer{}
	} else {
		parts = append(parts, v.bundleHealth, v.bundleLet, v.bundleEstimates)
	}
	for _, gather := range append(parts, v.bundleReached) { // which names this reading, too
		if err := gather(ctx, &b); err != nil {
			return b, err
		}
	}
	return b, nil
}

// leftOut says why what is about health is left out.
func (v *ownView) leftOut() string {
	if v.door.Client == "" {
		return "What is about health is left out: the owner may read it and hand it out."
	}
	return v.label("left_out")
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
	calls, err := v.callsAbout(ctx, sent)
	if err != nil {
		return err
	}
	for _, x := range list {
		own := OwnVisitBody{writeVisit(x, v.n, nil), v.n.writeMoney(x, money[x.ID]), []ReminderBody{}, []CallTryBody{}, []EventBody{}}
		for _, r := range sent[x.ID] {
			own.Messages = append(own.Messages, writeReminder(r, v.n.loc))
			own.Calls = append(own.Calls, calls[r.ID]...)
		}
		for _, e := range x.Events {
			own.Events = append(own.Events, writeEvent(e, v.n.loc))
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

// callsAbout are the calls that were tried in place of messages, by message.
func (v *ownView) callsAbout(ctx context.Context, sent map[string][]store.Reminder) (map[string][]CallTryBody, error) {
	var ids []string
	for _, list := range sent {
		for _, r := range list {
			ids = append(ids, r.ID)
		}
	}
	tries, err := v.t.CallTries(ctx, ids)
	out := map[string][]CallTryBody{}
	for _, y := range tries {
		out[y.Reminder] = append(out[y.Reminder], writeCallTry(y, v.n.loc))
	}
	return out, err
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

// bundleReached gathers where she was reached, and who has read what is about her
// health.
func (v *ownView) bundleReached(ctx context.Context, b *OwnBundle) error {
	b.Contact, b.Invited, b.Reads = []ContactWasBody{}, []InvitedBody{}, []HealthReadBody{}
	changes, err := v.t.ContactChanges(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, c := range changes {
		b.Contact = append(b.Contact, ContactWasBody{c.Way, c.Was, c.Guardian, c.Changed.In(v.n.loc), c.By})
	}
	invited, err := v.t.InvitationsOfClient(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, x := range invited {
		b.Invited = append(b.Invited, InvitedBody{x.Visit, x.Attendee, x.Sent.In(v.n.loc), x.Answer, localTime(x.Answered, v.n.loc)})
	}
	reads, err := v.t.HealthReadsOf(ctx, v.client.ID)
	for _, r := range reads {
		r.Token = "" // who it was says the id of the person, where there is one
		b.Reads = append(b.Reads, writeHealthRead(r, v.n.loc))
	}
	return err
}

// bundleLet gathers what her visits were let begin without, and why.
func (v *ownView) bundleLet(ctx context.Context, b *OwnBundle) error {
	b.Overrides = []OwnOverrideBody{}
	visits := make([]string, len(b.Visits))
	for i, x := range b.Visits {
		visits[i] = x.ID
	}
	list, err := v.t.NeedOverrides(ctx, visits...)
	for _, o := range list {
		b.Overrides = append(b.Overrides, OwnOverrideBody{o.Visit, writeOverride(o, v.n.loc)})
	}
	if err != nil || len(list) == 0 {
		return err
	}
	return v.t.NoteHealthReadOnce(ctx, v.s.healthRead(ctx, v.client.ID, "overrides"))
}

func (v *ownView) bundleEstimates(ctx context.Context, b *OwnBundle) error {
	b.Estimates = []EstimateAnswer{}
	list, err := v.t.EstimatesOf(ctx, v.client.ID)
	if err != nil {
		return err
	}
	for _, row := range list {
		w, err := readEstimate(row)
		if err != nil {
			return err
		}
		w.result.Pace = nil // is about who works here
		b.Estimates = append(b.Estimates, EstimateAnswer{row.ID, row.Service, row.ServiceVersion, w.hair.shown(v.n.time.Units), w.result, row.Created.In(v.n.loc)})
	}
	return nil
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
