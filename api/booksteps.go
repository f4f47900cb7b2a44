package api

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// estimateView puts the minutes of a visit into the words of the page.
func (b *booking) estimateView(c *composed) *pages.EstimateView {
	v := &pages.EstimateView{Service: c.services[0].Name, Price: price(c.price, b.n.row.Currency), Bookable: true}
	for _, st := range c.plan.Steps {
		v.Lines = append(v.Lines, pages.EstimateLine{Step: st.Label, Minutes: st.Length})
		v.KeepMinutes += st.Length
	}
	w := c.estimates[0]
	if w == nil {
		return v
	}
	e := w.result
	working := map[string][]string{}
	for _, st := range e.Steps {
		working[st.Kind] = append(working[st.Kind], st.Working)
	}
	for i, st := range c.plan.Steps {
		if rest := working[string(st.Kind)]; len(rest) > 0 {
			v.Lines[i].Working, working[string(st.Kind)] = rest[0], rest[1:]
		}
	}
	v.MeanMinutes, v.OutOfTen = int(math.Round(e.Total.MeanMinutes)), int(math.Round(10*e.PromisedShare))
	v.FirstSectionMinutes = e.BookedExposureMinutes
	for _, x := range w.cautions {
		v.Cautions = append(v.Cautions, pages.Caution{Level: pages.CautionLevel(x.Level), Text: x.Text})
		if x.Level == string(chairtime.LevelRefuse) {
			v.Bookable = false
		}
	}
	for _, p := range b.plans(w) {
		if p.Proposal != "" {
			v.Plans = append(v.Plans, pages.PlanView{Hands: p.Hands, Batches: p.Batches, Text: planWords(p),
				Chosen: p.Hands == w.hair.Hands && p.Batches == max(1, w.hair.Batches)})
		}
	}
	return v
}

// plans are the other ways to do it. Once one of them is chosen they stay those
// of the stylist alone, all at once, so that another can be chosen.
func (b *booking) plans(w *worked) []PlanBody {
	h := w.hair
	if len(w.result.Plans) > 0 || (h.Hands == 1 && h.Batches <= 1) {
		return w.result.Plans
	}
	h.Hands, h.Batches = 1, 1
	e, err := b.n.time.Estimate(h.Head())
	if err != nil {
		return nil // only an addition to an estimate that stands
	}
	return NewEstimateBody(e).Plans
}

func planWords(p PlanBody) string {
	who := "one stylist"
	if p.Hands > 1 {
		who = "with a helper"
	}
	batches := "all at once"
	if p.Batches > 1 {
		batches = fmt.Sprintf("%d batches", p.Batches)
	}
	return fmt.Sprintf("%s, %s: %s, product on first section %.0f min", who, batches, chairtime.Hours(p.BlockMinutes), p.BookedExposureMinutes)
}

func price(cents int64, currency string) string {
	if cents == 0 {
		return ""
	}
	return fmt.Sprintf("%d.%02d %s", cents/100, cents%100, currency)
}

// find lists the next openings, each with a key of its own, so that pressing
// twice books once.
func (b *booking) find(ctx context.Context, c *composed, req ServiceRequest) error {
	a, err := b.s.openings(ctx, b.t, b.n, c, OpeningsRequest{Services: []ServiceRequest{req}, FirstDate: b.page.Fields.DateFrom, Limit: 12}, "")
	if err != nil {
		return err
	}
	b.page.Step = pages.StepOpenings
	for _, o := range a.Openings {
		b.page.Openings = append(b.page.Openings, pages.OpeningView{
			ID: strconv.FormatInt(o.Start.Unix(), 10) + "-" + o.LeadID, Key: store.NewID(), Start: o.Start, End: o.End,
			DryUntil: o.KeepDryUntil, With: o.LeadName, Chair: o.ChairName})
	}
	b.askSoon(c, a.Openings)
	switch {
	case len(a.Missing) > 0:
		b.page.NoOpenings = "This cannot be booked here: " + strings.Join(a.Missing, "; ") + "."
	case len(a.Openings) == 0:
		b.page.NoOpenings = "Nothing is free in the four weeks from that day. Try a later day, or any stylist."
	}
	return nil
}

// askSoon asks for the licensed person's yes where times are offered that begin
// before a new skin test can have been read.
func (b *booking) askSoon(c *composed, list []OpeningBody) {
	w, hours := c.estimates[0], b.n.time.PatchTestHours
	soon := b.s.now().Add(time.Duration(hours * float64(time.Hour)))
	if w == nil || !slices.ContainsFunc(list, func(o OpeningBody) bool { return o.Start.Before(soon) }) {
		return
	}
	for i, x := range w.cautions {
		if x.Code == chairtime.CautionPatchTest {
			b.page.Estimate.Cautions[i] = pages.Caution{Level: pages.CautionNeedsYes, Text: fmt.Sprintf(
				"Times before %s are too soon for a new skin test: the licensed person says whether an earlier one still counts.",
				soon.In(b.n.loc).Format("Mon 2 January 15:04"))}
		}
	}
}

// longestKey bounds the text that makes a press unique.
const longestKey = 64

// book books the chosen opening, for a client who is known or added with it. A
// second press of the same button gives what the first one booked.
func (b *booking) book(ctx context.Context, opening string, req ServiceRequest) error {
	at, lead, _ := strings.Cut(opening, "-")
	unix, err := strconv.ParseUint(at, 10, 35)
	if err != nil {
		return &scheduling.InvalidError{Problem: "the chosen time cannot be read", Want: "one of the times shown"}
	}
	req.LeadID = lead
	key := b.form.Get(pages.KeyField(opening))
	if key == "" || len(key) > longestKey {
		return &scheduling.InvalidError{Problem: "the form lacks the key of the chosen time", Want: "one of the times shown"}
	}
	call := store.Call{Principal: "page", Method: http.MethodPost, Route: "/book", Key: key,
		Fingerprint: fingerprint(fmt.Sprintf("%s %#v", opening, b.page.Fields))}
	old, again, err := b.t.Begin(ctx, call)
	if is(err, store.ErrKeyReused) {
		return conflict("this form has booked that time already, with other details: look at the day board; the times below are for one more visit")
	}
	if err != nil {
		return err
	}
	if again {
		b.done = old.Location
		return nil
	}
	v, err := b.bookNow(ctx, time.Unix(int64(unix), 0).In(b.n.loc), req)
	if err != nil {
		return err
	}
	b.done = v.ID
	return b.t.End(ctx, call, store.Answer{Status: http.StatusCreated, Location: v.ID, Body: []byte("null")})
}

func (b *booking) bookNow(ctx context.Context, start time.Time, req ServiceRequest) (store.Visit, error) {
	client, err := b.client(ctx)
	if err != nil {
		return store.Visit{}, err
	}
	return b.s.book(ctx, b.t, b.n, VisitRequest{ClientID: client, Start: start, Services: []ServiceRequest{req}, ApprovedBy: b.page.Fields.ApprovedBy})
}

// client is the chosen client, or the one whose name was typed.
func (b *booking) client(ctx context.Context) (string, error) {
	v := b.page.Fields
	if v.Client != "" {
		return v.Client, nil
	}
	row, err := ClientBody{GivenName: v.FirstName, FamilyName: v.Initial, Phone: v.Phone, Mail: v.Mail, ContactBy: v.Preferred}.row()
	if err != nil {
		return "", err
	}
	c, err := b.t.AddClient(ctx, row)
	return c.ID, err
}

// showBooked shows the visit that the address names and which messages are due.
func (b *booking) showBooked(ctx context.Context) error {
	id := b.form.Get(bookedVisit)
	if id == "" {
		return nil
	}
	v, err := b.t.VisitByID(ctx, id)
	if err != nil {
		return err
	}
	client, err := b.t.ClientByID(ctx, v.Client)
	if err != nil {
		return err
	}
	names, err := unitNames(ctx, b.t)
	if err != nil {
		return err
	}
	reminders, err := b.t.RemindersOf(ctx, v.ID)
	if err != nil {
		return err
	}
	body := writeVisit(v, b.n.loc, nil)
	b.page.BoardHref = boardOf(b.n, v)
	view := &pages.BookedView{Client: clientName(client), Service: serviceNames(v), Start: body.Start, End: body.End,
		DryUntil: body.KeepDryUntil, With: names[v.Services[0].Lead], Chair: names[v.Chair], Price: price(v.PriceCents, b.n.row.Currency),
		VisitHref: "/visits/" + v.ID, Messages: messages(b.n.loc, client, reminders)}
	b.page.Step, b.page.Booked = pages.StepBooked, view
	return nil
}
