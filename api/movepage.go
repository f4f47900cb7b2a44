package api

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/needs"
	"chairblock/store"
)

// movingPage is one request of the page that moves a visit.
type movingPage struct {
	s    *Server
	form url.Values
	id   string
	page pages.MovePage

	t       *store.Tx
	n       salonDay
	v       store.Visit
	version int64
	now     *visitFacts
	twice   bool // the time that was typed comes twice on its day
}

// errDryRun ends a transaction that only had to show what would be.
var errDryRun = errors.New("api: a dry run")

// movePage shows times for a visit, what a chosen one changes, and moves the visit
// there. What it changes is found by carrying the move out in a transaction that
// is then given up: nothing is said that would not happen.
func (s *Server) movePage(c echo.Context) error {
	ctx := c.Request().Context()
	form, err := c.FormParams()
	if err != nil {
		return message(c, http.StatusBadRequest, "The form could not be read", "Go back and try once more.")
	}
	m := &movingPage{s: s, form: keepable(form), id: c.Param("id")}
	status, moved, err := m.answer(ctx, c.Request().Method == http.MethodPost)
	if err != nil {
		return sorry(c, err)
	}
	if moved {
		to := "/visits/" + url.PathEscape(m.id) + "?done=moved"
		if m.twice {
			to += "&twice=1"
		}
		return c.Redirect(http.StatusSeeOther, to)
	}
	m.page.Who = Who(c, m.n.loc)
	c.Response().Header().Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	c.Response().WriteHeader(status)
	return pages.RenderMove(c.Response(), m.page)
}

func (m *movingPage) answer(ctx context.Context, pressed bool) (status int, moved bool, err error) {
	if err := m.s.read(ctx, func(t *store.Tx) error { return m.load(ctx, t) }); err != nil {
		return 0, false, err
	}
	do := pages.Action{Kind: pages.ActOpenings}
	if pressed {
		var ok bool
		if do, ok = pages.ParseAction(m.form.Get(pages.FieldDo)); !ok {
			do.Kind = pages.ActOpenings
		}
	}
	switch do.Kind {
	case pages.ActMore:
		m.page.Many = strconv.Itoa(2 * m.many())
	case pages.ActLater:
		m.page.DateFrom = do.Date
	case pages.ActOnly:
		m.page.Stylist = cmp.Or(do.Lead, pages.AnyStylist)
	case pages.ActMove, pages.ActKeep:
		if err = m.move(ctx, do); err == nil {
			return 0, true, nil
		}
	default: // shows a time below, or the list again
	}
	if err == nil && do.Kind == pages.ActShow {
		err = m.preview(ctx, do.Opening)
	}
	if status = http.StatusOK; err != nil {
		if status, err = m.fail(ctx, err); err != nil {
			return status, false, err
		}
		if chosen := do.Kind == pages.ActMove || do.Kind == pages.ActShow; chosen && m.page.AsksYes { // with whoever says yes it may be moved all the same
			m.choose(do.Opening)
		} else if status == http.StatusConflict && do.Kind == pages.ActMove { // what has changed, where it still fits
			_ = m.preview(ctx, do.Opening) // what stands in its way has been said; the times below are those that fit now
		}
	}
	if m.page.Kept {
		return status, false, nil
	}
	if err := m.s.read(ctx, func(t *store.Tx) error { m.t = t; return m.find(ctx) }); err != nil {
		if _, err := m.fail(ctx, err); err != nil {
			return 0, false, err
		}
		status = max(status, http.StatusUnprocessableEntity)
	}
	return status, false, nil
}

// load reads the visit and what the page offers to choose from.
func (m *movingPage) load(ctx context.Context, t *store.Tx) error {
	var err error
	m.t = t
	if m.n, err = loadSalon(ctx, t); err != nil {
		return err
	}
	if m.v, err = t.VisitByID(ctx, m.id); err != nil {
		return err
	}
	if m.now, err = m.s.aboutVisit(withoutHealth(ctx), t, m.n, m.v); err != nil {
		return err
	}
	staff, err := t.StaffList(ctx)
	if err != nil {
		return err
	}
	p := &m.page
	for _, x := range staff {
		if x.MayLead && x.Active {
			p.Stylists = append(p.Stylists, pages.Option{ID: x.ID, Name: x.Name})
		}
	}
	p.Salon, p.AsOf, p.Ways, p.Location = m.n.row.Name, m.s.now().In(m.n.loc).Format("15:04"), Ways(ctx, ""), m.n.loc
	p.Visit = strings.TrimSuffix(shortName(m.now.client)+", "+serviceNames(m.v), ", ")
	p.VisitHref, p.Action = "/visits/"+m.v.ID, "/visits/"+m.v.ID+"/move"
	p.Start, p.End, p.Chair, p.Kept, p.Together = m.v.Start.In(m.n.loc), m.v.End.In(m.n.loc), m.now.names[m.v.Chair], isKept(m.v), m.v.Group != nil
	if !p.Kept {
		p.With = m.now.names[m.v.Lead()]
	}
	if err := mayMove(m.n, m.v, p.Start.Add(time.Minute), m.s.now()); err != nil && !p.Kept {
		if _, clash := errors.AsType[*scheduling.ConflictError](err); !clash && m.v.State != store.Booked && m.v.State != store.Held {
			return err
		}
	}
	m.version = m.v.Version
	if x, err := strconv.ParseInt(m.form.Get(pages.FieldVersion), 10, 64); err == nil && x > 0 {
		m.version = x
	}
	p.Version = m.version
	p.Stylist, p.Many, p.ApprovedBy = cmp.Or(m.form.Get(pages.FieldStylist), m.hers()), m.form.Get(pages.FieldMany), m.form.Get(pages.FieldApprovedBy)
	p.Spread = m.hers() == ""
	p.BreakLink = m.form.Get(pages.FieldBreakLink) == "true"
	p.DateFrom = cmp.Or(m.form.Get(pages.FieldDateFrom), scheduling.CivilDate(m.s.now(), m.n.loc).String())
	p.StartDay = cmp.Or(m.form.Get(pages.FieldStartDay), p.Start.Format(time.DateOnly))
	p.StartAt = cmp.Or(m.form.Get(pages.FieldStartTime), p.Start.Format("15:04"))
	return nil
}

func (m *movingPage) many() int {
	return (&booking{page: pages.BookPage{Fields: pages.BookFields{Many: m.page.Many}}}).many()
}

// hers is the one stylist in charge of all of the visit, "" where there are several
// or she cannot be chosen any more.
func (m *movingPage) hers() string {
	for _, x := range m.v.Services {
		if x.Lead != m.v.Lead() {
			return ""
		}
	}
	if slices.ContainsFunc(m.page.Stylists, func(o pages.Option) bool { return o.ID == m.v.Lead() }) {
		return m.v.Lead()
	}
	return ""
}

// lead is who is to be in charge, as a request to move says it.
func (m *movingPage) lead() newLead {
	switch m.page.Stylist {
	case "", m.hers():
		return newLead{}
	case pages.AnyStylist:
		return newLead{Any: true}
	}
	return newLead{ID: m.page.Stylist}
}

// find lists times, the best first, as the booking page does.
func (m *movingPage) find(ctx context.Context) error {
	lead := m.lead()
	ask := OpeningsRequest{VisitID: m.v.ID, LeadID: lead.ID, AnyLead: lead.Any, FirstDate: m.page.DateFrom, Order: orderBest, Limit: min(200, 9*m.many()), Grid: timesEvery}
	if m.many() > timesAtFirst {
		ask.Grid = 0
	}
	c, err := m.s.wantedAgain(ctx, m.t, &ask)
	if err != nil {
		return err
	}
	a, err := m.s.openings(ctx, m.t, m.n, c, ask, m.v.ID)
	if err != nil {
		return err
	}
	a.Openings = slices.DeleteFunc(a.Openings, func(o OpeningBody) bool { return o.Start.Equal(m.v.Start) && o.LeadID == m.v.Lead() })
	b := &booking{s: m.s, t: m.t, n: m.n}
	b.page.Fields.DateFrom, b.page.Fields.Many = m.page.DateFrom, m.page.Many
	shown := varied(a.Openings, m.many(), m.n.loc)
	m.page.MoreOpenings = len(shown) == m.many() && m.many() < mostTimes && len(shown) < len(a.Openings)
	m.page.LaterFrom = b.laterThan(shown)
	if len(a.Missing) > 0 {
		m.page.NoOpenings = "This cannot be moved: " + strings.Join(a.Missing, "; ") + "."
	}
	return b.list(ctx, c, shown, &m.page.Openings)
}

// to reads a chosen opening.
func (m *movingPage) to(opening string) (change, error) {
	var req [1]ServiceRequest
	start, _, err := (&booking{n: m.n, form: url.Values{}}).chosen(opening, req[:])
	c := change{id: m.v.ID, version: m.version, start: start, lead: m.lead(), approvedBy: m.page.ApprovedBy}
	switch id := req[0].LeadID; {
	case id != "" && id != m.v.Lead():
		c.lead = newLead{ID: id}
	case id == m.hers(): // with anybody, and it is she
		c.lead = newLead{}
	}
	if m.page.BreakLink {
		c.link = breakLink
	}
	return c, err
}

// choose shows a chosen opening whatever stands in its way.
func (m *movingPage) choose(opening string) {
	c, err := m.to(opening)
	if err != nil || m.page.Preview != nil {
		return
	}
	length := m.v.End.Sub(m.v.Start)
	m.page.Preview = &pages.MovePreview{Opening: pages.OpeningView{ID: opening, Start: c.start, End: c.start.Add(length), With: m.now.names[cmp.Or(c.lead.ID, m.v.Lead())]},
		NoNews: "it has not been moved yet"}
}

// preview carries the move out and gives it up again, to say what it changes.
func (m *movingPage) preview(ctx context.Context, opening string) error {
	c, err := m.to(opening)
	if err != nil {
		return err
	}
	err = m.s.inTx(ctx, func(t *store.Tx) error {
		v, err := m.s.move(ctx, t, m.n, c)
		if err != nil {
			return err
		}
		if err := m.compare(ctx, t, opening, v); err != nil {
			return err
		}
		return errDryRun
	})
	if is(err, errDryRun) {
		return nil
	}
	return err
}

// compare says how v, which has moved, differs from what it was.
func (m *movingPage) compare(ctx context.Context, t *store.Tx, opening string, v store.Visit) error {
	then, err := m.s.aboutVisit(withoutHealth(ctx), t, m.n, v)
	if err != nil {
		return err
	}
	body, err := m.s.visitBody(ctx, t, m.n, v)
	if err != nil {
		return err
	}
	was := writeVisit(m.v, m.n, nil)
	p := &pages.MovePreview{Chemical: then.chemical, Cautions: cautionViews(body.Cautions), Messages: then.messages, NoNews: then.noMessages,
		Opening: pages.OpeningView{ID: opening, Start: body.Start, End: body.End, DryUntil: body.KeepDryUntil, UntiedUntil: body.UntiedUntil,
			With: then.names[v.Lead()], Chair: then.names[v.Chair]}}
	row := func(what, a, b string) {
		if a != b {
			p.Rows = append(p.Rows, pages.MoveRow{What: what, Was: cmp.Or(a, "–"), Will: cmp.Or(b, "–")})
		}
	}
	when := func(x *time.Time) string {
		if x == nil {
			return ""
		}
		return m.n.atWords(*x)
	}
	row("Begins", m.n.atWords(m.v.Start), m.n.atWords(v.Start))
	row("Ends", m.n.atWords(m.v.End), m.n.atWords(v.End))
	row("Stylist in charge", m.now.names[m.v.Lead()], then.names[v.Lead()])
	row("Chair", m.now.names[m.v.Chair], then.names[v.Chair])
	row("Dry until", when(was.KeepDryUntil), when(body.KeepDryUntil))
	row("Untied until", when(was.UntiedUntil), when(body.UntiedUntil))
	if err := m.compareNeeds(ctx, t, v, row); err != nil {
		return err
	}
	if words := m.priceStays(v, body.PriceToday); words != "" {
		p.Same = append(p.Same, words)
	}
	if m.v.SaidYesAt != nil && v.SaidYesAt == nil {
		p.Same = append(p.Same, "She had said yes to the old time and is asked again.")
	}
	m.page.Preview = p
	return nil
}

// priceStays says what a move does to the price. today is what the same would cost
// when it was booked now, nil for the same; both are in the salon's smallest unit
// of money.
func (m *movingPage) priceStays(v store.Visit, today *int64) string {
	var out string
	switch {
	case v.PriceCents > 0:
		out = "The price stays " + m.n.priceWords(v) + "."
	case today != nil:
		out = "It still costs nothing."
	}
	if today != nil {
		out += " Booked today it would be " + m.n.amount(*today) + "."
	}
	return out
}

// compareNeeds says of everything that is still needed by when it has to be there.
func (m *movingPage) compareNeeds(ctx context.Context, t *store.Tx, v store.Visit, row func(what, was, will string)) error {
	latest := func(v store.Visit) (map[string]string, []string, error) {
		of, err := needsOf(ctx, t, m.n, v)
		out := map[string]string{}
		var order []string
		for _, k := range needs.FirstOpen(of[v.ID]) {
			if !k.Hidden() {
				out[k.Words()] = "until " + m.n.atWords(k.Latest)
				order = append(order, k.Words())
			}
		}
		return out, order, err
	}
	before, first, err := latest(m.v)
	if err != nil {
		return err
	}
	after, second, err := latest(v)
	for _, what := range append(first, second...) {
		row("Still needed: "+what, before[what], after[what])
		delete(before, what)
		delete(after, what)
	}
	return err
}

// move carries it out, as a request of the interface does.
func (m *movingPage) move(ctx context.Context, do pages.Action) error {
	body := map[string]any{}
	if do.Kind == pages.ActKeep {
		var f scheduling.Faults
		d, at := day(&f, pages.FieldStartDay, m.page.StartDay), clockOf(&f, pages.FieldStartTime, m.page.StartAt)
		if err := f.Err(); err != nil {
			return err
		}
		if at == 24*60 {
			d, at = d.Add(1), 0
		}
		start, err := ReadLocal(m.n.loc, d.String(), clockText(at))
		if gap, ok := errors.AsType[*GapError](err); ok {
			return gap.invalid(pages.FieldStartTime)
		}
		if err != nil {
			return err
		}
		body["start"], m.twice = start.At, start.Twice
	} else {
		c, err := m.to(do.Opening)
		if err != nil {
			return err
		}
		body["start"] = c.start
		if c.lead.ID != "" {
			body["lead_id"] = c.lead.ID
		}
		if c.lead.Any {
			body["any_lead"] = true
		}
	}
	if m.page.ApprovedBy != "" {
		body["approved_by"] = m.page.ApprovedBy
	}
	if m.page.BreakLink {
		body["break_link"] = true
	}
	_, err := m.s.Ask(ctx, Question{Method: http.MethodPost, Path: Path("visits", m.v.ID, "move"), Body: body, IfMatch: etag(m.version)})
	if p, ok := errors.AsType[*Problem](err); ok && p.Status == http.StatusPreconditionFailed {
		// It stands where it was to go: the press was sent twice.
		if at, isTime := body["start"].(time.Time); isTime && at.Equal(m.v.Start) {
			return nil
		}
		m.version, m.page.Version = m.v.Version, m.v.Version
		return conflict("somebody else has changed the visit in the meantime: look at it once more")
	}
	return err
}

// fail puts into words what stands in the way; anything else is returned.
func (m *movingPage) fail(ctx context.Context, err error) (int, error) {
	p := problem(ctx, err)
	if p.Status >= http.StatusInternalServerError || p.Status == http.StatusNotFound {
		return p.Status, err
	}
	m.page.Cautions = cautionViews(p.Cautions)
	if len(p.Errors) == 0 {
		m.page.Errors = append(m.page.Errors, pages.FieldError{Text: cmp.Or(p.Detail, p.Title)})
	}
	for _, e := range p.Errors {
		field := e.Pointer[strings.LastIndexByte(e.Pointer, '/')+1:]
		field = cmp.Or(fields[field], field)
		if field == pages.FieldApprovedBy {
			m.page.AsksYes = true
		}
		text := e.Detail
		if e.Expected != "" {
			text += ": " + e.Expected
		}
		m.page.Errors = append(m.page.Errors, pages.FieldError{Field: field, Text: cmp.Or(rightWords[field], text)})
	}
	m.page.AsksYes = m.page.AsksYes || m.page.ApprovedBy != ""
	return p.Status, nil
}
