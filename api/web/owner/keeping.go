package owner

import (
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

func (p page) keepingPages() {
	p.get("/set-up/keeping", "set-retention", (*visit).keepingSheet)
	p.post("/set-up/keeping", "set-retention", (*visit).saveKeeping, (*visit).keepingSheet)
}

// keepingSheet is how long each kind of data about people stays, and what goes next.
func (v *visit) keepingSheet() (*sheet, error) {
	terms, tag, err := tagged[api.RetentionBody](v, "/retention")
	if err != nil {
		return nil, err
	}
	next, _, err := tagged[api.RetentionPreviewBody](v, "/retention/preview")
	if err != nil {
		return nil, err
	}
	s := v.sheet("How long things are kept")
	about := part{ID: "next", Title: "When something goes", Text: []string{
		"Once a day, after three in the morning by the salon’s clock, this program erases what is older than the terms below; next on " + dayWords(next.NextOn) +
			". It is gone for good: only backups made before still hold it.",
		"What belongs to a client or a visit goes along and is not counted on its own. Terms that you change erase nothing for two days.",
		"The terms to begin with are a judgement and nobody’s legal advice: local law or your accountant may demand longer."},
		Links: []link{{Href: "/set-up/changes?changes-what=retention_run", Text: "How many were erased so far"}}}
	if terms.Unread && terms.From > v.site.Now().In(v.salon.Location).Format(time.DateOnly) {
		about.Text = append([]string{"Nobody has seen to these terms yet, and from " + dayWords(terms.From) + " on they count. Save them, changed or not: then your to-do list says no more of it."}, about.Text...)
	}
	s.Parts = append(s.Parts, about)
	if next.Staying > 0 {
		s.Parts = append(s.Parts, stayingPart(next))
	}
	f := form{ID: "retention", Action: "/set-up/keeping", Hidden: []hidden{version(tag)}, Buttons: save("Save these terms")}
	for _, k := range next.Kinds {
		if k.Kind == "health" {
			s.Parts = append(s.Parts, part{ID: "health", Title: "About health", Text: append([]string{k.What + "."}, keptText(k)...),
				Links: []link{{Href: "/set-up/rules#privacy", Text: "Change this term", More: countWords(*k.Months, "month") + " after the last visit"}}})
			continue
		}
		f.Groups = append(f.Groups, group{Legend: k.What, Text: keptText(k), Fields: []pages.Field{termField(k)}})
	}
	s.Parts = append(s.Parts, part{ID: "terms", Title: "Everything else", Forms: []form{f}}, shortPart(), alwaysPart())
	return s, nil
}

// stayingPart is who stays because of money, and why.
func stayingPart(next api.RetentionPreviewBody) part {
	n, them := next.Staying, "They stay until it is settled."
	if n == 1 {
		them = "She stays until it is settled."
	}
	p := part{ID: "money", Title: fmt.Sprintf("Who stays because of money (%d)", n),
		Text: []string{"With " + countWords(n, "client") + " beyond the term money is still open. " + them}}
	shown := map[string]bool{}
	for _, x := range next.Stays {
		shown[x.ClientID] = true
		p.List = append(p.List, link{Href: api.Path("clients", x.ClientID), Text: pages.Clean(x.Name), More: x.Words})
	}
	if more := n - len(shown); more > 0 {
		p.Text = append(p.Text, fmt.Sprintf("These are the %d longest on record; %d more stay.", len(shown), more))
	}
	return p
}

func termField(k api.RetentionKindBody) pages.Field {
	hint := fmt.Sprintf("%d to %d; usual is %d", k.Least, k.Most, k.Usual)
	if k.ForEver {
		hint += ". Empty: for ever"
	}
	return pages.Number("retention-"+k.Kind+"_months", "Months after "+after[k.Kind], hint, whole(k.Months))
}

// after is from when on a term counts.
var after = map[string]string{"clients": "the last sign of a client", "never_came": "the last sign of somebody who never came", "visits": "a visit", "messages": "a message",
	"requests": "a request is over", "invitations": "a visit with an invitation", "absences": "an absence", "health_reads": "somebody looked"}

// keptText says why something is kept so long, and what goes of it when.
func keptText(k api.RetentionKindBody) []string {
	goes := "Nothing of it goes."
	if k.Months != nil {
		goes = fmt.Sprintf("On %s: %s.", dayWords(k.On), countOr(k.Goes, "nothing", "%d")+" to erase")
	}
	if k.LastOn != "" {
		goes += fmt.Sprintf(" Last looked at on %s: %s.", dayWords(k.LastOn), countOr(k.Last, "nothing", "%d")+" erased")
	}
	return []string{k.Why, goes}
}

func countOr(n int, none, some string) string {
	if n == 0 {
		return none
	}
	return fmt.Sprintf(some, n)
}

// shortPart are terms that nobody sets.
func shortPart() part {
	return part{ID: "short", Title: "What goes by itself after a short time", List: []link{
		{Text: "Who is signed in", More: "a day after it ends"},
		{Text: "Answers that are kept so that a request sent twice has one effect", More: "two days"},
		{Text: "What somebody did last, to take it back", More: "a day"},
		{Text: "An old mail address or number, kept to tell it of the change", More: "30 days"},
		{Text: "Mails with answers to invitations, once they are read", More: "14 days after they came"},
		{Text: "Busy times of private calendars that are fetched", More: "a month after they have passed"},
		{Text: "Proposals for rearranging a day", More: "a month after the day at the latest"},
	}}
}

// alwaysPart is what stays, and why.
func alwaysPart() part {
	return part{ID: "always", Title: "What stays, and why", List: []link{
		{Text: "Visits without their person: time, services, price, money, who worked", More: "accounts have to add up, and times are learnt from them"},
		{Text: "Your staff, their hours and how they sign in", More: "until you end it; who worked belongs to the accounts"},
		{Text: "Who changed what, without what it said", More: "each line vouches for the one before: if lines went, nobody could tell that from tampering"},
		{Text: "That somebody was erased, with a number in place of her name", More: "so that she is erased again from a backup that is read back"},
	}}
}

// saveKeeping saves the terms at once where they would erase nothing first, and shows
// what goes before it does so otherwise.
func (v *visit) saveKeeping() (answer, error) {
	if v.form.Get("do") == "back" {
		return answer{}, errBack
	}
	var f faults
	b := api.RetentionBody{Clients: v.count("clients_months", &f), Never: v.must("never_came_months", &f), Visits: v.count("visits_months", &f), Messages: v.count("messages_months", &f),
		Requests: v.count("requests_months", &f), Invitations: v.must("invitations_months", &f), Absences: v.count("absences_months", &f), Reads: v.must("health_reads_months", &f)}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	was, _, err := tagged[api.RetentionBody](v, "/retention")
	if err != nil {
		return answer{}, err
	}
	s, err := v.goesFirst("/set-up/keeping", "retention", b.Query(), was.Query())
	if err != nil || s != nil {
		return answer{sheet: s}, err
	}
	_, err = v.ask(http.MethodPut, "/retention", b, nil)
	return answer{to: "/set-up/keeping?done=saved#terms"}, err
}

// goesFirst shows what the first run by terms of a form that are not set yet would
// erase; nil where that is nothing or she has seen it and is sure. Terms that are none
// pass: saving refuses them, by the names of the form's fields.
func (v *visit) goesFirst(path, id string, terms, set url.Values) (*sheet, error) {
	var p api.RetentionPreviewBody
	_, err := v.site.Into(v.ctx, api.Question{Path: "/retention/preview", Query: terms}, &p)
	if _, _, refused := web.Wrong(err, nil); refused {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	var first []api.RetentionKindBody
	seen := ""
	for _, k := range p.Kinds {
		field := k.Kind + "_months"
		if k.Goes > 0 && terms.Get(field) != set.Get(field) {
			first = append(first, k)
			seen += fmt.Sprintf("%s=%s:%d ", k.Kind, terms.Get(field), k.Goes)
		}
	}
	seen = strings.TrimSpace(seen)
	if len(first) == 0 || v.form.Get("do") == "sure" && v.form.Get("seen") == seen {
		return nil, nil
	}
	return v.goesSheet(path, id, first, seen), nil
}

func (v *visit) goesSheet(path, id string, first []api.RetentionKindBody, seen string) *sheet {
	action, from := path, link{Href: path, Text: "How long things are kept"}
	if id == "privacy" {
		action, from = path+"/privacy", link{Href: path + "#privacy", Text: "Rules"}
	}
	s := v.sheet("How long things are kept", from)
	what := part{ID: "goes", Title: "What these terms erase first", Text: []string{"Nothing is saved yet. The first run after two days would erase for good:"}}
	for _, k := range first {
		what.List = append(what.List, link{Text: fmt.Sprintf("%d: %s", k.Goes, k.What), More: "on " + dayWords(k.On)})
	}
	what.Forms = []form{{ID: id, Action: action, Hidden: append(v.carried(), hidden{"seen", seen}), Text: []string{"Until then you can set other terms."},
		Buttons: []button{{Text: "Go back", Name: "do", Value: "back", Main: true}, {Text: "Save these terms", Name: "do", Value: "sure"}}}}
	s.Parts = append(s.Parts, what)
	return s
}
