package api

import (
	"context"
	"slices"
	"strconv"
	"strings"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// ofHeld reports whether a button is about what is pencilled already.
func ofHeld(k pages.ActionKind) bool {
	return k == pages.ActFirm || k == pages.ActLonger || k == pages.ActGiveUp
}

// pencil pencils the chosen opening, for whoever is chosen or has begun to say
// who she is, and shows it.
func (b *booking) pencil(ctx context.Context, opening string) error {
	req := slices.Clone(b.req)
	start, key, err := b.chosen(opening, req)
	if err != nil {
		return err
	}
	v := b.page.Fields
	hold := HoldRequest{Start: start, Services: req, ClientID: v.Client, Note: v.Note, QuoteID: b.page.Quote}
	if v.Client == "" {
		hold.Title = strings.TrimSpace(v.FirstName + " " + v.Initial)
	}
	id, err := b.onlyOnce(ctx, "/book/pencil", key, opening, func() (string, error) {
		h, err := b.s.hold(ctx, b.t, b.n, hold)
		if err != nil {
			return "", err
		}
		return h.ID, b.bind(ctx, h)
	})
	if err != nil {
		return err
	}
	return b.showPencilled(ctx, id, false)
}

// held is the pencilled visit that the form is about, and its version when the
// page was made.
func (b *booking) held() (id string, version int64, err error) {
	id = b.form.Get(pages.FieldHeld)
	version, err = strconv.ParseInt(b.form.Get(pages.FieldHeldVersion), 10, 64)
	if err != nil || id == "" || len(id) > longestKey || version < 1 {
		return "", 0, &scheduling.InvalidError{Problem: "the form does not say which pencilled visit it is about", Want: "the page of a pencilled visit"}
	}
	return id, version, nil
}

// decide books what is pencilled, keeps it for longer or gives it up.
func (b *booking) decide(ctx context.Context, do pages.ActionKind) error {
	id, version, err := b.held()
	if err != nil {
		return err
	}
	err = b.decideAbout(ctx, do, id, version)
	if is(err, scheduling.ErrStale) {
		return conflict("somebody else has changed it in the meantime: look again")
	}
	return err
}

func (b *booking) decideAbout(ctx context.Context, do pages.ActionKind, id string, version int64) (err error) {
	switch do {
	case pages.ActFirm:
		b.done, err = b.onlyOnce(ctx, "/book/firm", id, strconv.FormatInt(version, 10), func() (string, error) {
			v, err := b.firm(ctx, id, version)
			return v.ID, err
		})
		return err
	case pages.ActLonger:
		v, err := lockHeld(ctx, b.t, id, version)
		if err != nil {
			return err
		}
		if err := b.s.pencilLonger(ctx, b.t, b.n, &v, HoldFor{}); err != nil {
			return err
		}
		return b.showPencilled(ctx, id, false)
	default: // gives it up
	}
	if _, err := b.s.release(ctx, b.t, b.n, id, version); err != nil {
		return err
	}
	return b.otherTimes(ctx)
}

// firm books what is pencilled for a client who is known or added with it.
func (b *booking) firm(ctx context.Context, id string, version int64) (store.Visit, error) {
	client, err := b.client(ctx)
	if err != nil {
		return store.Visit{}, err
	}
	return b.s.bookHeld(ctx, b.t, b.n, id, version, HeldBooking{ClientID: client, ApprovedBy: b.page.Fields.ApprovedBy})
}

// stillPencilled shows what hinders a decision about a pencilled visit beside
// the visit, or other times when somebody else has got its time.
func (b *booking) stillPencilled(ctx context.Context) error {
	id, _, err := b.held()
	if err != nil {
		return nil // which was said already
	}
	v, err := b.t.VisitByID(ctx, id)
	switch {
	case is(err, scheduling.ErrNotFound):
		return nil
	case err != nil:
		return err
	case v.State == store.Held:
		return b.showPencilled(ctx, id, false)
	}
	return b.otherTimes(ctx)
}

// otherTimes is timesAgain for a form that may lack something: what it lacks
// stands on the page then, and hinders nothing.
func (b *booking) otherTimes(ctx context.Context) error {
	if b.page.Pencilled, b.page.Step = nil, pages.StepForm; b.page.Fields.Service == "" {
		return nil
	}
	err := b.timesAgain(ctx)
	if err != nil {
		_, err = b.fail(ctx, err)
	}
	return err
}

// timesAgain shows the times that fit for what the form says.
func (b *booking) timesAgain(ctx context.Context) error {
	if err := b.workOut(ctx, pages.ActOpenings); err != nil {
		return err
	}
	return b.find(ctx)
}

// showPencilled shows a pencilled visit. fresh fills the form with what is known
// of it.
func (b *booking) showPencilled(ctx context.Context, id string, fresh bool) error {
	v, err := b.t.VisitByID(ctx, id)
	if err != nil {
		return err
	}
	if v.State != store.Held && v.State != store.Lapsed {
		b.done = v.ID
		return nil
	}
	x, err := b.s.aboutVisit(withoutHealth(ctx), b.t, b.n, v)
	if err != nil {
		return err
	}
	body, err := b.s.visitBody(ctx, b.t, b.n, v)
	if err != nil {
		return err
	}
	if fresh {
		if b.page.Fields, err = b.fieldsOf(ctx, v); err != nil {
			return err
		}
	}
	var cautions []CautionBody
	for _, c := range x.cautions {
		if c.Level == string(chairtime.LevelWarn) {
			cautions = append(cautions, c)
		}
	}
	if !slices.Contains(x.open, needs.Deposit) { // which is asked when it is booked
		d, err := b.n.depositFor(ctx, b.t, v.PriceCents, x.chemical, v.Client)
		if err != nil {
			return err
		}
		if d.Cents > 0 {
			x.needed = append(x.needed, "a deposit of "+b.n.amount(d.Cents))
		}
	}
	b.page.BoardHref, b.page.Step = boardOf(b.n, v), pages.StepPencilled
	b.page.Pencilled = &pages.PencilledView{ID: v.ID, Version: v.Version, Service: serviceNames(v), Start: body.Start, End: body.End,
		DryUntil: body.KeepDryUntil, UntiedUntil: body.UntiedUntil, With: x.names[v.Lead()], Chair: x.names[v.Chair], Price: b.n.priceWords(v),
		Until: *body.HeldUntil, Now: b.s.now().In(b.n.loc), StillNeeded: x.needed, First: b.bookFirst(x, v), Cautions: cautionViews(append(cautions, body.Cautions...)), Chemical: x.chemical}
	if v.State == store.Lapsed {
		b.page.Pencilled.Now = *body.HeldUntil // nothing is left
	}
	return nil
}

// fieldsOf is the form as it was when v was pencilled, as far as v tells.
func (b *booking) fieldsOf(ctx context.Context, v store.Visit) (pages.BookFields, error) {
	out := b.usual()
	out.Client, out.FirstName = v.Client, v.Title
	out.Note = v.Note
	if len(v.Services) == 0 || len(v.Services) > pages.MostServices { // which the form cannot ask for
		return out, nil
	}
	x := v.Services[0]
	for i, s := range v.Services {
		if i == 0 {
			out.Service = s.Service
			continue
		}
		if out.Others = append(out.Others, s.Service); x.Estimate == nil {
			x = s
		}
	}
	if x.Estimate == nil {
		return out, nil
	}
	row, err := b.t.EstimateByID(ctx, *x.Estimate)
	if err != nil {
		return out, err
	}
	w, err := readEstimate(row)
	if err != nil {
		return out, err
	}
	h := w.hair
	if p := w.result.Phone; p != nil { // hers was told of, and not seen
		out.Reach, out.Ponytail, out.History = p.Reach, p.Ponytail, p.History
		return out, nil
	}
	b.hairFields(&out, h)
	out.Hands, out.Batches = strconv.Itoa(h.Hands), strconv.Itoa(max(1, h.Batches))
	return out, nil
}
