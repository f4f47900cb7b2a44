package api

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chairblock/scheduling"
	"chairblock/scheduling/quoting"
	"chairblock/store"
)

// moneyFields says which fields a kind of money fact needs and which it may
// have.
var moneyFields = map[store.MoneyKind]struct{ needs, may []string }{
	store.DepositAsked: {[]string{"amount_cents"}, []string{"by", "note"}},
	store.Received:     {[]string{"amount_cents", "how"}, []string{"note"}},
	store.CarriedOver:  {[]string{"amount_cents", "to_visit_id"}, []string{"note"}},
	store.Returned:     {[]string{"amount_cents"}, []string{"how", "note"}},
	store.Kept:         {[]string{"amount_cents"}, []string{"note"}},
	store.Waived:       {[]string{"who"}, []string{"note"}},
	store.Goodwill:     {[]string{"note"}, []string{"amount_cents", "minutes"}},
	store.Voucher:      {[]string{"note"}, []string{"amount_cents"}},
	store.PriceChanged: {[]string{"amount_cents", "client_agreed"}, []string{"service_index", "note"}},
	store.TakenBack:    {[]string{"entry_id"}, []string{"note"}},
}

// given names the fields of b that say something, kind left out.
func (b MoneyRequest) given() []string {
	var out []string
	for _, x := range []struct {
		name string
		is   bool
	}{{"amount_cents", b.Amount != nil}, {"how", b.How != ""}, {"by", b.By != nil}, {"to_visit_id", b.ToVisit != ""}, {"minutes", b.Minutes != 0},
		{"service_index", b.Service != nil}, {"client_agreed", b.Agreed}, {"who", strings.TrimSpace(b.Who) != ""}, {"entry_id", b.EntryID != ""},
		{"note", strings.TrimSpace(b.Note) != ""}} {
		if x.is {
			out = append(out, x.name)
		}
	}
	return out
}

// Resolve holds what is wrong with b beside what its description refuses, and does
// not depend on the visit.
func (b *MoneyRequest) Resolve(ctx huma.Context, at *huma.PathBuffer) []error {
	late := store.Visit{Start: time.Date(9999, 1, 1, 0, 0, 0, 0, time.UTC), Services: make([]store.VisitService, 1)}
	if b.Service != nil {
		late.Services = make([]store.VisitService, max(1, min(*b.Service, 7)+1))
	}
	_, err := b.entry(late)
	hold(ctx, at, err)
	return nil
}

// entry is b for the store, once its fields fit its kind.
func (b MoneyRequest) entry(v store.Visit) (store.MoneyEntry, error) {
	var f scheduling.Faults
	e := store.MoneyEntry{Visit: v.ID, Kind: store.MoneyKind(b.Kind), Minutes: b.Minutes, How: b.How, By: b.By, ToVisit: optional(b.ToVisit), Reverses: optional(b.EntryID)}
	e.Who = text(&f, "who", b.Who, 0, 80)
	e.Note = text(&f, "note", b.Note, 0, 500)
	want, ok := moneyFields[e.Kind]
	if !ok {
		f.Addf("kind", "one of the kinds of money facts", "is %q", b.Kind)
		return e, f
	}
	given := b.given()
	for _, name := range want.needs {
		if !slices.Contains(given, name) {
			f.Add(name, "is missing for "+b.Kind, "what belongs to "+b.Kind+": "+strings.Join(want.needs, ", "))
		}
	}
	for _, name := range given {
		if !slices.Contains(want.needs, name) && !slices.Contains(want.may, name) {
			f.Add(name, "does not belong to "+b.Kind, "only "+strings.Join(append(slices.Clone(want.needs), want.may...), ", "))
		}
	}
	if b.Amount != nil {
		e.Amount = *b.Amount
		least := int64(1)
		if e.Kind == store.PriceChanged {
			least = 0
		}
		if e.Amount < least || e.Amount > quoting.MostCents {
			f.Addf("amount_cents", fmt.Sprintf("%d to %d", least, int64(quoting.MostCents)), "is %d", e.Amount)
		}
	}
	if e.Kind == store.Goodwill && (b.Amount != nil) == (b.Minutes != 0) {
		f.Add("minutes", "or amount_cents has to be given, and not both", "minutes, or an amount")
	}
	if e.Kind == store.PriceChanged {
		b.whichService(&f, v, &e)
	}
	if b.By != nil {
		year(&f, "by", *b.By)
		if b.By.After(v.Start) {
			f.Add("by", "is later than the start of the visit", "the start or an earlier time")
		}
	}
	return e, f.Err()
}

// whichService finds the service whose price changes.
func (b MoneyRequest) whichService(f *scheduling.Faults, v store.Visit, e *store.MoneyEntry) {
	switch {
	case b.Service == nil && len(v.Services) == 1:
		e.Service = new(0)
	case b.Service == nil:
		f.Addf("service_index", fmt.Sprintf("0 to %d", len(v.Services)-1), "is missing, and the visit has %d services", len(v.Services))
	case *b.Service < 0 || *b.Service >= len(v.Services):
		f.Addf("service_index", fmt.Sprintf("0 to %d", len(v.Services)-1), "is %d", *b.Service)
	default:
		e.Service = b.Service
	}
}

// changePrice gives a service of a locked visit another price, which the client
// has agreed to.
func (s *Server) changePrice(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, e store.MoneyEntry) error {
	switch {
	case !v.State.Open() && v.State != store.Held && v.State != store.Finished && v.State != store.StoppedEarly:
		return conflict("the visit is " + words(v.State) + ": its price does not matter any more")
	case e.Amount == v.Services[*e.Service].PriceCents && !v.Services[*e.Service].Open:
		return conflict(n.amount(e.Amount) + " is the price already")
	}
	e.Was = v.Services[*e.Service].PriceCents
	v.Services[*e.Service].Open = false
	return s.setPrice(ctx, t, n, v, e, *e.Service, e.Amount)
}

// setPrice writes the price of a service and the entry that says why.
func (s *Server) setPrice(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, e store.MoneyEntry, service int, cents int64) error {
	prices := make([]int64, len(v.Services))
	var sum int64
	for i, x := range v.Services {
		prices[i] = x.PriceCents
		if i == service {
			prices[i] = cents
		}
		sum += prices[i]
	}
	if sum > quoting.MostCents {
		return &scheduling.InvalidError{Field: "amount_cents", Problem: "makes the visit cost " + n.amount(sum), Want: "at most " + n.amount(quoting.MostCents)}
	}
	if _, err := t.AddMoney(ctx, e, s.now()); err != nil {
		return err
	}
	return t.SetPrices(ctx, v, prices)
}

// priceBack takes the last change of a price back.
func (s *Server) priceBack(ctx context.Context, t *store.Tx, n salonDay, v *store.Visit, list []store.MoneyEntry, old, e store.MoneyEntry) error {
	if v.Services[*old.Service].PriceCents != old.Amount {
		return conflict("the price was changed again since: take that back first")
	}
	for _, x := range list {
		if x.Kind == store.PriceChanged && *x.Service == *old.Service && x.ID > old.ID && !takenBack(list, x.ID) {
			return conflict("the price was changed again since: take that back first")
		}
	}
	if x := &v.Services[*old.Service]; x.ToCents > 0 && x.FromCents <= old.Was && old.Was <= x.ToCents {
		x.Open = true // it was said on the telephone, and nobody has seen the hair since
	}
	return s.setPrice(ctx, t, n, v, e, *old.Service, old.Was)
}

func takenBack(list []store.MoneyEntry, id string) bool {
	return slices.ContainsFunc(list, func(e store.MoneyEntry) bool { return e.Reverses != nil && *e.Reverses == id })
}

// account notes what a change of a visit means for product and money: what it
// takes, the quote that it was booked with, and the deposit that is asked.
func (s *Server) account(ctx context.Context, t *store.Tx, n salonDay, j *job) error {
	if err := j.c.reserve(ctx, t, j.v, j.before.Services, j.isNew()); err != nil || !j.isNew() {
		return err
	}
	if j.c.quote != nil {
		if err := t.SetVisitQuote(ctx, j.v.ID, j.c.quote.ID); err != nil {
			return err
		}
	}
	if j.v.State == store.Held { // asked when it is booked
		return nil
	}
	return s.askDeposit(ctx, t, n, j.v, j.c.chemical)
}

// askDeposit notes what is asked ahead of a visit that was just booked, unless a
// deposit was asked while it was pencilled.
func (s *Server) askDeposit(ctx context.Context, t *store.Tx, n salonDay, v store.Visit, chemical bool) error {
	list, err := t.MoneyOf(ctx, v.ID)
	if err != nil || store.NewBalance(v.ID, list).Asked != nil {
		return err
	}
	var p quoting.Price
	total, _ := v.PriceRange() // of what it costs at least
	q, err := t.QuoteOfVisit(ctx, v.ID)
	switch {
	case err == nil:
		p, err = n.afterMissed(ctx, t, quoting.Price{Cents: q.DepositCents, Working: "as quoted"}, total, v.Client)
	case is(err, scheduling.ErrNotFound):
		p, err = n.depositFor(ctx, t, total, chemical, v.Client)
	}
	if err != nil || p.Cents == 0 {
		return err
	}
	by, err := whoNotes(ctx, t)
	if err != nil {
		return err
	}
	_, err = t.AddMoney(ctx, store.MoneyEntry{Visit: v.ID, Kind: store.DepositAsked, Amount: p.Cents, By: new(n.depositDue(v.Start, s.now())),
		Note: p.Working, NotedBy: by}, s.now())
	return err
}

// withDeposit adds to the answer about a visit that is off the question what
// becomes of what was paid for it. The program asks and never decides. What was done
// stands without the question when that cannot be said.
func (s *Server) withDeposit(ctx context.Context, out *found[VisitBody], err error) (*found[VisitBody], error) {
	if err != nil {
		return out, err
	}
	broken := s.read(ctx, func(t *store.Tx) error {
		n, err := loadSalon(ctx, t)
		if err != nil {
			return err
		}
		list, err := t.MoneyOf(ctx, out.Body.ID)
		if err != nil {
			return err
		}
		left := store.NewBalance(out.Body.ID, list).Left()
		if left <= 0 {
			return nil
		}
		q := DepositQuestionBody{LeftCents: left, Choices: []string{string(store.Returned), string(store.CarriedOver)}}
		when := "in time"
		switch {
		case out.Body.State == string(store.Missed):
			q.InsideNotice, when = true, "and nobody came"
		case s.now().After(out.Body.Start.Add(-n.notice())):
			q.InsideNotice, when = true, fmt.Sprintf("less than %d hours before the visit", *n.rules.Money.filled().NoticeHours)
		}
		q.Words = n.amount(left) + " are here, " + when + ": return them or carry them over to another visit?"
		if q.InsideNotice {
			q.Choices = append(q.Choices, string(store.Kept))
			q.Words = n.amount(left) + " are here, " + when + ": keep them, return them or carry them over to another visit?"
		}
		if out.Body.State == string(store.Cancelled) {
			q.Words = strings.Replace(q.Words, "are here, ", "are here, and the visit was cancelled ", 1)
		}
		out.Body.Question = &q
		return nil
	})
	if broken != nil {
		slog.WarnContext(ctx, "nobody was asked what becomes of a deposit", "visit", out.Body.ID, "err", broken)
	}
	return out, nil
}
