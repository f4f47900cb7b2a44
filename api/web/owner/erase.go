package owner

import (
	"fmt"
	"net/http"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) erasePages() {
	p.get("/clients/:id/erase", "look-at-erasure", (*visit).eraseSheet)
	p.post("/clients/:id/erase", "erase-client", (*visit).erase, (*visit).eraseSheet)
}

// toErase is the client of the page, with her name as it stands there.
func (v *visit) toErase() (path, name string, err error) {
	path = api.Path("clients", v.c.Param("id"))
	c, _, err := tagged[api.ClientBody](v, path)
	return path, strings.Join(strings.Fields(pages.Clean(c.GivenName+" "+c.FamilyName)), " "), err
}

// eraseSheet says what goes, what stays and why, and asks for her name.
func (v *visit) eraseSheet() (*sheet, error) {
	path, name, err := v.toErase()
	if err != nil {
		return nil, err
	}
	hit, _, err := tagged[api.ErasureBody](v, path+"/erasure")
	if err != nil {
		return nil, err
	}
	s := &sheet{Frame: v.site.Frame(v.c, v.salon, "/clients", "Erase a client"), Trail: []link{{Href: "/clients", Text: "Clients"}, {Href: path, Text: name}}}
	s.Frame.Sub = v.salon.Location.String()
	s.Parts = append(s.Parts, goesPart(hit), staysPart(hit))
	if hit.Coming > 0 {
		s.Parts = append(s.Parts, part{ID: "erase", Title: "This cannot be done yet", Text: []string{
			countWords(hit.Coming, "visit") + " of hers " + isAre(hit.Coming) + " pencilled, booked or going on. Cancel or finish what is still to come first."},
			Links: []link{{Href: path, Text: "Her visits"}}})
		return s, nil
	}
	s.Parts = append(s.Parts, part{ID: "erase", Title: "Erase her", Text: []string{"Nobody can take this back. If she wants to have what is kept about her, hand it out first."},
		Links: []link{{Href: path, Text: "Go back and leave everything as it is"}},
		Forms: []form{{ID: "erase", Action: path + "/erase", Hidden: []hidden{key(), version(fmt.Sprintf(`"v%d"`, hit.Version))}, Fields: []pages.Field{
			pages.Input("erase-name", "Her name, once more", "Type “"+name+"”, so that nobody else is erased by mistake", "text", "")},
			Buttons: save("Erase everything about her, for good")}}})
	return s, nil
}

func goesPart(hit api.ErasureBody) part {
	p := part{ID: "goes", Title: "What goes, for good"}
	add := func(text string) { p.List = append(p.List, link{Text: text}) }
	add("Her name, telephone number, mail address and what is good to know of her; her guardian’s, too")
	add("Her hair, as it was measured and told, and every estimate and quote that is for her alone")
	for _, x := range []struct {
		n         int
		what, and string
	}{{hit.Screenings, "consultation", ""}, {hit.Cards, "record card", ""}, {hit.Messages, "message", " about her visits"},
		{hit.Links, "link", " to her own pages, which lead nowhere from then on"}, {hit.Feeds, "calendar", " that she subscribes to, which end"}, {hit.Waiting, "waiting-list request", ""}} {
		if x.n > 0 {
			add(countWords(x.n, x.what) + x.and)
		}
	}
	add("What she agreed to, tests of skin and hair, reactions, and what was let begin without")
	return p
}

func staysPart(hit api.ErasureBody) part {
	p := part{ID: "stays", Title: "What stays, and why"}
	add := func(text, why string) { p.List = append(p.List, link{Text: text, More: why}) }
	if hit.Visits > 0 {
		add(countWords(hit.Visits, "visit")+" without her name: time, services, price, money and who worked", "accounts have to add up, and the day has to stay as it was")
	}
	add("That somebody was erased, when and by whom, with a number in place of her name", "so that she is erased once more from a backup that is read back")
	add("Who changed or read what, with that number and without what it said", "nobody may remove lines of it")
	add("Backups from before", "they hold her until they are overwritten; whoever reads one back has her erased again before the service starts")
	add("What is out of reach", "messages in her own mailbox, calendars on her telephone, paper, and words about her in somebody else’s notes: look for those yourself")
	return p
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// erase takes her away once her name was typed.
func (v *visit) erase() (answer, error) {
	path, name, err := v.toErase()
	if err != nil {
		return answer{}, err
	}
	typed := strings.Join(strings.Fields(pages.Clean(v.typed("name"))), " ")
	if !strings.EqualFold(typed, name) {
		var f faults
		f.add(v, "name", "That is not her name. Right is “"+name+"”.")
		return answer{}, f
	}
	_, err = v.ask(http.MethodPost, path+"/erase", nil, nil)
	return answer{to: "/clients?done=erased"}, err
}
