package api

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/chairtime"
	"chairblock/store"
)

// booking is one request of the booking page on its way.
type booking struct {
	s    *Server
	t    *store.Tx
	n    salonDay
	page pages.BookPage
	rows []store.ServiceRow
	form interface{ Get(string) string }
}

// bookPage shows the form and carries out its buttons: estimate, openings,
// another plan, book. Each answer holds the whole page, with everything that
// was typed.
func (s *Server) bookPage(c echo.Context) error {
	ctx := c.Request().Context()
	form, err := c.FormParams()
	if err != nil {
		return message(c, http.StatusBadRequest, "The form could not be read", "Go back and try once more.")
	}
	var page pages.BookPage
	status := http.StatusOK
	err = s.inTx(ctx, func(t *store.Tx) error {
		b := &booking{s: s, t: t, form: form}
		if err := b.load(ctx); err != nil {
			return err
		}
		if c.Request().Method == http.MethodPost {
			b.page.Fields = pages.ReadBookFields(form)
			status = http.StatusOK
			if err := t.Savepoint(ctx, func(t *store.Tx) error { b.t = t; return b.act(ctx) }); err != nil {
				if status, err = b.fail(ctx, err); err != nil {
					return err
				}
			}
		} else {
			b.page.Fields = b.usual()
		}
		page = b.page
		return nil
	})
	if err != nil {
		return sorry(c, err)
	}
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	c.Response().WriteHeader(status)
	return pages.RenderBook(c.Response(), page)
}

// load reads what the form offers to choose from.
func (b *booking) load(ctx context.Context) error {
	var err error
	if b.n, err = loadSalon(ctx, b.t); err != nil {
		return err
	}
	b.page.Salon, b.page.BoardHref, b.page.Location = b.n.row.Name, "/", b.n.loc
	clients, err := b.t.Clients(ctx, "", "", 500)
	if err != nil {
		return err
	}
	for _, c := range clients {
		b.page.Clients = append(b.page.Clients, pages.Option{ID: c.ID, Name: strings.TrimSpace(c.GivenName + " " + c.FamilyName)})
	}
	if b.rows, err = b.t.Services(ctx); err != nil {
		return err
	}
	for _, r := range b.rows {
		b.page.Services = append(b.page.Services, pages.ServiceOption{ID: r.ID, Name: r.Name, NeedsHair: needsHair(r.Service)})
	}
	staff, err := b.t.StaffList(ctx)
	for _, p := range staff {
		if p.MayLead && p.Active {
			b.page.Stylists = append(b.page.Stylists, pages.Option{ID: p.ID, Name: p.Name})
		}
	}
	return err
}

// usual fills an empty form with what fits most heads.
func (b *booking) usual() pages.BookFields {
	return pages.BookFields{Density: "medium", Strand: "medium", Porosity: "normal", Curl: "straight", Sections: "4", Plate: "3",
		Hands: "1", Batches: "1", NewClient: true, DateFrom: scheduling.CivilDate(b.s.now(), b.n.loc).String()}
}

// act carries out the button that was pressed.
func (b *booking) act(ctx context.Context) error {
	do, ok := pages.ParseAction(b.form.Get(pages.FieldDo))
	if !ok {
		return &scheduling.InvalidError{Problem: "no button of this form was pressed", Want: "one of its buttons"}
	}
	if do.Kind == pages.ActPlan {
		b.page.Fields.Hands, b.page.Fields.Batches = strconv.Itoa(do.Hands), strconv.Itoa(do.Batches)
	}
	req, err := b.request()
	if err != nil {
		return err
	}
	c, err := compose(ctx, b.t, b.n, []ServiceRequest{req})
	if err != nil {
		return err
	}
	b.page.Step = pages.StepEstimate
	b.page.Estimate = b.estimateView(c)
	if do.Kind == pages.ActEstimate || do.Kind == pages.ActPlan || !b.page.Estimate.Bookable {
		return nil
	}
	if do.Kind == pages.ActBook {
		return b.book(ctx, do.Opening, req)
	}
	return b.find(ctx, c, req)
}

// request reads the service and the hair from the form.
func (b *booking) request() (ServiceRequest, error) {
	var f scheduling.Faults
	v := b.page.Fields
	req := ServiceRequest{ServiceID: v.Service, LeadID: v.Stylist}
	row := b.service(v.Service)
	if row == nil {
		f.Add(pages.FieldService, "is not chosen", "one of the services")
		return req, f
	}
	if !needsHair(row.Service) {
		return req, nil
	}
	number := func(field, text string, whole bool) float64 {
		if text == "" && (field == pages.FieldRegrowth || field == pages.FieldBatches) {
			return 0
		}
		n, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
		if err != nil || math.IsInf(n, 0) || math.IsNaN(n) || (whole && n != math.Trunc(n)) {
			f.Addf(field, "a number", "is %q", text)
			return 0
		}
		return n
	}
	hair := &HeadBody{LengthCM: number(pages.FieldLength, v.Length, false), Density: v.Density, Strand: v.Strand, Porosity: v.Porosity,
		Curl: v.Curl, Damaged: v.Damaged, NewClient: v.NewClient, RegrowthCM: number(pages.FieldRegrowth, v.Regrowth, false),
		Sections: int(number(pages.FieldSections, v.Sections, true)), PlateDepthCM: number(pages.FieldPlate, v.Plate, false),
		Hands: int(number(pages.FieldHands, v.Hands, true)), Batches: int(number(pages.FieldBatches, v.Batches, true))}
	if len(f) > 0 {
		return req, f
	}
	req.Hair = hair
	return req, nil
}

func (b *booking) service(id string) *store.ServiceRow {
	for i := range b.rows {
		if b.rows[i].ID == id {
			return &b.rows[i]
		}
	}
	return nil
}

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
	for i, st := range e.Steps {
		if i < len(v.Lines) {
			v.Lines[i].Working = st.Working
		}
	}
	v.MeanMinutes, v.OutOfTen = int(math.Round(e.Total.MeanMinutes)), int(math.Round(10*e.PromisedShare))
	v.FirstSectionMinutes = e.BookedExposureMinutes
	for _, x := range e.Cautions {
		v.Cautions = append(v.Cautions, pages.Caution{Level: pages.CautionLevel(x.Level), Text: x.Text})
		if x.Level == string(chairtime.LevelRefuse) {
			v.Bookable = false
		}
	}
	for _, p := range e.Plans {
		if p.Proposal != "" {
			v.Plans = append(v.Plans, pages.PlanView{Hands: p.Hands, Batches: p.Batches, Text: planWords(p),
				Chosen: p.Hands == w.hair.Hands && p.Batches == max(1, w.hair.Batches)})
		}
	}
	return v
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
		return rename(err, "first_date", pages.FieldDateFrom)
	}
	b.page.Step = pages.StepOpenings
	for _, o := range a.Openings {
		b.page.Openings = append(b.page.Openings, pages.OpeningView{
			ID: strconv.FormatInt(o.Start.Unix(), 10) + "-" + o.LeadID, Key: store.NewID(), Start: o.Start, End: o.End,
			DryUntil: o.KeepDryUntil, With: o.LeadName, Chair: o.ChairName})
	}
	switch {
	case len(a.Missing) > 0:
		b.page.NoOpenings = "This cannot be booked here: " + strings.Join(a.Missing, "; ") + "."
	case len(a.Openings) == 0:
		b.page.NoOpenings = "Nothing is free in the four weeks from that day. Try a later day, or any stylist."
	}
	return nil
}

func rename(err error, from, to string) error {
	if f, ok := errors.AsType[scheduling.Faults](err); ok {
		for _, e := range f {
			if e.Field == from {
				e.Field = to
			}
		}
	}
	return err
}

// book books the chosen opening, for a client who is known or added with it.
func (b *booking) book(ctx context.Context, opening string, req ServiceRequest) error {
	at, lead, _ := strings.Cut(opening, "-")
	unix, err := strconv.ParseInt(at, 10, 64)
	if err != nil {
		return &scheduling.InvalidError{Problem: "the chosen time cannot be read", Want: "one of the times shown"}
	}
	req.LeadID = lead
	key := b.form.Get(pages.KeyField(opening))
	if key == "" {
		return &scheduling.InvalidError{Problem: "the form lacks the key of the chosen time", Want: "one of the times shown"}
	}
	call := store.Call{Principal: "page", Method: http.MethodPost, Route: "/book", Key: key, Fingerprint: fingerprint(opening)}
	old, again, err := b.t.Begin(ctx, call)
	if err != nil {
		return err
	}
	var v store.Visit
	if again {
		v, err = b.t.VisitByID(ctx, old.Location)
	} else {
		v, err = b.bookNow(ctx, time.Unix(unix, 0).In(b.n.loc), req)
	}
	if err != nil {
		return err
	}
	if !again {
		if err := b.t.End(ctx, call, store.Answer{Status: http.StatusCreated, Location: v.ID, Body: []byte("null")}); err != nil {
			return err
		}
	}
	return b.booked(ctx, v)
}

func (b *booking) bookNow(ctx context.Context, start time.Time, req ServiceRequest) (store.Visit, error) {
	client, err := b.client(ctx)
	if err != nil {
		return store.Visit{}, err
	}
	return b.s.book(ctx, b.t, b.n, VisitRequest{ClientID: client, Start: start, Services: []ServiceRequest{req}, ApprovedBy: b.form.Get(fieldApproved)})
}

// fieldApproved names the licensed person who said yes.
const fieldApproved = "approved_by"

// client is the chosen client, or the one whose name was typed.
func (b *booking) client(ctx context.Context) (string, error) {
	v := b.page.Fields
	if v.Client != "" {
		return v.Client, nil
	}
	row, err := ClientBody{GivenName: v.FirstName, FamilyName: v.Initial, Phone: v.Phone, Mail: v.Mail, ContactBy: v.Preferred}.row()
	if err != nil {
		for api, field := range map[string]string{"given_name": pages.FieldFirstName, "family_name": pages.FieldInitial, "contact_by": pages.FieldPreferred} {
			err = rename(err, api, field)
		}
		return "", err
	}
	c, err := b.t.AddClient(ctx, row)
	return c.ID, err
}

// booked shows what was booked and which messages are due.
func (b *booking) booked(ctx context.Context, v store.Visit) error {
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
	view := &pages.BookedView{Client: strings.TrimSpace(client.GivenName + " " + client.FamilyName), Service: serviceNames(v),
		Start: body.Start, End: body.End, DryUntil: body.KeepDryUntil, With: names[v.Services[0].Lead], Chair: names[v.Chair],
		Price: price(v.PriceCents, b.n.row.Currency), VisitHref: "/visits/" + v.ID}
	for _, r := range reminders {
		view.Messages = append(view.Messages, pages.MessageDue{At: r.Due.In(b.n.loc), How: client.ContactBy, What: strings.ReplaceAll(r.Kind, "_", " ")})
	}
	b.page.Step, b.page.Booked = pages.StepBooked, view
	return nil
}

// fail turns faults and clashes into words on the page; anything else is
// returned.
func (b *booking) fail(ctx context.Context, err error) (int, error) {
	p := problem(ctx, err)
	if p.Status >= http.StatusInternalServerError {
		return p.Status, p
	}
	b.page.Booked = nil
	if len(p.Errors) == 0 {
		b.page.Errors = append(b.page.Errors, pages.FieldError{Text: p.Detail})
	}
	for _, e := range p.Errors {
		field := e.Pointer[strings.LastIndexByte(e.Pointer, '/')+1:]
		b.page.Errors = append(b.page.Errors, pages.FieldError{Field: field, Text: e.Detail + "; expected " + e.Expected})
	}
	return p.Status, nil
}
