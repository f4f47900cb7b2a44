package api

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/rickb777/date"

	"chairblock/api/pages"
	"chairblock/scheduling"
	"chairblock/scheduling/openings"
	"chairblock/store"
)

// How late the check at the end of a watched stretch may come (common
// practice: two to three minutes after processing, five for the neutralizer;
// the maker's directions come first).
var mayRunOver = map[scheduling.StepKind]time.Duration{
	scheduling.Process:  3 * time.Minute,
	scheduling.Process1: 3 * time.Minute,
	scheduling.Process2: 3 * time.Minute,
	scheduling.Dwell:    5 * time.Minute,
}

func (s *Server) boardPage(c echo.Context) error {
	return s.showBoard(c, http.StatusOK, pages.WalkIn{})
}

// showBoard answers with the board of a day, today's with the form for walk-ins
// as far as it is filled in, or with the parts of it that change with the day.
func (s *Server) showBoard(c echo.Context, status int, walk pages.WalkIn) error {
	ctx := c.Request().Context()
	date := c.QueryParam("date")
	x, board, err := s.wholeBoard(ctx, date)
	if err != nil {
		return sorry(c, err)
	}
	board.Who = Who(c, x.n.loc)
	part := url.Values{"part": {"day"}}
	if date != "" {
		part.Set("date", date)
	}
	if date != "" && board.Undo.Words != "" {
		board.Undo.Back = "/?date=" + board.Date
	}
	board.Live = pages.Live{Events: "/events", Part: "/?" + part.Encode(), Zone: x.n.row.Zone}
	if board.Live.Tag, err = boardTag(board); err != nil {
		return sorry(c, err)
	}
	s.useDrawing(ctx, &board)
	h := c.Response().Header()
	h.Set(echo.HeaderContentType, echo.MIMETextHTMLCharsetUTF8)
	if c.QueryParam("part") != "" {
		return answerParts(c, board)
	}
	board.Undone = s.Undone(c)
	if date == "" && mayDo(ctx, "add-walk-in") == "" {
		if board.WalkIn, err = s.walkInForm(ctx, x, walk, c.QueryParam(walkedIn)); err != nil {
			return sorry(c, err)
		}
	}
	c.Response().WriteHeader(status)
	return pages.RenderBoard(c.Response(), board)
}

// answerParts answers a page that follows the day, with nothing when all that it
// shows still stands.
func answerParts(c echo.Context, board pages.Board) error {
	h := c.Response().Header()
	h.Set("ETag", board.Live.Tag)
	h.Set("As-Of", board.AsOf.Format(time.RFC3339))
	if c.Request().Header.Get("If-None-Match") == board.Live.Tag {
		return c.NoContent(http.StatusNotModified)
	}
	c.Response().WriteHeader(http.StatusOK)
	return pages.RenderBoardParts(c.Response(), board)
}

// redrawAfter is how long the place of the present moment in lists may be old: a
// script moves the line in the drawing (judgement).
const redrawAfter = 5 * time.Minute

// boardTag changes with whatever the board shows but the present moment.
func boardTag(b pages.Board) (string, error) {
	b.AsOf = b.AsOf.Truncate(redrawAfter)
	b.Now, b.WalkIn, b.Live, b.Who = nil, nil, pages.Live{}, pages.Who{}
	b.Coming = slices.Clone(b.Coming)
	for i := range b.Coming {
		if f := b.Coming[i].Arrive; f != nil {
			b.Coming[i].Arrive = &pages.ArriveForm{Action: f.Action, Version: f.Version}
		}
	}
	raw, err := json.Marshal(b)
	if err != nil {
		return "", fmt.Errorf("api: board: %w", err)
	}
	sum := sha256.Sum256(raw)
	return `"` + hex.EncodeToString(sum[:12]) + `"`, nil
}

// wholeBoard is the board of a day of the caller's salon with everything that it
// shows for the caller. Who finds that somebody else reads the day waits for that first.
func (s *Server) wholeBoard(ctx context.Context, text string) (*dayView, pages.Board, error) {
	x, b, err := s.boardInTurn(ctx, text, nil)
	taken, ok := errors.AsType[*turnTakenError](err)
	if !ok {
		return x, b, err
	}
	done, err := s.views.turn(ctx, taken.key)
	if err != nil {
		return nil, b, err
	}
	defer done()
	return s.boardInTurn(ctx, text, done)
}

// boardInTurn is wholeBoard for who holds the turn to read the day, and gives it on by
// done. Where done is nil it is taken, or a turnTakenError returned.
func (s *Server) boardInTurn(ctx context.Context, text string, done func()) (x *dayView, b pages.Board, err error) {
	err = s.read(ctx, func(t *store.Tx) error {
		var until map[string]*StartUntilBody
		if x, until, err = s.viewIn(ctx, t, text, done != nil); err != nil {
			return err
		}
		if done != nil {
			done()
		}
		m, err := s.loadMore(ctx, t, x, until)
		if err != nil {
			return err
		}
		b = x.board()
		m.draw(x, &b)
		m.link(ctx, x, &b)
		return nil
	})
	return x, b, err
}

// day is the day of a salon that text names, today when it is empty.
func (s *Server) day(ctx context.Context, salon, text string) (*dayView, error) {
	var x *dayView
	err := s.store.Read(ctx, salon, func(t *store.Tx) (err error) {
		x, err = s.dayIn(ctx, t, text)
		return err
	})
	return x, err
}

// dayIn is the day that text names, today when it is empty.
func (s *Server) dayIn(ctx context.Context, t *store.Tx, text string) (*dayView, error) {
	n, err := loadSalon(ctx, t)
	if err != nil {
		return nil, err
	}
	d, err := s.dayNamed(n, text)
	if err != nil {
		return nil, err
	}
	return s.loadDay(ctx, t, n, d)
}

// dayNamed is the date that text is, today's when it is empty.
func (s *Server) dayNamed(n salonDay, text string) (date.Date, error) {
	if text == "" {
		return scheduling.CivilDate(s.now(), n.loc), nil
	}
	var f scheduling.Faults
	d := day(&f, "query.date", text)
	return d, f.Err()
}

// Board is a picture of a salon's day, such as "2026-06-11", as an SVG file of
// its own. Faults name a date that cannot be read.
func (s *Server) Board(ctx context.Context, salon, date string) ([]byte, error) {
	x, err := s.day(ctx, salon, date)
	if err != nil {
		return nil, err
	}
	return x.board().StandaloneSVG()
}

// board draws the day: who works when, and where hands are free.
func (x *dayView) board() pages.Board {
	b := pages.Board{Salon: x.n.row.Name, DateLabel: x.from.Format("Monday 2 January 2006"),
		ZoneLabel: "times of the salon, " + x.n.row.Zone, AsOf: x.asOf.In(x.n.loc), Conflicts: x.conflicts(),
		PrevHref: "/?date=" + x.date.Add(-1).String(), NextHref: "/?date=" + x.date.Add(1).String(), TodayHref: "/"}
	if today := scheduling.CivilDate(x.asOf, x.n.loc); x.date.After(today) { // today is booked by the way of every page
		b.BookHref = "/book?" + url.Values{pages.FieldDateFrom: {x.date.String()}}.Encode()
	}
	b.From, b.To = x.bounds()
	if now := x.asOf.In(x.n.loc); !now.Before(b.From) && now.Before(b.To) {
		b.Now = &now
	}
	var off []string
	x.drawn[0], x.drawn[1] = nil, nil
	for _, u := range x.shop.Units {
		line := pages.Line{Name: x.names[u.ID], Role: string(u.Kind), Open: x.timeSpans(u.Open), Breaks: x.timeSpans(u.Breaks)}
		if _, person := x.staff[u.ID]; !person {
			line.Open, line.Parts = x.timeSpans(x.shop.Premises), x.stationParts(u)
			b.Stations = append(b.Stations, line)
			x.drawn[1] = append(x.drawn[1], u.ID)
			continue
		}
		x.personLine(&line, u.ID)
		if len(u.Open) == 0 && len(line.Parts) == 0 && len(x.shop.Premises) > 0 {
			off = append(off, line.Name)
			continue
		}
		b.People = append(b.People, line)
		x.drawn[0] = append(x.drawn[0], u.ID)
	}
	x.bare = len(b.People)+len(off) == 0
	if len(off) > 0 {
		b.Notes = append(b.Notes, "Not in on this day: "+strings.Join(off, ", ")+".")
	}
	if len(x.shop.Premises) == 0 && len(x.visits) == 0 {
		b.Notes = append(b.Notes, "The salon is closed on this day.")
	}
	return b
}

// bounds is the drawing's stretch of time: the opening windows and every
// visit, in whole hours; nine to six on a day with neither.
func (x *dayView) bounds() (from, to time.Time) {
	wide := func(a, z time.Time) {
		if from.IsZero() || a.Before(from) {
			from = a
		}
		if to.IsZero() || z.After(to) {
			to = z
		}
	}
	for _, s := range x.shop.Premises {
		wide(x.h.Time(s.From), x.h.Time(s.To))
	}
	for _, v := range x.visits {
		wide(v.Start.In(x.n.loc), v.End.In(x.n.loc))
	}
	if from.IsZero() {
		wide(wall(x.n.loc, x.date, 9*60), wall(x.n.loc, x.date, 18*60))
	}
	from = from.Add(-time.Duration(from.Minute()) * time.Minute)
	if m := to.Minute(); m > 0 {
		to = to.Add(time.Duration(60-m) * time.Minute)
	}
	return from, to
}

func (x *dayView) timeSpans(list []openings.Span) []pages.TimeSpan {
	var out []pages.TimeSpan
	for _, s := range list {
		out = append(out, pages.TimeSpan{From: x.h.Time(s.From), To: x.h.Time(s.To)})
	}
	return out
}

func (x *dayView) personLine(line *pages.Line, id string) {
	for _, v := range x.visits {
		if v.State == store.Held || isKept(v) {
			line.Parts = append(line.Parts, x.outlines(v, id)...)
			continue
		}
		code := x.who(v)
		v := asSpent(v)
		for i := range v.Steps {
			part, ok := x.personPart(v, i, id)
			if !ok {
				continue
			}
			part.Code = code
			line.Parts = append(line.Parts, part)
		}
		for _, part := range x.staysOn(v, id) {
			part.Code = code
			line.Parts = append(line.Parts, part)
		}
		if from, to, ok := core(v); ok && v.Lead() == id {
			line.Core = append(line.Core, pages.CoreSpan{TimeSpan: x.local(from, to), Code: code})
		}
		if v.Lead() == id {
			line.Free = append(line.Free, x.freeSpans(v, code)...)
		}
	}
	line.Free = gaps(line.Free, line.Parts)
}

// staysOn are the waits between steps in which the person is kept for the client.
func (x *dayView) staysOn(v store.Visit, id string) []pages.Part {
	var out []pages.Part
	for i := range len(v.Steps) - 1 {
		from, to := v.Steps[i].End, v.Steps[i+1].Start
		if !from.Before(to) || !slices.ContainsFunc(x.blocks[id], func(k store.DayBlock) bool {
			return k.Visit == v.ID && !k.Start.After(from) && !k.End.Before(to)
		}) {
			continue
		}
		at := x.local(from, to)
		out = append(out, pages.Part{Kind: pages.Watched, From: at.From, To: at.To, Label: "waits with the client", Chair: x.names[v.Chair],
			Href: "/visits/" + v.ID, State: became(v), BackBy: &at.To})
	}
	return out
}

// outlines are the blocks of unit for what is pencilled, or kept for something
// that is no visit. The longest says until when, and of whom it is.
func (x *dayView) outlines(v store.Visit, unit string) []pages.Part {
	var out []pages.Part
	longest := 0
	for _, k := range x.blocks[unit] {
		if k.Visit != v.ID {
			continue
		}
		at := x.local(k.Start, k.End)
		p := pages.Part{Kind: pages.Pencilled, From: at.From, To: at.To, Code: x.who(v), Label: "pencilled", Href: "/visits/" + v.ID}
		if isKept(v) {
			p.Kind, p.Code, p.Label = pages.Kept, "", v.Title
		} else {
			p.Title = "until " + x.until(v) + ", " + serviceNames(v)
		}
		if out = append(out, p); at.To.Sub(at.From) > out[longest].To.Sub(out[longest].From) {
			longest = len(out) - 1
		}
	}
	if len(out) > 0 && !isKept(v) {
		out[longest].Label, out[longest].Title = "pencilled until "+x.until(v), serviceNames(v)
		if v.Client == "" && v.Title != "" {
			out[longest].Label += " for " + v.Title
		}
	}
	return out
}

// until says until when v is pencilled, with the day unless that is the one which
// is shown.
func (x *dayView) until(v store.Visit) string {
	at := v.HeldUntil.In(x.n.loc)
	switch on := scheduling.CivilDate(at, x.n.loc); {
	case on.Equal(x.date):
		return at.Format("15:04")
	case on.Sub(scheduling.CivilDate(x.asOf, x.n.loc)) < 7:
		return at.Format("Mon 15:04")
	}
	return at.Format("Mon 2 January 15:04")
}

// freeSpans says with whom the client is while the stylist in charge is free;
// nothing where assistants do all of it.
func (x *dayView) freeSpans(v store.Visit, code string) []pages.FreeSpan {
	if !slices.ContainsFunc(v.Steps, func(st store.VisitStep) bool { return st.UnitIn(openings.RoleLead) != "" }) {
		return nil
	}
	var out []pages.FreeSpan
	for _, st := range v.Steps {
		helper, watcher := st.UnitIn(openings.RoleAssistant), st.UnitIn(openings.RoleWatcher)
		if helper == v.Services[st.Service].Lead || helper == "" && watcher == "" {
			continue
		}
		text := code + " is with " + x.names[helper]
		if watcher != "" {
			text = code + " is watched by " + x.names[watcher]
		}
		if basin := st.UnitIn(openings.RoleBasin); basin != "" {
			text += ", " + x.names[basin]
		}
		out = append(out, pages.FreeSpan{TimeSpan: x.local(st.Start, st.End), Text: text})
	}
	return out
}

// shortestGap is the least time that is worth a word (judgement).
const shortestGap = 3 * time.Minute

// gaps cuts away what the person does for others meanwhile.
func gaps(free []pages.FreeSpan, parts []pages.Part) []pages.FreeSpan {
	for _, p := range parts {
		if p.Kind == pages.Unwatched {
			continue
		}
		var left []pages.FreeSpan
		for _, g := range free {
			if !p.From.Before(g.To) || !g.From.Before(p.To) {
				left = append(left, g)
				continue
			}
			before, after := g, g
			before.To, after.From = p.From, p.To
			for _, piece := range []pages.FreeSpan{before, after} {
				if piece.To.Sub(piece.From) >= shortestGap {
					left = append(left, piece)
				}
			}
		}
		free = left
	}
	return free
}

// personPart is what step i of a visit asks of one person, false when nothing.
func (x *dayView) personPart(v store.Visit, i int, id string) (pages.Part, bool) {
	st := v.Steps[i]
	at := x.local(st.Start, st.End)
	p := pages.Part{Kind: pages.HandsOn, From: at.From, To: at.To, Label: st.Label, Chair: x.names[v.Chair], Href: "/visits/" + v.ID}
	p.State = became(v)
	role := ""
	for _, u := range st.Units {
		if u.Unit == id {
			role = u.Role
		}
	}
	alone := len(st.Units) == 1 && st.Units[0].Role == openings.RoleChair && lastHands(v, i) == id
	switch {
	case role == "" && !alone:
		return p, false
	case alone:
		p.Kind = pages.Unwatched
		x.goesOn(v, i, id, &p)
	case !st.HandsOn && (role == openings.RoleLead || role == openings.RoleWatcher):
		p.Kind = pages.Watched
		x.checks(st, &p)
	case st.UnitIn(openings.RoleBasin) != "":
		p.Kind = pages.Basin
		p.Title = x.names[st.UnitIn(openings.RoleBasin)]
	}
	return p, true
}

// goesOn says how it goes on after step i, in which nobody is needed: the person
// whose line it stands on has to be back, or somebody else takes over.
func (x *dayView) goesOn(v store.Visit, i int, id string, p *pages.Part) {
	if i+1 >= len(v.Steps) {
		return
	}
	next := v.Steps[i+1]
	who, _ := atWork(next, x.names)
	switch {
	case len(who) == 0:
	case slices.ContainsFunc(next.Units, func(u store.StepUnit) bool { return u.Unit == id }):
		p.BackBy = &p.To
	default:
		p.Next = next.Label + " from " + next.Start.In(x.n.loc).Format("15:04") + ", " + strings.Join(who, " and ")
	}
}

// became is what became of a visit, "" while it is only booked.
func became(v store.Visit) string {
	if v.State == store.Booked {
		return ""
	}
	return words(v.State)
}

// lastHands is whose hands were on the client before step i, or else who is in
// charge: on that person's line stands what works without anybody.
func lastHands(v store.Visit, i int) string {
	for j := i - 1; j >= 0 && v.Steps[j].Service == v.Steps[i].Service; j-- {
		for _, role := range []string{openings.RoleLead, openings.RoleAssistant} {
			if u := v.Steps[j].UnitIn(role); u != "" {
				return u
			}
		}
	}
	return v.Services[v.Steps[i].Service].Lead
}

func (x *dayView) checks(st store.VisitStep, p *pages.Part) {
	for _, look := range looks(st) {
		p.Checks = append(p.Checks, look.In(x.n.loc))
	}
	p.BackBy = &p.To
	latest := p.To.Add(mayRunOver[scheduling.StepKind(st.Kind)])
	p.Latest = &latest
}

func (x *dayView) local(from, to time.Time) pages.TimeSpan {
	return pages.TimeSpan{From: from.In(x.n.loc), To: to.In(x.n.loc)}
}

// stationParts is what a chair or basin is used for, with its clearing.
func (x *dayView) stationParts(u openings.Unit) []pages.Part {
	kind := pages.ChairUse
	if u.Kind == openings.Basin {
		kind = pages.Basin
	}
	var out []pages.Part
	for _, k := range x.blocks[u.ID] {
		at := x.local(k.Start, k.End)
		p := pages.Part{Kind: kind, From: at.From, To: at.To, Href: "/visits/" + k.Visit}
		for _, v := range x.visits {
			if v.ID != k.Visit {
				continue
			}
			p.Code, p.Label, p.State = x.who(v), serviceNames(v), became(v)
			switch {
			case v.State == store.Held:
				p.Kind, p.Label, p.Title, p.State = pages.Pencilled, "pencilled until "+x.until(v), serviceNames(v), ""
			case isKept(v):
				p.Kind, p.Code, p.Label = pages.Kept, "", v.Title
			}
		}
		out = append(out, p)
		if k.Cleared.After(k.End) {
			out = append(out, pages.Part{Kind: pages.Clearing, From: at.To, To: k.Cleared.In(x.n.loc), Label: "clear"})
		}
	}
	return out
}

func serviceNames(v store.Visit) string {
	var names []string
	for _, s := range v.Services {
		names = append(names, s.Name)
	}
	return strings.Join(names, ", ")
}
