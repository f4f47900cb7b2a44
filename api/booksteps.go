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
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// estimateView puts the minutes of a visit into the words of the page.
func (b *booking) estimateView(c *composed, req ServiceRequest) (*pages.EstimateView, error) {
	v := &pages.EstimateView{Service: c.services[0].Name, Price: price(c.price, b.n.row.Currency), Bookable: true,
		Chemical: b.service(req.ServiceID).Chemical}
	rule, err := readPriceRule(*b.service(req.ServiceID))
	if err != nil {
		return nil, err
	}
	if rule != nil {
		v.PriceWorking = c.workings[0]
	}
	for _, st := range c.plan.Steps {
		v.Lines = append(v.Lines, pages.EstimateLine{Step: st.Label, Expected: float64(st.Length), Minutes: st.Length})
		v.KeepMinutes += st.Length
	}
	w := c.estimates[0]
	if w == nil {
		return v, nil
	}
	e, err := b.n.time.Estimate(w.head())
	if err != nil {
		return nil, err
	}
	workings(v.Lines, c, e)
	for _, l := range v.Lines {
		v.MeanMinutes += l.Expected
	}
	v.OutOfTen = int(math.Round(10 * e.Quantile))
	v.FirstSectionMinutes, v.FirstSectionWorking = e.BookedExposure, e.ExposureWorking
	v.Cautions = cautionViews(w.cautions)
	for _, x := range v.Cautions {
		v.Bookable = v.Bookable && x.Level != pages.CautionRefuse
	}
	for _, l := range w.result.Pace {
		v.Pace = append(v.Pace, l.Text)
	}
	v.Plans, err = b.plans(w)
	return v, err
}

// workings gives every line the count of the step of the same kind, the first
// to the first and so on: a service may lack steps or have its own between.
func workings(lines []pages.EstimateLine, c *composed, e chairtime.Estimate) {
	left := map[scheduling.StepKind][]chairtime.StepTime{}
	for _, st := range e.Steps {
		left[st.Kind] = append(left[st.Kind], st)
	}
	for i, st := range c.plan.Steps {
		if list := left[st.Kind]; st.Formula == scheduling.FormulaHead && len(list) > 0 {
			lines[i].Expected, lines[i].Working = list[0].Mean, list[0].Working
			left[st.Kind] = list[1:]
		}
	}
}

// plans are the ways to treat hair that one stylist cannot treat at once within
// the limit. They stay the same whichever of them is chosen.
func (b *booking) plans(w *worked) ([]pages.PlanView, error) {
	hair := w.head()
	list, err := b.n.time.Plans(hair)
	if err != nil || list[0].Level == "" {
		return nil, err
	}
	var out []pages.PlanView
	for _, p := range list {
		chosen := p.Hands == hair.Hands && p.Batches == max(1, hair.Batches)
		if p.Proposal != "" || chosen {
			out = append(out, pages.PlanView{Hands: p.Hands, Batches: p.Batches, Text: planWords(p), Chosen: chosen})
		}
	}
	return out, nil
}

func planWords(p chairtime.PlanOption) string {
	who := "one stylist"
	if p.Hands > 1 {
		who = "with a helper"
	}
	batches := "all at once"
	if p.Batches > 1 {
		batches = fmt.Sprintf("%d batches", p.Batches)
	}
	return fmt.Sprintf("%s, %s: %s, product on first section %.0f min", who, batches, chairtime.Hours(p.Block), p.BookedExposure)
}

func cautionViews(list []CautionBody) []pages.Caution {
	var out []pages.Caution
	for _, x := range list {
		out = append(out, pages.Caution{Level: pages.CautionLevel(x.Level), Text: x.Text})
	}
	return out
}

func price(cents int64, currency string) string {
	if cents == 0 {
		return ""
	}
	return quoting.Amount(cents, currency)
}

// find lists the next openings, each with a key of its own, so that pressing
// twice books once.
func (b *booking) find(ctx context.Context, c *composed, req ServiceRequest) error {
	a, err := b.s.openings(ctx, b.t, b.n, c, OpeningsRequest{Services: []ServiceRequest{req}, FirstDate: b.page.Fields.DateFrom,
		ClientID: b.page.Fields.Client, Limit: 5 * mostTimes}, "")
	if err != nil {
		return err
	}
	b.page.Step = pages.StepOpenings
	a.Openings = leastWaiting(a.Openings)
	for _, o := range a.Openings {
		b.page.Openings = append(b.page.Openings, pages.OpeningView{
			ID: strconv.FormatInt(o.Start.Unix(), 10) + "-" + o.LeadID, Key: store.NewID(), Start: o.Start, End: o.End,
			DryUntil: o.KeepDryUntil, UntiedUntil: o.UntiedUntil, With: o.LeadName, Chair: o.ChairName, Waiting: o.WaitMinutes})
	}
	if err := b.askSoon(ctx, c, a.Openings); err != nil {
		return err
	}
	b.page.Estimate.Cautions = append(b.page.Estimate.Cautions, cautionViews(spacingNotes(a.Openings))...)
	switch {
	case len(a.Missing) > 0:
		b.page.NoOpenings = "This cannot be booked here: " + strings.Join(a.Missing, "; ") + "."
	case len(a.Openings) == 0:
		b.page.NoOpenings = "Nothing is free in the four weeks from that day. Try a later day, or any stylist."
	}
	return nil
}

// mostTimes is how many times the page offers at once.
const mostTimes = 12

// leastWaiting keeps, of starts with one stylist that end at the same minute,
// the latest: the others only add waiting. list is in order of starts.
func leastWaiting(list []OpeningBody) []OpeningBody {
	var out []OpeningBody
	for i, o := range list {
		later := func(p OpeningBody) bool { return p.End.Equal(o.End) && p.LeadID == o.LeadID }
		if !slices.ContainsFunc(list[i+1:], later) {
			out = append(out, o)
		}
	}
	return out[:min(len(out), mostTimes)]
}

// askSoon asks for the licensed person's yes where times are offered that begin
// before a new skin test can have been read.
func (b *booking) askSoon(ctx context.Context, c *composed, list []OpeningBody) error {
	w, hours := c.estimates[0], b.n.time.PatchTestHours
	soon := b.s.now().Add(time.Duration(hours * float64(time.Hour)))
	if w == nil || !slices.ContainsFunc(list, func(o OpeningBody) bool { return o.Start.Before(soon) }) {
		return nil
	}
	if err := c.prove(ctx, b.t, b.n, b.page.Fields.Client, list[0].Start); err != nil || c.tested {
		return err
	}
	for i, x := range w.cautions {
		if x.Code == chairtime.CautionPatchTest {
			b.page.Estimate.Cautions[i] = pages.Caution{Level: pages.CautionNeedsYes, Text: fmt.Sprintf(
				"Times before %s are too soon for a new skin test: the licensed person says whether an earlier one still counts.",
				soon.In(b.n.loc).Format("Mon 2 January 15:04"))}
		}
	}
	return nil
}

// longestKey bounds the text that makes a press unique.
const longestKey = 64

// book books the chosen opening, for a client who is known or added with it. A
// second press of the same button gives what the first one booked.
func (b *booking) book(ctx context.Context, opening string, req ServiceRequest) error {
	start, key, err := b.chosen(opening, &req)
	if err != nil {
		return err
	}
	b.done, err = b.onlyOnce(ctx, "/book", key, opening, func() (store.Visit, error) { return b.bookNow(ctx, start, req) })
	return err
}

// chosen reads the start of an opening and the key of its buttons, and puts its
// stylist into req.
func (b *booking) chosen(opening string, req *ServiceRequest) (start time.Time, key string, err error) {
	at, lead, _ := strings.Cut(opening, "-")
	unix, err := strconv.ParseUint(at, 10, 35)
	if err != nil {
		return start, "", &scheduling.InvalidError{Problem: "the chosen time cannot be read", Want: "one of the times shown"}
	}
	if req.LeadID == "" { // the times were searched at the salon's pace
		req.Pace = paceOfSalon
	}
	req.LeadID = lead
	return time.Unix(int64(unix), 0).In(b.n.loc), b.form.Get(pages.KeyField(opening)), nil
}

// onlyOnce carries out a press and returns the visit that it was about. A second
// press of the same button gives what the first one did.
func (b *booking) onlyOnce(ctx context.Context, route, key, what string, f func() (store.Visit, error)) (string, error) {
	if key == "" || len(key) > longestKey {
		return "", &scheduling.InvalidError{Problem: "the form lacks the key of the chosen time", Want: "one of the times shown"}
	}
	call := store.Call{Principal: "page", Method: http.MethodPost, Route: route, Key: key,
		Fingerprint: fingerprint(fmt.Sprintf("%s %#v", what, b.page.Fields))}
	old, again, err := b.t.Begin(ctx, call)
	if is(err, store.ErrKeyReused) {
		return "", conflict("this form has booked that time already, with other details: look at the day board; the times below are for one more visit")
	}
	if err != nil || again {
		return old.Location, err
	}
	v, err := f()
	if err != nil {
		return "", err
	}
	return v.ID, b.t.End(ctx, call, store.Answer{Status: http.StatusCreated, Location: v.ID, Body: []byte("null")})
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
	x, err := aboutVisit(withoutHealth(ctx), b.t, b.n, v)
	if err != nil {
		return err
	}
	body := writeVisit(v, b.n, nil)
	b.page.BoardHref, b.page.Step = boardOf(b.n, v), pages.StepBooked
	b.page.Booked = &pages.BookedView{Client: clientName(x.client), Service: serviceNames(v), Start: body.Start, End: body.End,
		DryUntil: body.KeepDryUntil, UntiedUntil: body.UntiedUntil, With: x.names[v.Lead()], Chair: x.names[v.Chair], Price: price(v.PriceCents, b.n.row.Currency),
		StillNeeded: x.needed, Cautions: cautionViews(x.cautions), ApprovedBy: v.ApprovedBy, Chemical: x.chemical,
		Messages: x.messages, NoMessages: x.noMessages, VisitHref: "/visits/" + v.ID}
	return nil
}
