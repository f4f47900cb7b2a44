package desk

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// clientView is what the desk knows of a client.
type clientView struct {
	base
	O                                                                        api.ClientOverview
	Name                                                                     string
	Coming, Past                                                             []clientVisit
	Consents                                                                 []consentLine
	Links                                                                    []ownLink
	Language, NotWished                                                      string
	Voice                                                                    bool
	MayBook, MayEdit, MayWish, MayMinor, MayFeed, MayLink, MayExport, MayDel bool
	MayWithdraw, MayWait, MaySame, MayTake, MayErase, Inches                 bool
	AskWay                                                                   *pages.AskWay // nil: it has been answered
}

// clientVisit is a visit in a line.
type clientVisit struct{ ID, When, What, State, Money string }

// consentLine is something that was agreed to.
type consentLine struct {
	ID, Words string
	Gone      bool
}

// ownLink is a link to a client's own pages, without its secret.
type ownLink struct {
	ID, Label, MadeBy string
	Works             bool
	Guardian          bool
}

func (p page) client(c echo.Context) error { return p.showClient(c, http.StatusOK, nil) }

func (p page) showClient(c echo.Context, status int, wrong []pages.FieldError) error {
	ctx, id := c.Request().Context(), c.Param("id")
	b, err := p.start(c, "/clients", "")
	if err != nil {
		return api.Sorry(c, err)
	}
	v := clientView{base: b}
	if v.Summary = wrong; len(wrong) > 0 {
		v.Done = ""
	}
	if v.O, err = web.Get[api.ClientOverview](ctx, p.site, api.Path("clients", id, "overview"), nil); err != nil {
		return api.Sorry(c, err)
	}
	v.Name = pages.Clean(strings.TrimSpace(v.O.Client.GivenName + " " + v.O.Client.FamilyName))
	v.Title = v.Name
	v.fill()
	if api.May(ctx, "get-message-wishes") {
		w, err := web.Get[api.MessageWishesBody](ctx, p.site, api.Path("clients", id, "message-wishes"), nil)
		if err != nil {
			return api.Sorry(c, err)
		}
		v.Language, v.Voice = w.Language, w.Voice
		var no []string
		for _, k := range w.Stopped {
			no = append(no, api.KindName(k))
		}
		for _, way := range w.Ways {
			no = append(no, "anything "+byWords[way])
		}
		v.NotWished = strings.Join(no, ", ")
	}
	if v.MayLink = api.May(ctx, "add-own-link"); v.MayLink {
		if v.Links, err = p.ownLinks(ctx, id); err != nil {
			return api.Sorry(c, err)
		}
	}
	if api.May(ctx, "update-client") {
		v.AskWay = api.AskWayOf(v.O, api.Path("clients", id))
	}
	lead := api.Signed(ctx).Role == "lead"
	v.MayBook, v.MayEdit, v.MayWish = api.May(ctx, "book-visit"), api.May(ctx, "update-client"), api.May(ctx, "set-message-wishes")
	v.MayMinor, v.MayFeed, v.MayExport = api.May(ctx, "set-minor"), api.May(ctx, "add-feed") && !lead, api.May(ctx, "export-cards")
	v.MayDel, v.MayWithdraw, v.MayWait = api.May(ctx, "delete-client") && len(v.O.Visits) == 0, api.May(ctx, "withdraw-consent"), api.May(ctx, "add-waiting")
	v.MaySame, v.MayTake, v.MayErase = api.May(ctx, "merge-clients"), api.May(ctx, "export-client-files"), api.May(ctx, "erase-client")
	return show(c, status, "client", v)
}

// fill puts visits and consents into words.
func (v *clientView) fill() {
	for _, x := range v.O.Visits {
		l := clientVisit{ID: x.ID, When: x.Start.Format("Mon 2 January 2006, ") + v.At(x.Start), What: strings.Join(x.Services, ", "), State: api.StateWords(x.State), Money: v.Between(x.PriceCents, x.FromCents, x.ToCents)}
		if x.LeadName != "" {
			l.What += ", with " + x.LeadName
		}
		gone := slices.Contains([]string{"cancelled", "missed", "lapsed"}, x.State)
		switch {
		case gone && x.LeftCents > 0:
			l.Money = v.Amount(x.LeftCents) + " are here: decide"
		case gone:
			l.Money = ""
		case x.Deposit != nil && !x.Deposit.Settled:
			l.Money += "; deposit of " + v.Amount(x.Deposit.AskedCents) + " not here"
		}
		if x.End.After(v.now) && !gone {
			v.Coming = append(v.Coming, l)
		} else {
			v.Past = append(v.Past, l)
		}
	}
	slices.Reverse(v.Coming)
	for _, x := range v.O.Consents {
		what := fmt.Sprintf("to wording %d", x.Wording)
		if x.VisitID != "" {
			what = "a guardian’s yes to a visit"
		}
		l := consentLine{ID: x.ID, Words: what + ", by " + pages.Clean(x.GivenBy) + ", " + map[string]string{"present": "here", "phone": "on the telephone", "written": "in writing"}[x.How]}
		if x.Given != nil {
			l.Words += ", " + v.When(*x.Given)
		}
		if x.Withdrawn != nil {
			l.Words, l.Gone = l.Words+"; taken back "+v.When(*x.Withdrawn), true
		}
		v.Consents = append(v.Consents, l)
	}
}

// hairLine is a measurement in figures.
type hairLine struct{ When, Words string }

// HairLines are measurements, newest first.
func (v clientView) HairLines() []hairLine {
	var out []hairLine
	for _, h := range v.O.Hair {
		out = append(out, hairLine{v.DayOf(h.MeasuredOn), hairWords(h.Hair)})
	}
	return out
}

// hairWords says hair as the desk may see it: figures, and nothing about health.
func hairWords(h api.HeadBody) string {
	var out []string
	length := func(cm float64, in *float64, what string) {
		switch {
		case in != nil && *in > 0:
			out = append(out, what+strconv.FormatFloat(*in, 'f', -1, 64)+" in")
		case cm > 0:
			out = append(out, what+strconv.FormatFloat(cm, 'f', -1, 64)+" cm")
		}
	}
	length(h.LengthCM, h.LengthIn, "stretched ")
	length(h.RegrowthCM, h.RegrowthIn, "new growth ")
	if w, ok := map[string]string{"low": "little hair", "medium": "average amount", "high": "a lot of hair"}[h.Density]; ok {
		out = append(out, w)
	}
	if h.Strand != "" {
		out = append(out, "each hair "+h.Strand)
	}
	if w, ok := map[string]string{"low": "resistant", "normal": "takes up liquid as usual", "high": "porous"}[h.Porosity]; ok {
		out = append(out, w)
	}
	return strings.Join(out, ", ")
}

var alikeWords = map[string]string{"phone": "same telephone number", "mail": "same mail address", "name": "same name"}

// ToldWords say whether an address that messages went to before was told of the change.
func (clientView) ToldWords() map[string]string {
	return map[string]string{"told": "the one before was told", "being_told": "the one before is being told", "not_told": "nobody was told at the one before"}
}

// AlikeWhy says what another client has in common with this one.
func (v clientView) AlikeWhy(why string) string { return alikeWords[why] }

// Reached says how she is reached, or why she is not.
func (v clientView) Reached() string {
	if m := v.O.Minor; m != nil && m.Minor {
		return reached("Her guardian", m.ContactBy, m.Phone+m.Mail)
	}
	return reached("She", v.O.Client.ContactBy, v.O.Client.Phone+v.O.Client.Mail)
}

// CareWords says until when her hair stays dry and untied, or that it is over.
func (v clientView) CareWords() string {
	c := v.O.Care
	switch {
	case c == nil:
		return ""
	case c.DryUntil == nil:
		return "What holds for her hair after the visit that was stopped early, the stylist in charge says."
	}
	dry, tie := v.When(*c.DryUntil), v.When(*c.UntiedUntil)
	until := "dry and untied until " + dry
	if dry != tie {
		until = "dry until " + dry + ", untied until " + tie
	}
	if c.Over {
		return "She can be told so: her hair was to stay " + until + ", which is over."
	}
	return "Her hair stays " + until + "."
}

// reached says how somebody of whom at is noted is reached.
func reached(who, by, at string) string {
	switch {
	case by == "not_asked" && at == "":
		return "Neither a mail address nor a telephone number is noted: nothing is sent"
	case by == "not_asked":
		return who + " is not told of anything yet: nobody has asked how she wants to hear of it"
	case by == "none":
		return who + " wishes no messages"
	}
	return who + " is reached " + byWords[by]
}

// Growth says how quickly her hair seems to grow.
func (v clientView) Growth() string {
	return map[string]string{"slow": "slowly", "usual": "as usual", "quick": "quickly"}[v.O.Client.Growth]
}

func (p page) withdraw(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	return p.onClient(c, api.Question{Method: http.MethodPost, Path: api.Path("consents", form.Get("consent"), "withdraw")}, "withdrawn")
}

func (p page) deleteClient(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	wrong, _, status, err := p.press(c.Request().Context(), api.Question{Method: http.MethodDelete, Path: api.Path("clients", c.Param("id")), IfMatch: form.Get("version")}, nil)
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		return p.showClient(c, status, wrong)
	}
	return web.Done(c, "/clients")
}

// onClient asks for something and shows the page of the client again.
func (p page) onClient(c echo.Context, q api.Question, done string) error {
	wrong, _, status, err := p.press(c.Request().Context(), q, map[string]string{})
	switch {
	case err != nil:
		return api.Sorry(c, err)
	case len(wrong) > 0:
		for i := range wrong {
			wrong[i].Field = ""
		}
		return p.showClient(c, status, wrong)
	}
	return web.Done(c, to(api.Path("clients", c.Param("id")), done))
}

// ETag is the version that a change of the client is made against.
func (v clientView) ETag() string { return fmt.Sprintf(`"v%d"`, v.O.Version) }

// BookHref leads to the booking of a visit of hers.
func (v clientView) BookHref() string {
	return "/book?" + url.Values{"client": {v.O.Client.ID}}.Encode()
}
