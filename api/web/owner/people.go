package owner

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/rickb777/date"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/scheduling"
)

func (p page) peoplePages() {
	p.get("/set-up/people", "add-staff", (*visit).peopleSheet)
	p.post("/set-up/people", "add-staff", addPerson("/set-up/people?done=added"), (*visit).peopleSheet)
	p.get("/set-up/people/:id", "update-staff", (*visit).personSheet)
	p.post("/set-up/people/:id", "update-staff", (*visit).savePerson, (*visit).personSheet)
	p.post("/set-up/people/:id/hours", "set-staff-hours", (*visit).savePersonWeek, (*visit).personSheet)
	p.post("/set-up/people/:id/absence", "add-absence", func(v *visit) (answer, error) {
		return v.addAbsence(v.c.Param("id"), "/set-up/people/"+v.c.Param("id")+"?done=away#absences")
	}, (*visit).personSheet)
	p.post("/set-up/people/:id/back", "delete-absence", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("absences", v.form.Get("id")), nil, nil)
		return answer{to: "/set-up/people/" + v.c.Param("id") + "?done=back#absences"}, err
	}, (*visit).personSheet)
	p.post("/set-up/people/:id/leave", "delete-staff", (*visit).personLeaves, (*visit).personSheet)
}

func (v *visit) staff() ([]api.StaffBody, error) {
	list, _, err := tagged[struct{ Items []api.StaffBody }](v, "/staff")
	return slices.DeleteFunc(list.Items, func(p api.StaffBody) bool { return !p.Active }), err
}

func (v *visit) services() ([]api.ServiceBody, error) {
	list, _, err := tagged[struct{ Items []api.ServiceBody }](v, "/services")
	return list.Items, err
}

func (v *visit) peopleSheet() (*sheet, error) {
	s := v.sheet("People")
	state, _, err := tagged[api.SetUpBody](v, "/set-up")
	if err != nil {
		return nil, err
	}
	staff, err := v.staff()
	if err != nil {
		return nil, err
	}
	services, err := v.services()
	if err != nil {
		return nil, err
	}
	p := v.peoplePart(staff, state.Hours, services)
	p.Title = ""
	p.Forms[0].Action, p.Forms[0].Fold = "/set-up/people", ""
	s.Parts = append(s.Parts, p)
	return s, nil
}

// peoplePart is who works here, and a form for one more.
func (v *visit) peoplePart(staff []api.StaffBody, weeks []api.StaffWeekBody, services []api.ServiceBody) part {
	p := part{ID: "people", Title: "People"}
	t := table{Caption: "People", Head: heads("Name", "Role", "Skills", "Working hours")}
	for _, x := range staff {
		hours := "none yet"
		for _, w := range weeks {
			if w.StaffID == x.ID {
				hours = weekWords(w.Work)
				if w.ByDate {
					hours += "; other hours by date"
				}
			}
		}
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: x.Name, More: x.Initials, Href: "/set-up/people/" + x.ID}, {Text: roleWords(x.MayLead)},
			{Text: skillWords(x.Skills)}, {Text: hours}}})
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	f := form{ID: "person", Action: "/set-up/people/add", Hidden: []hidden{key()}, Fields: personFields("person", api.StaffBody{Skills: []string{}}, services),
		Buttons: save("Add this person")}
	if len(t.Rows) > 0 {
		f.Fold = "Add a person"
	} else {
		f.Fields[2].Checked = true // the first one is in charge
	}
	f.Fields = append(f.Fields, pages.Tick("person-whenever", "Works whenever the salon is open", "Other hours can be set afterwards", true))
	p.Forms = []form{f}
	return p
}

func roleWords(mayLead bool) string {
	if mayLead {
		return "in charge of visits"
	}
	return "assistant"
}

func skillWords(list []string) string {
	if len(list) == 0 {
		return "—"
	}
	return strings.ReplaceAll(strings.Join(list, ", "), "_", " ")
}

// personFields are what is asked of everybody.
func personFields(id string, x api.StaffBody, services []api.ServiceBody) []pages.Field {
	skills := skillsOf(services)
	var other []string
	for _, k := range x.Skills {
		if !slices.Contains(skills, k) {
			other = append(other, k)
		}
	}
	var list []pages.Option
	for _, k := range skills {
		list = append(list, pages.Option{ID: k, Name: strings.ReplaceAll(k, "_", " ")})
	}
	out := []pages.Field{
		pages.Input(id+"-name", "Name", "", "text", x.Name),
		pages.Input(id+"-initials", "Initials", "Short, for the board", "text", x.Initials),
		pages.Tick(id+"-may_lead", "May be in charge of a visit", "Licensed; otherwise an assistant", x.MayLead),
	}
	if len(list) > 0 {
		out = append(out, pages.Several(id+"-skills", "Skills", x.Skills, list))
	}
	return append(out, pages.Input(id+"-other", "Other skills", "With commas between them", "text", strings.ReplaceAll(strings.Join(other, ", "), "_", " ")))
}

// skillsOf are the skills that services ask for, each once.
func skillsOf(services []api.ServiceBody) []string {
	var out []string
	for _, x := range services {
		if x.Skill != "" && !slices.Contains(out, x.Skill) {
			out = append(out, x.Skill)
		}
	}
	return out
}

// personTyped reads personFields over what the person was.
func (v *visit) personTyped(b api.StaffBody) api.StaffBody {
	b.Name, b.Initials, b.MayLead = v.typed("name"), v.typed("initials"), v.ticked("may_lead")
	b.Skills = v.list("skills")
	for i := range b.Skills {
		v.at[fmt.Sprintf("/skills/%d", i)] = v.name("skills")
	}
	for k := range strings.SplitSeq(v.typed("other"), ",") {
		if k = strings.ReplaceAll(strings.ToLower(strings.TrimSpace(k)), " ", "_"); k != "" && !slices.Contains(b.Skills, k) {
			v.at[fmt.Sprintf("/skills/%d", len(b.Skills))] = v.name("other")
			b.Skills = append(b.Skills, k)
		}
	}
	return b
}

// addPerson adds a person and leads to a page.
func addPerson(to string) act {
	return func(v *visit) (answer, error) {
		x := api.NewStaffBody{StaffBody: v.personTyped(api.StaffBody{}), OpenHours: v.ticked("whenever")}
		_, err := v.ask(http.MethodPost, "/staff", x, nil)
		return answer{to: to}, err
	}
}

func (v *visit) personSheet() (*sheet, error) {
	id := v.c.Param("id")
	x, tag, err := tagged[api.StaffBody](v, api.Path("staff", id))
	if err != nil {
		return nil, err
	}
	week, weekTag, err := tagged[api.StaffHoursBody](v, api.Path("staff", id, "hours"))
	if err != nil {
		return nil, err
	}
	services, err := v.services()
	if err != nil {
		return nil, err
	}
	away, err := v.absencesPart(id, "/set-up/people/"+id)
	if err != nil {
		return nil, err
	}
	weeks, err := v.weeksPart(id)
	if err != nil {
		return nil, err
	}
	days, err := v.daysPart(id)
	if err != nil {
		return nil, err
	}
	ahead, err := v.aheadPart(id)
	if err != nil {
		return nil, err
	}
	s := v.sheet(x.Name, link{Href: "/set-up/people", Text: "People"})
	here := "/set-up/people/" + id
	fields := append(personFields("person", x, services),
		pages.Input("person-mail", "Mail", "For messages about her own day", "email", x.Mail),
		pages.Number("person-changeover_minutes", "Minutes kept free between two clients", "0 is usual", fmt.Sprint(x.Changeover)))
	fields = append(fields, pages.Several("person-leaves_out", "Does not do these steps (nobody is asked why)", x.LeavesOut, kindOptions(services, x.LeavesOut)))
	s.Parts = append(s.Parts,
		part{ID: "person", Title: "Who", Forms: []form{{ID: "person", Action: here, Hidden: []hidden{version(tag)}, Fields: fields, Buttons: save("Save")}}},
		part{ID: "hours", Title: "Working week", Text: []string{"It holds on every day for which nothing else is noted below."}, Forms: []form{{ID: "hours", Action: here + "/hours", Hidden: []hidden{version(weekTag)}, Groups: []group{
			{Legend: "At work", Fields: weekFields("hours", "work", week.Work)},
			{Legend: "Breaks", Text: []string{"No visit uses her then."}, Fields: weekFields("hours", "break", week.Breaks)},
		}, Buttons: save("Save the working week")}}},
		weeks, days, ahead, away, v.leavePart(x, tag))
	return s, nil
}

// kindOptions are the steps that services have, those of keep among them.
func kindOptions(services []api.ServiceBody, keep []string) []pages.Option {
	var out []pages.Option
	seen := map[string]bool{}
	for _, x := range services {
		for _, st := range x.Steps {
			if !seen[st.Kind] {
				seen[st.Kind] = true
				out = append(out, pages.Option{ID: st.Kind, Name: st.Label})
			}
		}
	}
	for _, k := range keep {
		if !seen[k] {
			out = append(out, pages.Option{ID: k, Name: scheduling.StepKind(k).Words()})
		}
	}
	return out
}

func (v *visit) savePerson() (answer, error) {
	id := v.c.Param("id")
	x, _, err := tagged[api.StaffBody](v, api.Path("staff", id))
	if err != nil {
		return answer{}, err
	}
	var f faults
	b := v.personTyped(x)
	b.Mail, b.Changeover, b.LeavesOut = v.typed("mail"), v.must("changeover_minutes", &f), v.list("leaves_out")
	if err := f.err(); err != nil {
		return answer{}, err
	}
	return v.unlessHit(x.Name+": what changes", api.ChangeRequest{Staff: &api.StaffChange{StaffID: id, Person: b}}, true, func() (answer, error) {
		_, err := v.ask(http.MethodPut, api.Path("staff", id), b, nil)
		return answer{to: "/set-up/people/" + id + "?done=saved"}, err
	})
}

func (v *visit) savePersonWeek() (answer, error) {
	id := v.c.Param("id")
	var f faults
	week := api.StaffHoursBody{Work: v.readWeek("work", "/work", &f), Breaks: v.readWeek("break", "/breaks", &f)}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	return v.unlessHit("Another working week", api.ChangeRequest{StaffHours: &api.StaffHoursChange{StaffID: id, Week: week}}, true, func() (answer, error) {
		_, err := v.ask(http.MethodPut, api.Path("staff", id, "hours"), week, nil)
		return answer{to: "/set-up/people/" + id + "?done=week#hours"}, err
	})
}

// leavePart is the end of somebody's work: away from a day on, and off the staff
// once no visit needs her.
func (v *visit) leavePart(x api.StaffBody, tag string) part {
	p := part{ID: "leave", Title: "When " + x.Name + " leaves", Text: []string{
		"With a last day, nothing is booked with her afterwards. Off the staff she is taken once no visit needs her any more; her records stay."}}
	if !x.Active {
		p.Text = []string{x.Name + " is not on the staff any more."}
		return p
	}
	p.Forms = []form{
		{ID: "last", Action: "/set-up/people/" + x.ID + "/leave", Hidden: []hidden{version(tag), key()},
			Fields: []pages.Field{pages.Input("last-day", "Last day", "", "date", "")}, Buttons: []button{{Text: "Book nothing after it"}}},
		press("leave", "/set-up/people/"+x.ID+"/leave", "Take off the staff", x.Name, version(tag)),
	}
	return p
}

func (v *visit) personLeaves() (answer, error) {
	id := v.c.Param("id")
	if v.form.Get("form") == "leave" {
		return v.unlessHit("Off the staff", api.ChangeRequest{Gone: id}, false, func() (answer, error) {
			_, err := v.ask(http.MethodDelete, api.Path("staff", id), nil, nil)
			return answer{to: "/set-up/people?done=removed"}, err
		})
	}
	last, err := date.Parse(time.DateOnly, v.typed("day"))
	if err != nil {
		var f faults
		f.add(v, "day", "No day is named. Right is the last day of work.")
		return answer{}, f
	}
	_, from := scheduling.DayBounds(v.salon.Location, last)
	a := api.AbsenceBody{Unit: id, From: from, To: from.AddDate(1, 0, 0), Reason: "leaves the salon"}
	for _, end := range []string{"from", "to"} {
		v.at["/"+end], v.at["/absence/"+end] = v.name("day"), v.name("day")
	}
	return v.unlessHit("A last day", api.ChangeRequest{Absence: &a}, true, func() (answer, error) {
		_, err := v.ask(http.MethodPost, "/absences", a, nil)
		return answer{to: "/set-up/people/" + id + "?done=away#absences"}, err
	})
}
