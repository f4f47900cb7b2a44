package owner

import (
	"cmp"
	"net/http"
	"time"

	"github.com/rickb777/date"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/scheduling"
)

func (p page) accessPages() {
	p.get("/set-up/access", "list-tokens", (*visit).accessSheet)
	p.post("/set-up/access/feeds", "add-feed", (*visit).addFeed, (*visit).accessSheet)
	p.post("/set-up/access/feeds/rotate", "rotate-feed", (*visit).rotateFeed, (*visit).accessSheet)
	p.post("/set-up/access/feeds/end", "revoke-feed", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("feeds", v.form.Get("id")), nil, nil)
		return answer{to: "/set-up/access?done=ended#feeds"}, err
	}, (*visit).accessSheet)
	p.post("/set-up/access/tokens", "add-token", (*visit).addToken, (*visit).accessSheet)
	p.post("/set-up/access/tokens/end", "revoke-token", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("tokens", v.form.Get("id")), nil, nil)
		return answer{to: "/set-up/access?done=ended#tokens"}, err
	}, (*visit).accessSheet)
}

func (v *visit) accessSheet() (*sheet, error) {
	feeds, _, err := tagged[struct{ Items []api.FeedBody }](v, "/feeds")
	if err != nil {
		return nil, err
	}
	tokens, _, err := tagged[struct{ Items []api.TokenBody }](v, "/tokens")
	if err != nil {
		return nil, err
	}
	names, units, err := v.unitNames()
	if err != nil {
		return nil, err
	}
	staff, err := v.staff()
	if err != nil {
		return nil, err
	}
	s := v.sheet("Calendars and tokens")
	s.Parts = append(s.Parts, v.feedsPart(feeds.Items, names, units), v.tokensPart(tokens.Items, names, staff),
		part{Title: "People who sign in", Links: []link{{Href: "/set-up/sign-in", Text: "Who signs in, and with what"}}})
	return s, nil
}

// moment says when something was, by the salon's clock.
func (v *visit) moment(t *time.Time, none string) string {
	if t == nil {
		return none
	}
	return t.In(v.salon.Location).Format("2 January 2006 15:04")
}

func (v *visit) feedsPart(list []api.FeedBody, names map[string]string, units []pages.Option) part {
	p := part{ID: "feeds", Title: "Calendar addresses", Text: []string{"Whoever has an address can read that calendar. The address itself is shown only when it is made or changed."}}
	t := table{Caption: "Calendar addresses", Head: heads("Whose", "What for", "Made or changed", "Last read", "")}
	for _, f := range list {
		if f.Revoked != nil {
			continue
		}
		whose := cmp.Or(names[f.Subject], map[string]string{"salon": "the whole salon", "client": "a client"}[f.Kind], "somebody who left")
		made := &f.Created
		if f.Rotated != nil {
			made = f.Rotated
		}
		about := whose
		if f.Label != "" {
			about += ", " + f.Label
		}
		t.Rows = append(t.Rows, row{Cells: texts(whose, f.Label, v.moment(made, ""), v.moment(f.LastUsed, "never")), Forms: []form{
			press("rotate", "/set-up/access/feeds/rotate", "Change the address", "of "+about, hidden{"id", f.ID}),
			press("endfeed", "/set-up/access/feeds/end", "End it", about, hidden{"id", f.ID}),
		}})
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	p.Forms = []form{{ID: "feed", Action: "/set-up/access/feeds", Hidden: []hidden{key()}, Legend: "One more", Fields: []pages.Field{
		pages.Select("feed-subject_id", "Whose calendar", "", "", units, "the whole salon"),
		pages.Input("feed-label", "What for", "Such as whose phone; shown in this list only", "text", ""),
	}, Buttons: save("Make an address")}}
	return p
}

func (v *visit) addFeed() (answer, error) {
	b := api.FeedBody{Kind: "salon", Subject: v.typed("subject_id"), Label: v.typed("label")}
	if b.Subject != "" {
		staff, err := v.staff()
		if err != nil {
			return answer{}, err
		}
		b.Kind = "station"
		for _, p := range staff {
			if p.ID == b.Subject {
				b.Kind = "staff"
			}
		}
	}
	var f api.FeedBody
	if _, err := v.ask(http.MethodPost, "/feeds", b, &f); err != nil {
		return answer{}, err
	}
	return v.feedOnce("A calendar address", f), nil
}

func (v *visit) rotateFeed() (answer, error) {
	var f api.FeedBody
	if _, err := v.ask(http.MethodPost, api.Path("feeds", v.form.Get("id"), "rotate"), nil, &f); err != nil {
		return answer{}, err
	}
	return v.feedOnce("The changed calendar address", f), nil
}

// feedOnce shows an address for the only time.
func (v *visit) feedOnce(title string, f api.FeedBody) answer {
	a := v.once(title, f.URL, "Phones and computers subscribe to it:", "/set-up/access#feeds", link{Href: "/set-up/access", Text: "Calendars and tokens"})
	if f.URL == "" { // is in use already, see once
		return a
	}
	p := &a.sheet.Parts[0]
	p.Links = append([]link{{Href: f.Page, Text: "A page that helps to subscribe", More: "as secret as the address"}}, p.Links...)
	if f.FreeBusy != "" {
		p.Pre = append(p.Pre, f.FreeBusy+"\n(only when busy, without saying with what)")
	}
	return a
}

func (v *visit) tokensPart(list []api.TokenBody, names map[string]string, staff []api.StaffBody) part {
	p := part{ID: "tokens", Title: "Tokens", Text: []string{"A token lets another program act for the salon."}}
	t := table{Caption: "Tokens", Head: heads("What for", "May do", "Whose", "Made", "Last used", "")}
	for _, k := range list {
		if k.Revoked != nil {
			continue
		}
		used := v.moment(k.LastUsed, "never")
		if k.Expires != nil {
			used += "; ends " + v.moment(k.Expires, "")
		}
		t.Rows = append(t.Rows, row{Cells: texts(cmp.Or(k.Label, "nobody noted"), roleOfToken[k.Role], names[k.StaffID], v.moment(&k.Created, ""), used),
			Forms: []form{press("endtoken", "/set-up/access/tokens/end", "End it", cmp.Or(k.Label, roleOfToken[k.Role]), hidden{"id", k.ID})}})
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	var people []pages.Option
	for _, x := range staff {
		people = append(people, pages.Option{ID: x.ID, Name: x.Name})
	}
	p.Forms = []form{{ID: "token", Action: "/set-up/access/tokens", Hidden: []hidden{key()}, Legend: "One more", Fields: []pages.Field{
		pages.Input("token-label", "What for", "", "text", ""),
		pages.Select("token-role", "May do", "", "desk", options("owner", roleOfToken["owner"], "desk", roleOfToken["desk"], "lead", roleOfToken["lead"], "assistant", roleOfToken["assistant"]), ""),
		pages.Select("token-staff_id", "Whose", "A stylist's own token shows her what is hers", "", people, "nobody's own"),
		pages.Input("token-expires", "Ends after", "The last day; empty: until it is ended", "date", ""),
	}, Buttons: save("Make a token")}}
	return p
}

var roleOfToken = map[string]string{"owner": "everything", "desk": "what the front desk does", "lead": "what a stylist in charge does", "assistant": "what an assistant does"}

func (v *visit) addToken() (answer, error) {
	b := api.TokenBody{Role: v.typed("role"), StaffID: v.typed("staff_id"), Label: v.typed("label")}
	v.at["/expires_at"] = v.name("expires")
	if text := v.typed("expires"); text != "" {
		d, err := date.Parse(time.DateOnly, text)
		if err != nil {
			var f faults
			f.add(v, "expires", "“"+text+"” is not a date.")
			return answer{}, f
		}
		_, end := scheduling.DayBounds(v.salon.Location, d)
		b.Expires = &end
	}
	var k api.TokenBody
	if _, err := v.ask(http.MethodPost, "/tokens", b, &k); err != nil {
		return answer{}, err
	}
	return v.once("A token", k.Token, "The other program sends it in the header Authorization, after the word Bearer.", "/set-up/access#tokens", link{Href: "/set-up/access", Text: "Calendars and tokens"}), nil
}
