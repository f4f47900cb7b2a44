package api

import (
	"cmp"
	"context"
	"errors"
	"math"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/store"
)

// booking is one request of the booking page on its way.
type booking struct {
	s    *Server
	t    *store.Tx
	n    salonDay
	page pages.BookPage
	rows []store.ServiceRow
	form url.Values
	// What was worked out and what it was asked for, nil before that.
	c     *composed
	req   []ServiceRequest
	told  toldRange
	phone *phoneAnswer // of hair that nobody has seen, nil where it was measured
	done  string       // id of the visit that was booked
	after string       // id of what was pencilled behind it
	quote string       // id of the quote that was made
	// The visit that the booked one is to belong to, nil for none, and how where that is
	// settled already.
	first *store.Visit
	how   string
}

// bookPage shows the form and carries out its buttons: estimate, openings,
// another plan, book, pencil and what follows from that. Each answer holds the whole page, with everything that
// was typed. What was booked is shown at an address of its own, so that it can
// be loaded again.
func (s *Server) bookPage(c echo.Context) error {
	ctx := c.Request().Context()
	form, err := c.FormParams()
	if err != nil {
		return message(c, http.StatusBadRequest, "The form could not be read", "Go back and try once more.")
	}
	var b *booking
	var status int
	form = keepable(form)
	err = secondPress(ctx, func() (err error) {
		b = &booking{s: s, form: form}
		status, err = b.answer(ctx, c.Request().Method == http.MethodPost)
		return err
	})
	if err != nil {
		return sorry(c, err)
	}
	if b.quote != "" {
		return c.Redirect(http.StatusSeeOther, "/quotes/"+url.PathEscape(b.quote))
	}
	if how := b.page.Fields.Together; b.done != "" && how != "" { // somebody comes with her
		return c.Redirect(http.StatusSeeOther, "/book?"+url.Values{pages.FieldWith: {b.done}, pages.FieldHow: {how}}.Encode())
	}
	if b.done != "" {
		q := url.Values{bookedVisit: {b.done}}
		if b.after != "" {
			q.Set(pencilledBehind, b.after)
		}
		return c.Redirect(http.StatusSeeOther, "/book?"+q.Encode())
	}
	b.page.Who = Who(c, b.n.loc)
	if b.page.Booked != nil {
		b.page.Undo = s.Undo(ctx, "/book")
	}
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	c.Response().WriteHeader(status)
	return pages.RenderBook(c.Response(), b.page)
}

// bookedVisit is the parameter that shows what was booked, pencilledVisit the one
// that shows what is pencilled, and pencilledBehind what is pencilled behind what
// was booked.
const (
	bookedVisit     = "booked"
	pencilledVisit  = "pencilled"
	pencilledBehind = "behind"
)

// keepable replaces what no database can hold as text.
func keepable(form url.Values) url.Values {
	out := url.Values{}
	for name, values := range form {
		for _, v := range values {
			out.Add(name, strings.ReplaceAll(strings.ToValidUTF8(v, "\uFFFD"), "\x00", "\uFFFD"))
		}
	}
	return out
}

// answer fills the page, in one transaction.
func (b *booking) answer(ctx context.Context, pressed bool) (int, error) {
	status := http.StatusOK
	err := b.s.inTx(ctx, func(t *store.Tx) error {
		*b = booking{s: b.s, form: b.form, t: t} // the transaction may run twice
		if err := b.load(ctx); err != nil {
			return err
		}
		if !pressed {
			b.page.Fields = b.usual()
			b.startOnDay()
			b.startWithService()
			b.page.Fields.How = b.form.Get(pages.FieldHow)
			if err := b.startWithClient(ctx); err != nil {
				return err
			}
			if err := b.startWithQuote(ctx); err != nil {
				return err
			}
			if err := b.showClients(ctx, ""); err != nil {
				return err
			}
			if id := b.form.Get(pencilledVisit); id != "" {
				return b.showPencilled(ctx, id, true)
			}
			return b.showBooked(ctx)
		}
		b.page.Fields = pages.ReadBookFields(b.form)
		err := t.Savepoint(ctx, func(t *store.Tx) error { b.t = t; return b.act(ctx) })
		b.t = t
		if err != nil {
			if status, err = b.fail(ctx, err); err != nil {
				return err
			}
			if err := b.offerAgain(ctx); err != nil {
				return err
			}
		}
		return b.complete(ctx)
	})
	return status, err
}

// complete adds to the page what follows from the form as it is: the clients whom
// it may be about, and the drawing of the hair.
func (b *booking) complete(ctx context.Context) error {
	if b.done != "" || b.quote != "" || b.page.Booked != nil {
		return nil
	}
	b.page.Hair = b.drawing()
	if b.page.Matches != nil || b.page.MatchWords != "" {
		return nil
	}
	return b.showClients(ctx, "")
}

// offerAgain shows the times that are free now beside what hinders the one
// that was pressed.
func (b *booking) offerAgain(ctx context.Context) error {
	do, _ := pages.ParseAction(b.form.Get(pages.FieldDo))
	if ofHeld(do.Kind) {
		return b.stillPencilled(ctx)
	}
	if do.Kind != pages.ActBook && do.Kind != pages.ActPencil && do.Kind != pages.ActConsult || b.c == nil || !b.page.Estimate.Bookable {
		return nil
	}
	if err := b.find(ctx); err != nil {
		_, err = b.fail(ctx, err)
		return err
	}
	return nil
}

// load reads what the form offers to choose from.
func (b *booking) load(ctx context.Context) error {
	var err error
	if b.n, err = loadSalon(ctx, b.t); err != nil {
		return err
	}
	b.page.Inches, b.page.PhoneQuestions = b.n.time.Units.Inches, true
	b.page.Ways, b.page.AsOf = Ways(ctx, "/book"), b.s.now().In(b.n.loc).Format("15:04")
	b.page.Salon, b.page.BoardHref, b.page.Location, b.page.HoldMinutes = b.n.row.Name, "/", b.n.loc, b.n.rules.HoldMinutes
	if b.rows, err = b.t.Services(ctx); err != nil {
		return err
	}
	for _, r := range b.rows {
		b.page.Services = append(b.page.Services, pages.ServiceOption{ID: r.ID, Name: r.Name, NeedsHair: needsHair(r.Service)})
	}
	if err := b.keepQuote(ctx); err != nil {
		return err
	}
	if err := b.keepBeside(ctx); err != nil {
		return err
	}
	staff, err := b.t.StaffList(ctx)
	for _, p := range staff {
		if p.MayLead && p.Active {
			b.page.Stylists = append(b.page.Stylists, pages.Option{ID: p.ID, Name: p.Name})
		}
	}
	return err
}

// usual fills an empty form with how most visits are done. What depends on the
// hair stays open: an answer that nobody gave would look like one.
func (b *booking) usual() pages.BookFields {
	return pages.BookFields{Sections: "4", Plate: b.inUnit(usualPlateCM),
		Hands: "1", NewClient: true, DateFrom: scheduling.CivilDate(b.s.now(), b.n.loc).String()}
}

// startOnDay opens the form for times from the day on that the address names; a day
// that is over or cannot be read leaves it at today.
func (b *booking) startOnDay() {
	var f scheduling.Faults
	text := b.form.Get(pages.FieldDateFrom)
	if d := day(&f, pages.FieldDateFrom, text); len(f) == 0 && d.After(scheduling.CivilDate(b.s.now(), b.n.loc)) {
		b.page.Fields.DateFrom = d.String()
	}
}

// startWithService opens the form for the service that the address names; one that
// is not offered leaves the choice open.
func (b *booking) startWithService() {
	id := b.form.Get(pages.FieldService)
	if slices.ContainsFunc(b.rows, func(r store.ServiceRow) bool { return r.ID == id && r.Active }) {
		b.page.Fields.Service = id
	}
}

// usualPlateCM is the width of the plates of most irons (common practice).
const usualPlateCM = 3

// act carries out the button that was pressed.
func (b *booking) act(ctx context.Context) error {
	do, ok := pages.ParseAction(b.form.Get(pages.FieldDo))
	if !ok {
		return &scheduling.InvalidError{Problem: "no button of this form was pressed", Want: "one of its buttons"}
	}
	v := &b.page.Fields
	if do.Kind == pages.ActNext {
		do.Kind = b.next()
	}
	switch do.Kind {
	case pages.ActFirm, pages.ActLonger, pages.ActGiveUp:
		return b.decide(ctx, do.Kind)
	case pages.ActFind:
		return b.lookForClient(ctx)
	case pages.ActAdd:
		if len(v.Others)+1 < pages.MostServices {
			v.Others = append(v.Others, "")
		}
		return nil
	case pages.ActPlan:
		v.Hands, v.Batches = strconv.Itoa(do.Hands), strconv.Itoa(do.Batches)
	case pages.ActMore:
		v.Many = strconv.Itoa(2 * b.many())
	case pages.ActLater:
		v.DateFrom = do.Date
	case pages.ActOnly:
		v.Stylist = do.Lead
	default: // is carried out below
	}
	if done, err := b.knownHair(ctx, do.Kind); done || err != nil {
		return err
	}
	if err := b.workOut(ctx, do.Kind); err != nil {
		return err
	}
	if do.Kind == pages.ActQuote {
		return b.makeQuote(ctx)
	}
	if do.Kind == pages.ActEstimate || do.Kind == pages.ActPlan || !b.page.Estimate.Bookable {
		return nil
	}
	switch do.Kind {
	case pages.ActBook:
		return b.book(ctx, do.Opening)
	case pages.ActPencil:
		return b.pencil(ctx, do.Opening)
	case pages.ActConsult:
		return b.bookConsultation(ctx, do.Opening)
	default:
		return b.find(ctx)
	}
}

// next is what Enter does: the next step that the form is fit for.
func (b *booking) next() pages.ActionKind {
	v := b.page.Fields
	switch {
	case b.form.Get(pages.FieldHeld) != "":
		return pages.ActFirm
	case v.Client == "" && v.FirstName == "" && v.Who != "" && v.Who != v.Sought:
		return pages.ActFind
	}
	return pages.ActOpenings
}

// workOut works out what the form asks for.
func (b *booking) workOut(ctx context.Context, kind pages.ActionKind) error {
	req, err := b.request(ctx, kind)
	if err != nil {
		return err
	}
	if b.n, err = b.n.paced(ctx, b.t, req[0].LeadID, b.service(b.hairService(req)).Service); err != nil {
		return err
	}
	c, err := compose(ctx, b.t, b.n, req)
	if err != nil {
		return err
	}
	b.c, b.req = c, req
	b.page.Step = pages.StepEstimate
	if b.page.Estimate, err = b.estimateView(ctx); err == nil {
		b.offerQuote(ctx)
	}
	return err
}

// hairService is the first service whose time depends on the hair, or else the
// first.
func (b *booking) hairService(list []ServiceRequest) string {
	for _, r := range list {
		if r.Hair != nil {
			return r.ServiceID
		}
	}
	return list[0].ServiceID
}

// request reads the services and the hair from the form, and notes a day to
// search from that is over.
func (b *booking) request(ctx context.Context, kind pages.ActionKind) ([]ServiceRequest, error) {
	var f scheduling.Faults
	v := b.page.Fields
	var list []ServiceRequest
	hair, phone := false, true
	for i, id := range append([]string{v.Service}, v.Others...) {
		if id == "" && i > 0 {
			continue
		}
		row := b.service(id)
		if row == nil {
			f.Add(pages.ServiceField(i), "is not chosen", "one of the services")
			continue
		}
		list = append(list, ServiceRequest{ServiceID: id, LeadID: v.Stylist})
		hair = hair || needsHair(row.Service)
		phone = phone && !row.Retouch
	}
	if len(f) > 0 {
		return nil, f
	}
	if v.DateFrom != "" && kind != pages.ActBook && kind != pages.ActPencil && kind != pages.ActConsult {
		if d := day(&f, pages.FieldDateFrom, v.DateFrom); len(f) == 0 && d.Before(scheduling.CivilDate(b.s.now(), b.n.loc)) {
			f.Add(pages.FieldDateFrom, "is past", "today or later")
		}
	}
	if !hair {
		return list, f.Err()
	}
	var h *HeadBody
	var told *PhoneBody
	var err error
	if phone && !v.HairAsked() && v.PhoneAsked() {
		told = &PhoneBody{Reach: v.Reach, Ponytail: v.Ponytail, History: v.History}
		h, err = b.phoneHair(ctx, list, *told)
	} else {
		h, err = b.measuredHair(!v.HairAsked() && phone)
	}
	if err := f.Join("", err); err != nil {
		return nil, err
	}
	for i := range list {
		if needsHair(b.service(list[i].ServiceID).Service) {
			list[i].Hair, list[i].Phone = h, told
		}
	}
	return list, f.Err()
}

// measuredHair reads the hair from its fields. Where nothing stands in any of them
// and the three questions would do, that is what is asked for.
func (b *booking) measuredHair(questions bool) (*HeadBody, error) {
	var f scheduling.Faults
	v := b.page.Fields
	if questions {
		f.Add(pages.FieldReach, "is not answered", "choose where it reaches, or fill in the measured hair")
		return nil, f
	}
	number := func(field, text string, whole bool) float64 {
		if text == "" && (field == pages.FieldRegrowth || field == pages.FieldRegrowthIn || field == pages.FieldBatches) {
			return 0
		}
		n, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(text), ",", ".", 1), 64)
		if err != nil || math.IsInf(n, 0) || math.IsNaN(n) || (whole && n != math.Trunc(n)) {
			f.Addf(field, "a number", "is %q", text)
			return 0
		}
		return n
	}
	hair := &HeadBody{Density: v.Density, Strand: v.Strand, Porosity: v.Porosity, Curl: v.Curl, Damaged: v.Damaged, NewClient: v.NewClient,
		Sections: int(number(pages.FieldSections, v.Sections, true)),
		Hands:    int(number(pages.FieldHands, v.Hands, true)), Batches: int(number(pages.FieldBatches, v.Batches, true))}
	b.lengths(hair, number)
	if v.Batches == "" { // nobody has chosen how it is done
		hair.Plan = NormalPlan
	}
	if hair.Curl == "" {
		f.Add(pages.FieldCurl, "is not chosen", "one of the list")
	}
	if more, ok := errors.AsType[scheduling.Faults](b.n.time.Settle(hair.Head()).Validate()); ok {
		for _, e := range more {
			if !slices.ContainsFunc(f, func(k *scheduling.InvalidError) bool { return k.Field == e.Field }) {
				f = append(f, e)
			}
		}
	}
	return hair, f.Err()
}

func (b *booking) service(id string) *store.ServiceRow {
	for i := range b.rows {
		if b.rows[i].ID == id {
			return &b.rows[i]
		}
	}
	return nil
}

// fields are the names on the form of what has another name inside.
var fields = map[string]string{
	"given_name": pages.FieldFirstName, "family_name": pages.FieldInitial, "contact_by": pages.FieldPreferred,
	"on": pages.FieldDateFrom, "free_length_cm": pages.FieldLength, "free_length_in": pages.FieldLengthIn, "shrinkage": pages.FieldFree,
	"title": pages.FieldFirstName, "note": pages.FieldNote, "client_id": pages.FieldClient, "service_id": pages.FieldService, "lead_id": pages.FieldStylist, "first_date": pages.FieldDateFrom,
	"quote_id": pages.FieldQuote,
}

// rightWords say what would be right in a field of the form, whatever the rest
// of the service calls its values.
var rightWords = map[string]string{
	pages.FieldService:    "choose one of the services",
	pages.FieldLength:     "a number from 8 to 120",
	pages.FieldLengthIn:   "a number from 3.15 to 47.24",
	pages.FieldPlateIn:    "a number from 0.99 to 1.96",
	pages.FieldDensity:    "choose little, average or a lot",
	pages.FieldStrand:     "choose fine, medium or coarse",
	pages.FieldPorosity:   "choose resistant, normal or porous",
	pages.FieldCurl:       "choose straight, wavy, curly or coily",
	pages.FieldSections:   "a whole number from 2 to 8",
	pages.FieldPlate:      "a number from 2.5 to 5",
	pages.FieldHands:      "choose who works",
	pages.FieldBatches:    "a whole number from 1 to 6, or nothing for the normal plan",
	pages.FieldPhone:      "with its country code, such as +44 20 7946 0018",
	pages.FieldApprovedBy: "choose the licensed person who said yes",
	pages.FieldNote:       "at most 500 characters",
	pages.FieldPonytail:   "choose one of the list",
	pages.FieldQuote:      "holds for the same client, services and hair, until its day: take the tick away to go on at today’s price",
}

// fail turns faults and clashes into words on the page; anything else is
// returned, and so is ErrRunning.
func (b *booking) fail(ctx context.Context, err error) (int, error) {
	p := problem(ctx, err)
	if p.Status >= http.StatusInternalServerError || is(err, store.ErrRunning) {
		return p.Status, err
	}
	if len(p.Errors) == 0 {
		b.page.Errors = append(b.page.Errors, pages.FieldError{Text: cmp.Or(p.Detail, p.Title)})
	}
	for _, e := range p.Errors {
		field := e.Pointer[strings.LastIndexByte(e.Pointer, '/')+1:]
		field = cmp.Or(fields[field], field)
		text := e.Detail
		if e.Expected != "" {
			text += ": " + e.Expected
		}
		if strings.HasPrefix(strings.TrimPrefix(e.Pointer, "/"), "free_length") { // of which the words for a length say too little
			b.page.Errors = append(b.page.Errors, pages.FieldError{Field: field, Text: text})
			continue
		}
		b.page.Errors = append(b.page.Errors, pages.FieldError{Field: field, Text: cmp.Or(rightWords[field], text)})
	}
	return p.Status, nil
}
