package api

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/needs"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// estimateView puts the minutes of a visit into the words of the page.
func (b *booking) estimateView(ctx context.Context) (*pages.EstimateView, error) {
	c := b.c
	v := &pages.EstimateView{Price: price(c.price, b.n.row.Currency), Bookable: true, Chemical: c.chemical}
	var names, sums []string
	for i, x := range c.services {
		names = append(names, x.Name)
		rule, err := readPriceRule(*b.service(x.Service))
		if err != nil {
			return nil, err
		}
		if rule != nil {
			sums = append(sums, c.workings[i])
		}
	}
	v.Service, v.PriceWorking = strings.Join(names, " and "), strings.Join(sums, "; ")
	for _, st := range c.plan.Steps {
		v.Lines = append(v.Lines, pages.EstimateLine{Step: st.Label, Expected: float64(st.Length), Minutes: st.Length})
		v.KeepMinutes += st.Length
	}
	first := true
	for i, w := range c.estimates {
		if w == nil {
			continue
		}
		if err := b.estimated(v, i, w, first); err != nil {
			return nil, err
		}
		first = false
	}
	if say := cautionViews([]CautionBody{b.n.sayMadeBefore()}); c.testsSkin(b.n) && !slices.Contains(v.Cautions, say[0]) {
		v.Cautions = append(v.Cautions, say...)
	}
	if v.OutOfTen > 0 {
		for _, l := range v.Lines {
			v.MeanMinutes += l.Expected
		}
	}
	err := b.tellRange(ctx)
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(c.estimates, func(w *worked) bool { return w != nil }); b.phone != nil && i >= 0 {
		b.phoneView(v, c.estimates[i])
	}
	v.StillNeeded, err = b.needed(ctx)
	return v, err
}

// estimated adds to the page what the estimate of service i says. Other ways to do
// it are those of the first one.
func (b *booking) estimated(v *pages.EstimateView, i int, w *worked, first bool) error {
	e, err := b.n.time.Estimate(w.head())
	if err != nil {
		return err
	}
	workings(v.Lines, b.c, i, e)
	v.OutOfTen = int(math.Round(10 * e.Quantile))
	if first {
		v.FirstSectionMinutes, v.FirstSectionWorking = e.BookedExposure, e.ExposureWorking
		for _, r := range b.n.time.Why(e, b.n.assistedKinds(b.service(b.c.services[i].Service).Service)) {
			v.Why = append(v.Why, pages.CountLine{What: r.Label, Working: r.Working})
		}
		if v.Plans, err = b.plans(w); err != nil {
			return err
		}
	}
	for _, x := range cautionViews(w.cautions) {
		if slices.Contains(v.Cautions, x) {
			continue
		}
		v.Cautions = append(v.Cautions, x)
		v.Bookable = v.Bookable && x.Level != pages.CautionRefuse
	}
	for _, l := range w.result.Pace {
		if !slices.Contains(v.Pace, l.Text) {
			v.Pace = append(v.Pace, l.Text)
		}
	}
	return nil
}

// neededAhead is how far ahead of now a visit is taken to be whose time nobody has
// chosen yet: further than any test has to be (judgement).
const neededAhead = 15 * 24 * time.Hour

// needed says what the visit will need before it can begin by what is on record of
// who is chosen, while she can still be asked.
func (b *booking) needed(ctx context.Context) ([]string, error) {
	out := []string{}
	list, _, err := b.c.needs(ctx, b.t, b.n, b.page.Fields.Client, b.s.now().Add(neededAhead))
	if err != nil {
		return nil, err
	}
	for _, k := range inKindOrder(needs.FirstOpen(list)) {
		line := k.Words()
		if lead := b.n.leadOf(k); lead > 0 && !k.Hidden() {
			line += ", at least " + scheduling.Number(lead) + " hours before"
		}
		out = append(out, line)
	}
	least, err := b.n.depositFor(ctx, b.t, b.told.from, b.c.chemical, b.page.Fields.Client)
	if err != nil {
		return nil, err
	}
	most, err := b.n.depositFor(ctx, b.t, b.told.dearest, b.c.chemical, b.page.Fields.Client)
	switch {
	case most.Cents > least.Cents:
		out = append(out, "a deposit of "+quoting.Plain(least.Cents, b.n.row.Currency)+" to "+b.n.amount(most.Cents)+", by stylist")
	case most.Cents > 0:
		out = append(out, "a deposit of "+b.n.amount(most.Cents))
	}
	return out, err
}

// workings gives every line the count of the step of the same kind, the first
// to the first and so on: a service may lack steps or have its own between.
func workings(lines []pages.EstimateLine, c *composed, service int, e chairtime.Estimate) {
	left := map[scheduling.StepKind][]chairtime.StepTime{}
	for _, st := range e.Steps {
		left[st.Kind] = append(left[st.Kind], st)
	}
	for i, st := range c.plan.Steps {
		if list := left[st.Kind]; st.Service == service && st.Formula == scheduling.FormulaHead && len(list) > 0 {
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
		out = append(out, pages.Caution{Level: pages.CautionLevel(x.Level), Text: x.Text, Href: ChangedAt(x.Code)})
	}
	return out
}

func price(cents int64, currency string) string {
	if cents == 0 {
		return ""
	}
	return quoting.Amount(cents, currency)
}

// longestKey bounds the text that makes a press unique, in bytes (judgement).
const longestKey = 64

// book books the chosen opening, for a client who is known or added with it. A
// second press of the same button gives what the first one booked.
func (b *booking) book(ctx context.Context, opening string) error {
	req := slices.Clone(b.req)
	start, key, err := b.chosen(opening, req)
	if err != nil {
		return err
	}
	b.done, err = b.onlyOnce(ctx, "/book", key, opening, func() (string, error) {
		v, err := b.bookNow(ctx, start, req)
		return v.ID, err
	})
	return err
}

// chosen reads the start of an opening and the key of its buttons, and puts its
// stylist into req: the minutes are hers.
func (b *booking) chosen(opening string, req []ServiceRequest) (start time.Time, key string, err error) {
	at, lead, _ := strings.Cut(opening, "-")
	unix, err := strconv.ParseUint(at, 10, 35)
	if err != nil {
		return start, "", &scheduling.InvalidError{Problem: "the chosen time cannot be read", Want: "one of the times shown"}
	}
	for i := range req {
		req[i].LeadID = lead
	}
	return time.Unix(int64(unix), 0).In(b.n.loc), b.form.Get(pages.KeyField(opening)), nil
}

// onlyOnce carries out a press and returns what it was about, the id of a visit or
// two. A second press of the same button gives what the first one did.
func (b *booking) onlyOnce(ctx context.Context, route, key, what string, f func() (string, error)) (string, error) {
	if key == "" || len(key) > longestKey {
		return "", &scheduling.InvalidError{Problem: "the form lacks the key of the chosen time", Want: "one of the times shown"}
	}
	call := store.Call{Principal: "page", Method: http.MethodPost, Route: route, Key: key,
		Fingerprint: fingerprint(fmt.Sprintf("%s %#v", what, b.page.Fields))}
	old, again, err := b.t.Begin(ctx, call)
	if is(err, store.ErrKeyReused) {
		if route == quoteRoute {
			return "", conflict("this form has made a quote already, with other details; press once more for one more quote")
		}
		return "", conflict("this form has booked that time already, with other details: look at the day board; the times below are for one more visit")
	}
	if err != nil || again {
		return old.Location, err
	}
	done, err := f()
	if err != nil {
		return "", err
	}
	return done, b.t.End(call, store.Answer{Status: http.StatusCreated, Location: done, Body: []byte("null")})
}

func (b *booking) bookNow(ctx context.Context, start time.Time, req []ServiceRequest) (store.Visit, error) {
	client, err := b.client(ctx)
	if err != nil {
		return store.Visit{}, err
	}
	v, err := b.s.book(ctx, b.t, b.n, VisitRequest{ClientID: client, Start: start, Services: req, ApprovedBy: b.page.Fields.ApprovedBy, Note: b.page.Fields.Note,
		QuoteID: b.page.Quote})
	if err != nil {
		return v, err
	}
	return v, b.bind(ctx, v)
}

// client is the chosen client, or the one whose name was typed.
func (b *booking) client(ctx context.Context) (string, error) {
	v := b.page.Fields
	if v.Client != "" {
		return v.Client, nil
	}
	row, err := ClientBody{GivenName: v.FirstName, FamilyName: v.Initial, Phone: v.Phone, Mail: v.Mail, ContactBy: v.Preferred}.row(b.region())
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
	x, err := b.s.aboutVisit(withoutHealth(ctx), b.t, b.n, v)
	if err != nil {
		return err
	}
	body := writeVisit(v, b.n, nil)
	b.page.BoardHref, b.page.Step = boardOf(b.n, v), pages.StepBooked
	b.page.Booked = &pages.BookedView{Client: clientName(x.client), Service: serviceNames(v), Start: body.Start, End: body.End,
		DryUntil: body.KeepDryUntil, UntiedUntil: body.UntiedUntil, With: x.names[v.Lead()], Chair: x.names[v.Chair], Price: b.n.priceWords(v),
		StillNeeded: x.needed, First: b.bookFirst(x, v), Cautions: cautionViews(x.cautions), ApprovedBy: v.ApprovedBy, Chemical: x.chemical,
		Messages: x.messages, NoMessages: x.noMessages, VisitHref: "/visits/" + v.ID}
	if full, err := b.s.visitBody(ctx, b.t, b.n, v); err != nil {
		return err
	} else if d := full.Deposit; d != nil && d.AskedCents > 0 {
		b.page.Booked.Deposit = "Deposit asked: " + b.n.amount(d.AskedCents)
	}
	if v.Client != "" && May(ctx, "update-client") {
		b.page.Booked.AskWay = askWay(x.to, "/book?"+bookedVisit+"="+v.ID)
	}
	if err := b.showTogether(ctx, v); err != nil {
		return err
	}
	return b.showBehind(ctx)
}

// bookFirst are the ways to book what has to come before a visit, where the salon
// has services for it.
func (b *booking) bookFirst(x *visitFacts, v store.Visit) (out []pages.Option) {
	for _, k := range x.open {
		kind := map[needs.Kind]scheduling.StepKind{needs.Consultation: stepOfConsultation, needs.PatchTest: "patch_test"}[k]
		i := slices.IndexFunc(b.rows, func(r store.ServiceRow) bool {
			return kind != "" && r.Active && len(r.Steps) == 1 && r.Steps[0].Kind == kind
		})
		if i >= 0 {
			q := url.Values{pages.FieldService: {b.rows[i].ID}}
			if v.Client != "" {
				q.Set(pages.FieldClient, v.Client)
			}
			out = append(out, pages.Option{ID: "/book?" + q.Encode(), Name: b.rows[i].Name})
		}
	}
	return out
}

// showBehind says what is pencilled behind a consultation that was booked.
func (b *booking) showBehind(ctx context.Context) error {
	id := b.form.Get(pencilledBehind)
	if id == "" {
		return nil
	}
	v, err := b.t.VisitByID(ctx, id)
	if err != nil || v.State != store.Held {
		return err
	}
	names, err := unitNames(ctx, b.t)
	if err != nil {
		return err
	}
	b.page.Booked.Behind = serviceNames(v) + " on " + b.n.atWords(v.Start) + " with " + names[v.Lead()] + ", until " + b.n.atWords(*v.HeldUntil)
	b.page.Booked.BehindHref = "/book?" + pencilledVisit + "=" + v.ID
	return nil
}
