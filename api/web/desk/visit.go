package desk

import (
	"cmp"
	"context"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) mountVisit() {
	p.site.GET("/visits/:id", "get-visit", p.visit)
	for _, a := range slices.Concat(visitActs, needActs) {
		p.site.POST("/visits/:id/"+a.name, a.operation, func(c echo.Context) error { return p.doAct(c, a) })
	}
	p.site.POST("/visits/:id/money", "note-money", p.noteMoney)
	p.site.POST("/visits/:id/money-back", "note-money", p.moneyBack)
	p.site.POST("/visits/:id/lay-aside", "lay-aside-message", p.visitMessage)
	p.site.POST("/visits/:id/at", "move-visit", p.moveTo)
	p.mountVisitChoices()
}

// visitView is the page of a visit.
type visitView struct {
	base
	V       api.VisitBody
	ETag    string
	Money   *api.MoneyBody // nil for who may not see it
	Group   *api.GroupBody // nil for a visit that stands alone
	Events  []eventLine
	Acts    []formOf
	Needs   []formOf
	Coin    moneyForm
	Typed   url.Values
	Failed  string // name of the act that went wrong
	Instead []api.OpeningBody
	AskWay  *pages.AskWay // nil: it has been answered, or is not for who is signed in to ask

	MayMove, MaySwap, MayLink, MayCome, MayName, MayConsent, MayMoney, MayAside, MayWait, MayRun, MayClient bool
	BoardHref, BoardDay                                                                                     string // its own day
}

// mostTogether is how many visits can belong together, as the interface says.
const mostTogether = 4

// InsteadAction is where another time is sent to.
func (v visitView) InsteadAction() string { return api.Path("visits", v.V.ID, "at") }

// Takes are the fields that go with it.
func (v visitView) Takes() map[string]string { return map[string]string{"version": v.ETag} }

// eventLine is something that was noted.
type eventLine struct{ When, What, By string }

func (v visitView) typed(name string) string { return v.Typed.Get(name) }

func (p page) visit(c echo.Context) error {
	v, err := p.readVisit(c, c.Param("id"))
	if err != nil {
		return api.Sorry(c, err)
	}
	return p.showVisit(c, http.StatusOK, v)
}

// readVisit reads everything about a visit that whoever is signed in may know.
func (p page) readVisit(c echo.Context, id string) (visitView, error) {
	ctx := c.Request().Context()
	b, err := p.start(c, "/", "")
	if err != nil {
		return visitView{}, err
	}
	v := visitView{base: b, Typed: url.Values{}}
	reply, err := p.site.Into(ctx, api.Question{Path: api.Path("visits", id)}, &v.V)
	if err != nil {
		return v, err
	}
	v.ETag = reply.ETag
	v.Title = pages.Clean(v.V.ClientName) + ", " + v.Day(v.V.Start) + ", " + v.Span(v.V.Start, v.V.End)
	v.BoardHref, v.BoardDay = "/", "Today on the board" // where walk-ins are taken
	if day := v.V.Start.In(v.loc).Format(time.DateOnly); day != v.Today {
		v.BoardHref, v.BoardDay = "/?date="+day, v.Day(v.V.Start)+" on the board"
	}
	if len(v.V.Services) > 0 && api.May(ctx, "list-money") {
		m, err := web.Get[api.MoneyBody](ctx, p.site, api.Path("visits", id, "money"), nil)
		if err != nil {
			return v, err
		}
		v.Money = &m
	}
	if v.V.GroupID != "" && api.May(ctx, "get-group") {
		g, err := web.Get[api.GroupBody](ctx, p.site, api.Path("visit-groups", v.V.GroupID), nil)
		if err != nil {
			return v, err
		}
		v.Group = &g
	}
	if v.V.ContactBy == "not_asked" && v.V.ClientID != "" && api.May(ctx, "update-client") {
		o, err := web.Get[api.ClientOverview](ctx, p.site, api.Path("clients", v.V.ClientID, "overview"), nil)
		if err != nil {
			return v, err
		}
		v.AskWay = api.AskWayOf(o, api.Path("visits", id))
	}
	return v, p.history(ctx, &v)
}

// history lists what was noted of the visit, the latest first.
func (p page) history(ctx context.Context, v *visitView) error {
	if !api.May(ctx, "list-visit-events") {
		return nil
	}
	list, err := web.Items[api.EventBody](ctx, p.site, api.Path("visits", v.V.ID, "events"), nil)
	for _, e := range slices.Backward(list) {
		what := map[string]string{"arrive": "arrived", "start": "began", "finish": "was over", "done": "finished", "undo": "taken back", "remedy": "a remedy was agreed on",
			"stop": "stopped early", "rinse_now": "“rinse now” was pressed", "undo_rinse_now": "“rinse now” was taken back"}[e.Kind]
		if e.Step != nil && *e.Step < len(v.V.Steps) {
			what = "“" + v.V.Steps[*e.Step].Label + "” " + what
		}
		if e.Inferred {
			what += " (follows from what was noted later)"
		}
		v.Events = append(v.Events, eventLine{v.When(e.At), what, e.NotedBy})
	}
	return err
}

func (p page) showVisit(c echo.Context, status int, v visitView) error {
	ctx := c.Request().Context()
	open := slices.Contains([]string{"held", "booked", "arrived", "under_way"}, v.V.State)
	v.Acts, v.Needs = v.forms(ctx, visitActs), v.forms(ctx, needActs)
	movable := v.V.State == "booked" || v.V.State == "held"
	v.MayMove = movable && api.May(ctx, "move-visit")
	v.MaySwap = v.V.State == "booked" && len(v.V.Services) > 0 && api.May(ctx, "swap-visit")
	v.MayLink = open && v.Group == nil && len(v.V.Services) > 0 && api.May(ctx, "book-group")
	v.MayCome = open && len(v.V.Services) > 0 && v.V.Start.After(v.now) && (v.Group == nil || len(v.Group.Visits) < mostTogether) && api.May(ctx, "book-group")
	v.MayName = open && v.V.State != "held" && v.V.ClientID == "" && len(v.V.Services) > 0 && api.May(ctx, "name-client")
	v.MayConsent = v.open("consent") && v.V.ClientID != "" && api.May(ctx, "add-consent")
	v.MayMoney = v.Money != nil && v.V.State != "lapsed" && api.May(ctx, "note-money")
	v.MayAside = api.May(ctx, "lay-aside-message")
	v.MayWait = (v.V.State == "cancelled" || v.V.State == "missed") && v.V.End.After(v.now) && api.May(ctx, "match-waiting")
	v.MayClient = v.V.ClientID != "" && api.May(ctx, "get-client")
	v.MayRun = len(v.V.Services) > 0 && v.V.State != "held" && api.May(ctx, "get-card")
	if v.MayMoney {
		v.Coin = v.moneyForm()
	}
	return show(c, status, "visit", v)
}

// Stands says it in a sentence.
func (v visitView) Stands() string {
	switch {
	case v.V.State == "arrived" && v.V.ArrivedAt != nil:
		return "The client is here since " + v.At(*v.V.ArrivedAt) + "."
	case v.V.State == "finished" && v.V.FinishedAt != nil:
		return "The visit ended at " + v.At(*v.V.FinishedAt) + "."
	}
	return "The visit is " + v.State() + "."
}

// State says what became of the visit, and when.
func (v visitView) State() string { return stateWords(v.base, v.V) }

// stateWords says a visit's state.
func stateWords(b base, v api.VisitBody) string {
	switch {
	case v.State == "held" && v.HeldUntil != nil:
		return "pencilled until " + b.When(*v.HeldUntil)
	case v.State == "lapsed" && v.HeldUntil != nil:
		return "not booked: it was pencilled until " + b.When(*v.HeldUntil)
	case v.State == "arrived" && v.ArrivedAt != nil:
		return "arrived: the client came at " + b.At(*v.ArrivedAt)
	case v.State == "finished" && v.FinishedAt != nil:
		return "finished: it ended at " + b.At(*v.FinishedAt)
	}
	return api.StateWords(v.State)
}

// What names the services with who is in charge, and the chair.
func (v visitView) What() string {
	var out []string
	for _, x := range v.V.Services {
		s := x.Name
		if name := v.V.UnitNames[x.LeadID]; name != "" {
			s += " with " + name + " in charge"
		}
		out = append(out, s)
	}
	s := strings.Join(out, "; ")
	if chair := v.V.UnitNames[v.V.ChairID]; chair != "" {
		s += ", " + chair
	}
	return s
}

// Dry says until when hair stays dry and untied.
func (v visitView) Dry() string {
	dry, tied := v.V.KeepDryUntil, v.V.UntiedUntil
	switch {
	case dry == nil:
		return ""
	case tied == nil || tied.Equal(*dry):
		return "Dry and untied until " + v.When(*dry) + "."
	}
	return "Dry until " + v.When(*dry) + ", untied until " + v.When(*tied) + "."
}

// stepRow is a step, or the wait before one.
type stepRow struct {
	When, Step, Who, Where, Wait string
	WatchFor                     []string
}

// Steps lists the steps with the waits between them.
func (v visitView) Steps() []stepRow {
	var out []stepRow
	for i, s := range v.V.Steps {
		if i > 0 {
			if n := int(s.Start.Sub(v.V.Steps[i-1].End) / time.Minute); n > 0 {
				out = append(out, stepRow{When: v.Span(v.V.Steps[i-1].End, s.Start), Wait: "waits " + strconv.Itoa(n) + " min"})
			}
		}
		r := stepRow{When: v.Span(s.Start, s.End), Step: s.Label, WatchFor: s.WatchFor}
		var who []string
		for _, u := range s.Units {
			switch name := v.V.UnitNames[u.UnitID]; u.Role {
			case "basin":
				r.Where = name
			case "chair":
				r.Where = cmp.Or(r.Where, name)
			default:
				who = append(who, name)
			}
		}
		r.Who, r.Where = cmp.Or(strings.Join(who, ", "), "nobody is needed"), cmp.Or(r.Where, "desk")
		out = append(out, r)
	}
	return out
}

// Cautions are those of the hair, of other visits near and of the stock.
func (v visitView) Cautions() []pages.Caution {
	var out []pages.Caution
	for _, x := range slices.Concat(v.V.Booked, v.V.Cautions) {
		c := pages.Caution{Level: pages.CautionLevel(x.Level), Text: x.Text, Href: api.ChangedAt(x.Code)}
		if !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}

// messageLine is a message of the visit.
type messageLine struct {
	ID, When, What, State string
	Waits                 bool
}

// Messages are those to the client.
func (v visitView) Messages() []messageLine {
	var out []messageLine
	for _, r := range v.V.Reminders {
		if r.StaffID != "" {
			continue
		}
		m := messageLine{ID: r.ID, When: v.When(r.Due), What: api.KindName(r.Kind), State: messageState(r.State), Waits: r.State == "waiting" || r.State == "failed"}
		switch by := v.V.ContactBy; {
		case (by == "not_asked" || by == "none") && (r.State == "waiting" || r.State == "not_wanted"): // one word for all
			m.State, m.Waits = notSent[by], false
			if v.nowhere() {
				m.State = "not sent: neither a mail address nor a telephone number is noted"
			}
		case r.Problem != "":
			m.State += ": " + r.Problem
		}
		out = append(out, m)
	}
	return out
}

// notSent says why messages do not go out by a way that is none.
var notSent = map[string]string{"none": "not sent: she wishes no messages", "not_asked": "not sent: nobody has asked her yet how she wants to hear of it"}

// messageState says where a message stands.
func messageState(state string) string {
	return map[string]string{"waiting": "waits for its time", "sending": "on its way", "sent": "sent", "to_call": "on the list of calls", "withdrawn": "taken back",
		"not_wanted": "not wished", "failed": "failed"}[state]
}

// nowhere reports whether nothing is noted at which the client could be reached.
func (v visitView) nowhere() bool { return v.AskWay != nil && len(v.AskWay.Ways) == 0 }

// NoMessages says why nothing goes out.
func (v visitView) NoMessages() string {
	switch by := v.V.ContactBy; {
	case by == "none":
		return "No message goes out: the client wishes none."
	case v.nowhere():
		return "No message goes out: neither a mail address nor a telephone number is noted."
	case by == "not_asked":
		return "No message goes out: nobody has asked her yet how she wants to hear of it."
	}
	return "No message goes out: none is due."
}

// Reply says what the client's calendar has answered.
func (v visitView) Reply() string {
	r := v.V.Reply
	if r == nil {
		return ""
	}
	s := "Her calendar " + map[string]string{"accepted": "has accepted", "declined": "has declined", "tentative": "says maybe"}[r.Reply] + " on " + v.When(r.At)
	if r.Outdated {
		s += ", before the invitation was changed"
	}
	return s + "."
}

// needLine is something that there has to be before the visit can begin.
type needLine struct {
	Words, Where string
	Overdue      bool
	Kind         string
}

// StillNeeded lists what is open first.
func (v visitView) StillNeeded() []needLine { return needLines(v.V.StillNeeded, true) }

// There lists what is there.
func (v visitView) There() []needLine { return needLines(v.V.StillNeeded, false) }

func needLines(list []api.NeedBody, open bool) []needLine {
	var out []needLine
	for _, n := range list {
		if done := n.State == "done" || n.State == "overridden"; done == open {
			continue
		}
		l := needLine{Words: n.Words, Overdue: n.Overdue && open, Kind: n.Kind}
		switch {
		case n.State == "overridden" && n.OverriddenBy != "":
			l.Where = "let go by " + n.OverriddenBy
		case !open:
			l.Where = "is there"
		case n.State == "ask":
			l.Where = "ask the stylist in charge"
		default:
			l.Where = n.Right
		}
		if open && n.Owner != "" {
			l.Where += "; " + ownerWords[n.Owner]
		}
		if n.Why != "" {
			l.Where += "; " + n.Why
		}
		out = append(out, l)
	}
	return out
}

var ownerWords = map[string]string{"desk": "the desk sees to it", "stylist": "the stylist in charge sees to it", "licensed": "the licensed person decides",
	"client": "the client sees to it", "guardian": "the guardian sees to it"}

// Named reports whether somebody on file or a walk-in comes.
func (v visitView) Named() bool { return v.V.ClientID != "" }

// doAct carries out what a button or form of the page asks for.
func (p page) doAct(c echo.Context, a act) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	return p.act(c, form, a.name, a.pointers, a.done, func(v visitView) (api.Question, []pages.FieldError) { return a.question(v, form) })
}

// act asks for something and shows the page again, with what is wrong or with
// what was done.
func (p page) act(c echo.Context, form url.Values, name string, pointers map[string]string, done string,
	question func(visitView) (api.Question, []pages.FieldError)) error {
	ctx, id := c.Request().Context(), c.Param("id")
	v := visitView{Typed: form}
	v.V.ID, v.V.ClientID = id, form.Get("client")
	q, wrong := question(v)
	status := http.StatusUnprocessableEntity
	var instead []api.OpeningBody
	if len(wrong) == 0 {
		var err error
		if wrong, instead, status, err = p.press(ctx, q, pointers); err != nil {
			return api.Sorry(c, err)
		}
	}
	if len(wrong) == 0 {
		return web.Done(c, to(api.Path("visits", id), done))
	}
	v, err := p.readVisit(c, id)
	if err != nil {
		return api.Sorry(c, err)
	}
	v.Typed, v.Failed, v.Summary, v.Instead, v.Done = form, name, wrong, instead, ""
	return p.showVisit(c, status, v)
}

// visitMessage lays one message of the visit aside.
func (p page) visitMessage(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	return p.act(c, form, "lay-aside", nil, "aside", func(visitView) (api.Question, []pages.FieldError) {
		return api.Question{Method: http.MethodPost, Path: api.Path("messages", form.Get("message"), "lay-aside"), Body: object{"why": "not to be sent"}}, nil
	})
}

// Together are the visits that this one belongs to.
func (v visitView) Together() []api.VisitBody { return v.others() }

// moveTo gives the visit one of the times that were offered instead.
func (p page) moveTo(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	return p.act(c, form, "at", map[string]string{}, "moved", func(v visitView) (api.Question, []pages.FieldError) {
		return v.post("/move", with(with(object{"start": form.Get("start")}, "lead_id", form.Get("lead")), "approved_by", form.Get("approved")), form), nil
	})
}
