package owner

import (
	"cmp"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) changePages() {
	p.get("/set-up/changes", "list-changes", (*visit).changesSheet)
}

// changesShown is how many lines of the log one page shows (judgement).
const changesShown = 50

// changesSheet is who changed what, by person, thing and day.
func (v *visit) changesSheet() (*sheet, error) {
	who, err := v.changers()
	if err != nil {
		return nil, err
	}
	at := func(field string) string { return strings.TrimSpace(v.c.QueryParam("changes-" + field)) }
	query := url.Values{"limit": {strconv.Itoa(changesShown + 1)}}
	for _, field := range []string{"by", "what", "day", "subject"} {
		if x := at(field); x != "" {
			query.Set(field, x)
		}
	}
	before := v.c.QueryParam("before")
	if before != "" {
		query.Set("before", before)
	}
	s := v.sheet("Who changed what")
	p := part{ID: "changes", Title: "Choose", Text: []string{
		"Who added, changed or removed something, and when. What stood there before and after is not kept here, and nothing about health is. Nobody can change or remove a line."}}
	p.Forms = []form{{ID: "changes", Action: "/set-up/changes", Get: true, Fields: []pages.Field{
		pages.Select("changes-by", "By whom", "", at("by"), who, "everybody"),
		pages.Select("changes-what", "What", "", at("what"), kindsOfThings(), "everything"),
		pages.Input("changes-day", "On which day", "Empty: all, the latest first", "date", at("day")),
	}, Buttons: save("Show")}}
	if subject := at("subject"); subject != "" {
		p.Forms[0].Hidden = []hidden{{"changes-subject", subject}}
		p.Links = []link{{Href: "/set-up/changes", Text: "Changes of everything"}}
	}
	s.Parts = append(s.Parts, p)
	if day := at("day"); day != "" {
		if _, err := date.Parse(time.DateOnly, day); err != nil {
			s.Frame.Summary = []pages.FieldError{{Field: "changes-day", Text: "“" + day + "” is not a date."}}
			return s, nil
		}
	}
	found, wrong, err := v.changes(query)
	if err != nil {
		return nil, err
	}
	if len(wrong) > 0 {
		s.Frame.Summary = wrong
		return s, nil
	}
	s.Parts = append(s.Parts, v.foundPart(found, before != ""))
	return s, nil
}

// changes asks for lines of the log. A filter that is no right one is said on the page.
func (v *visit) changes(query url.Values) ([]api.ChangeBody, []pages.FieldError, error) {
	var out struct{ Changes []api.ChangeBody }
	_, err := v.site.Into(v.ctx, api.Question{Path: "/changes", Query: query}, &out)
	if wrong, _, ok := web.Wrong(err, map[string]string{"day": "changes-day", "by": "changes-by", "what": "changes-what"}); ok {
		return nil, wrong, nil
	}
	return out.Changes, nil, err
}

func (v *visit) foundPart(list []api.ChangeBody, later bool) part {
	p := part{ID: "found", Title: "What was changed"}
	here := v.c.Request().URL.Query()
	more := len(list) > changesShown
	if more {
		list = list[:changesShown]
		here.Set("before", strconv.FormatInt(list[changesShown-1].ID, 10))
		p.Links = append(p.Links, link{Href: "/set-up/changes?" + here.Encode(), Text: "Earlier changes"})
	}
	if later {
		here.Del("before")
		p.Links = append(p.Links, link{Href: "/set-up/changes?" + here.Encode(), Text: "Back to the latest"})
	}
	if len(list) == 0 {
		p.Text = []string{"Nothing was changed."}
		return p
	}
	t := table{Caption: "What was changed", Head: heads("When", "By whom", "What", "How")}
	for _, x := range list {
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: v.moment(&x.At, "")}, {Text: byWords(x)}, thingCell(x), {Text: x.Done, More: fieldsWords(x.Fields)}}})
	}
	p.Tables = []table{t}
	return p
}

// changers are those by whom lines of the log may be.
func (v *visit) changers() ([]pages.Option, error) {
	accounts, _, err := tagged[struct{ Items []api.AccountBody }](v, "/accounts")
	if err != nil {
		return nil, err
	}
	tokens, _, err := tagged[struct{ Items []api.TokenBody }](v, "/tokens")
	if err != nil {
		return nil, err
	}
	var out []pages.Option
	for _, a := range accounts.Items {
		out = append(out, pages.Option{ID: "account:" + a.ID, Name: cmp.Or(a.Name, a.Mail)})
	}
	for _, k := range tokens.Items {
		out = append(out, pages.Option{ID: k.ID, Name: "another program: " + cmp.Or(k.Label, roleOfToken[k.Role])})
	}
	return append(out, pages.Option{ID: "clients", Name: "clients, on their own pages"}, pages.Option{ID: "program", Name: "this program by itself"}), nil
}

// byWords say who changed something.
func byWords(x api.ChangeBody) string {
	switch {
	case x.Name != "":
		return x.Name
	case x.By == "":
		return "this program by itself"
	case strings.HasPrefix(x.By, "own "):
		return "a client, on her own pages"
	case strings.HasPrefix(x.By, "session:"):
		return "a screen that a link opened"
	}
	return "somebody who is not here any more"
}

// things are the kinds of things in the log, in words.
var things = map[string]string{
	"absence": "absence", "access_rule": "rule of signing in", "access_token": "token of another program", "account": "who signs in", "card_fact": "record card",
	"client": "client", "closure": "closing day", "consent": "consent", "consent_wording": "wording of a consent",
	"consultation_form": "consultation form", "feed": "calendar address", "invitation_setting": "invitations by mail",
	"hair_treatment": "hair treatment that a client told of", "message_language": "words of messages", "message_wish": "how a client is written to", "minor": "minor and guardian", "money_entry": "note about money",
	"need_override": "leave to begin without something", "opening_day": "opening hours of a day", "opening_hours": "opening hours", "own_link": "link to a client’s own pages",
	"private_calendar": "private calendar", "product": "product", "quote": "quote", "recovery_code": "code for who lost her telephone", "retention_rule": "how long things are kept", "retention_run": "erased by age",
	"salon":     "the salon and its rules",
	"screening": "consultation", "second_factor": "second step of signing in", "service": "service", "service_version": "steps or price of a service",
	"session_link": "link to sign in", "staff": "person", "staff_day": "single day of a person", "staff_hours": "working hours", "staff_rota": "dated weeks of a person",
	"staff_skill": "skill", "test_record": "test or reaction", "text_gateway": "gateway for text messages", "unit": "chair, basin or person", "visit": "visit",
	"visit_stop": "visit stopped early", "wish": "waiting-list request",
}

func kindsOfThings() []pages.Option {
	var out []pages.Option
	for id, name := range things {
		out = append(out, pages.Option{ID: id, Name: pages.Capital(name)})
	}
	slices.SortFunc(out, func(a, b pages.Option) int { return strings.Compare(a.Name, b.Name) })
	return out
}

// thingCell says what was changed and leads there while it is there.
func thingCell(x api.ChangeBody) cell {
	c := cell{Text: cmp.Or(things[x.What], strings.ReplaceAll(x.What, "_", " ")), More: x.Called}
	switch x.What {
	case "retention_run": // its subject is a kind and how many
		c.More = strings.ReplaceAll(x.Subject, "_", " ")
	case "visit", "card_fact", "money_entry", "visit_stop":
		if x.Done != "removed" && x.Subject != "" {
			c.Href = "/visits/" + url.PathEscape(x.Subject)
		}
	case "client":
		if x.Called != "" {
			c.Href = "/clients/" + url.PathEscape(x.Subject)
		}
	}
	return c
}

// fieldsWords say what of a thing was changed.
func fieldsWords(list []string) string {
	words := make([]string, len(list))
	for i, x := range list {
		x = strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(x, "_cents"), "_id"), "_at")
		words[i] = cmp.Or(fieldNames[x], strings.ReplaceAll(x, "_", " "))
	}
	return strings.Join(words, ", ")
}

// fieldNames are fields whose name is no word for people.
var fieldNames = map[string]string{
	"rotated": "made anew", "starts": "start", "ends": "end", "on_hand_ml": "what is in stock", "contact_by": "how she is reached", "contact_asked": "that she was asked how",
	"hours_set": "hours", "mail_lower": "mail address", "phone": "telephone number", "mail": "mail address", "sha256": "secret", "sealed": "what is encrypted",
}
