package owner

import (
	"fmt"
	"net/http"
	"strconv"
	"strings"
	"time"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) datedWeekPages() {
	const all, one = "/set-up/people/:id/weeks", "/set-up/people/:id/weeks/:rota"
	p.get(all, "add-staff-rota", (*visit).weeksSheet)
	p.post(all, "add-staff-rota", (*visit).saveWeeks, (*visit).weeksSheet)
	p.get(one, "set-staff-rota", (*visit).weeksSheet)
	p.post(one, "set-staff-rota", (*visit).saveWeeks, (*visit).weeksSheet)
	p.post(one+"/end", "set-staff-rota", (*visit).endWeeks, (*visit).weeksSheet)
	p.post(one+"/gone", "delete-staff-rota", (*visit).takeWeeksBack, (*visit).weeksSheet)
}

// mostTurns is how many weeks may take turns, as the interface says.
const mostTurns = 4

var (
	turnNames  = []string{"First week", "Second week", "Third week", "Fourth week"}
	turnCounts = []string{"The same every week", "Two weeks in turn", "Three weeks in turn", "Four weeks in turn"}
)

func personPath(id string) string { return "/set-up/people/" + id }

// weeksPart lists the weeks of a person that hold by date.
func (v *visit) weeksPart(id string) (part, error) {
	p := part{ID: "weeks", Title: "Other weeks from a date on", Text: []string{"They hold instead of the working week: from a day on, or between two days. Two to four weeks can take turns."}}
	list, _, err := tagged[struct{ Items []api.DatedRotaBody }](v, api.Path("staff", id, "rotas"))
	if err != nil {
		return p, err
	}
	t := table{Caption: "Other weeks from a date on", Head: heads("When", "Hours")}
	for _, r := range list.Items {
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: rotaDates(r), Href: personPath(id) + "/weeks/" + r.ID}, {Text: rotaHours(r), More: rotaMore(r)}}})
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	for i, words := range turnCounts {
		p.Links = append(p.Links, link{Href: fmt.Sprintf("%s/weeks?turns=%d", personPath(id), i+1), Text: "Add: " + strings.ToLower(words[:1]) + words[1:]})
	}
	return p, nil
}

// rotaDates says when weeks hold.
func rotaDates(r api.DatedRotaBody) string {
	if r.Last == "" {
		return "from " + dayWords(r.First) + " until further notice"
	}
	return "from " + dayWords(r.First) + " to " + dayWords(r.Last)
}

// rotaHours says the weeks in one line.
func rotaHours(r api.DatedRotaBody) string {
	if len(r.Weeks) == 1 {
		return weekWords(r.Weeks[0].Work)
	}
	out := turnCounts[len(r.Weeks)-1] + "."
	for i, w := range r.Weeks {
		out += fmt.Sprintf(" %s: %s.", turnNames[i], weekWords(w.Work))
	}
	return out
}

// rotaMore says which week is the first one, and the breaks.
func rotaMore(r api.DatedRotaBody) string {
	var out []string
	if len(r.Weeks) > 1 {
		out = append(out, "the first week is that from "+dayWords(mondayOf(r.First)))
	}
	for i, w := range r.Weeks {
		if len(w.Breaks) == 0 {
			continue
		}
		words := "breaks " + weekWords(w.Breaks)
		if len(r.Weeks) > 1 {
			words += " in the " + strings.ToLower(turnNames[i])
		}
		out = append(out, words)
	}
	return strings.Join(out, "; ")
}

// mondayOf is the first day of the week of a date; what is none stays as it is.
func mondayOf(day string) string {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		return day
	}
	return t.AddDate(0, 0, -(int(t.Weekday())+6)%7).Format(time.DateOnly)
}

// turns is how many weeks the form has: what it was sent with, what the address
// asks for, or as many as there are.
func (v *visit) turns(there int) int {
	for _, x := range []string{v.form.Get("turns"), v.c.QueryParam("turns")} {
		if n, err := strconv.Atoi(x); err == nil && n >= 1 && n <= mostTurns {
			return n
		}
	}
	return max(there, 1)
}

// weeksSheet shows weeks by date, or a form for new ones, which begins with the
// working week.
func (v *visit) weeksSheet() (*sheet, error) {
	id, rota := v.c.Param("id"), v.c.Param("rota")
	x, _, err := tagged[api.StaffBody](v, api.Path("staff", id))
	if err != nil {
		return nil, err
	}
	var r api.DatedRotaBody
	var tag string
	if rota != "" {
		r, tag, err = tagged[api.DatedRotaBody](v, api.Path("staff", id, "rotas", rota))
	} else {
		var week api.StaffHoursBody
		week, _, err = tagged[api.StaffHoursBody](v, api.Path("staff", id, "hours"))
		r.Weeks = []api.RotaWeekBody{{Work: week.Work, Breaks: week.Breaks}}
	}
	if err != nil {
		return nil, err
	}
	here := personPath(id) + "/weeks"
	title := x.Name + ": other weeks from a date on"
	if rota != "" {
		here += "/" + rota
		title = x.Name + " " + rotaDates(r)
	}
	s := v.sheet(title, link{Href: "/set-up/people", Text: "People"}, link{Href: personPath(id), Text: x.Name})
	n := v.turns(len(r.Weeks))
	p := part{ID: "weeks", Title: turnCounts[n-1], Forms: []form{weeksForm(here, r, n, tag)}}
	for i, words := range turnCounts {
		if i+1 != n {
			p.Links = append(p.Links, link{Href: fmt.Sprintf("%s?turns=%d", here, i+1), Text: words + " instead"})
		}
	}
	s.Parts = append(s.Parts, p)
	if rota != "" {
		s.Parts = append(s.Parts, part{ID: "end", Title: "When they end", Text: []string{"Afterwards the working week holds again."}, Forms: []form{
			{ID: "end", Action: here + "/end", Hidden: []hidden{version(tag)}, Fields: []pages.Field{pages.Input("end-last", "Last day", "Included", "date", r.Last)}, Buttons: []button{{Text: "End them then"}}},
			press("gone", here+"/gone", "Take them back", "altogether"),
		}})
	}
	return s, nil
}

// weeksForm asks for dates and n weeks.
func weeksForm(action string, r api.DatedRotaBody, n int, tag string) form {
	f := form{ID: "weeks", Action: action, Hidden: []hidden{{"turns", strconv.Itoa(n)}}, Fields: []pages.Field{
		pages.Input("weeks-first", "From day", "", "date", r.First),
		pages.Input("weeks-last", "To day", "Included; empty: until further notice", "date", r.Last),
	}, Buttons: save("Save these weeks")}
	if tag != "" {
		f.Hidden = append(f.Hidden, version(tag))
	} else {
		f.Hidden = append(f.Hidden, key())
	}
	if n > 1 {
		f.Text = []string{"The first week is that, Monday to Sunday, in which the first day lies. After the last one the first comes again."}
	}
	for i := range n {
		w := r.Weeks[i%len(r.Weeks)]
		g, b := group{Legend: "At work"}, group{Fold: "Breaks"}
		if n > 1 {
			g.Legend, b.Fold = turnNames[i], turnNames[i]+": breaks"
		}
		g.Fields = weekFields("weeks", fmt.Sprintf("work%d", i+1), w.Work)
		b.Fields, b.Open = weekFields("weeks", fmt.Sprintf("break%d", i+1), w.Breaks), len(w.Breaks) > 0
		f.Groups = append(f.Groups, g, b)
	}
	return f
}

func (v *visit) saveWeeks() (answer, error) {
	id, rota := v.c.Param("id"), v.c.Param("rota")
	var f faults
	b := api.DatedRotaBody{First: v.typed("first"), Last: v.typed("last")}
	if b.First == "" {
		f.add(v, "first", "No day is named. Right is the first day on which these weeks hold.")
	}
	for i := range v.turns(1) {
		at := fmt.Sprintf("/weeks/%d", i)
		b.Weeks = append(b.Weeks, api.RotaWeekBody{Work: v.readWeek(fmt.Sprintf("work%d", i+1), at+"/work", &f), Breaks: v.readWeek(fmt.Sprintf("break%d", i+1), at+"/breaks", &f)})
	}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	v.at["/first_date"], v.at["/last_date"] = v.name("first"), v.name("last")
	return v.unlessHit("Other weeks from a date on", api.ChangeRequest{Weeks: &api.WeeksChange{StaffID: id, RotaID: rota, Rota: &b}}, true, func() (answer, error) {
		method, path := http.MethodPost, api.Path("staff", id, "rotas")
		if rota != "" {
			method, path = http.MethodPut, api.Path("staff", id, "rotas", rota)
		}
		_, err := v.ask(method, path, b, nil)
		return answer{to: personPath(id) + "?done=weeks#weeks"}, err
	})
}

func (v *visit) endWeeks() (answer, error) {
	id, rota := v.c.Param("id"), v.c.Param("rota")
	b, _, err := tagged[api.DatedRotaBody](v, api.Path("staff", id, "rotas", rota))
	if err != nil {
		return answer{}, err
	}
	if b.Last = v.typed("last"); b.Last == "" {
		var f faults
		f.add(v, "last", "No day is named. Right is the last day on which these weeks hold.")
		return answer{}, f
	}
	v.at["/last_date"] = v.name("last")
	return v.unlessHit("The end of these weeks", api.ChangeRequest{Weeks: &api.WeeksChange{StaffID: id, RotaID: rota, Rota: &b}}, true, func() (answer, error) {
		_, err := v.ask(http.MethodPut, api.Path("staff", id, "rotas", rota), b, nil)
		return answer{to: personPath(id) + "?done=weeks#weeks"}, err
	})
}

func (v *visit) takeWeeksBack() (answer, error) {
	id, rota := v.c.Param("id"), v.c.Param("rota")
	return v.unlessHit("Weeks taken back", api.ChangeRequest{Weeks: &api.WeeksChange{StaffID: id, RotaID: rota}}, true, func() (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("staff", id, "rotas", rota), nil, nil)
		return answer{to: personPath(id) + "?done=weeksback#weeks"}, err
	})
}
