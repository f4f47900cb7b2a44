package owner

import (
	"fmt"
	"net/http"
	"strings"
	"time"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) singleDayPages() {
	const all, one = "/set-up/people/:id/days", "/set-up/people/:id/days/:date"
	p.post(all, "add-single-day", (*visit).saveDay, (*visit).personSheet)
	p.get(one, "set-single-day", (*visit).daySheet)
	p.post(one, "set-single-day", (*visit).saveDay, (*visit).daySheet)
	p.post(one+"/gone", "delete-single-day", (*visit).takeDayBack, (*visit).daySheet)
}

// daysPart lists the dates of a person that have hours of their own, with a form
// for one more.
func (v *visit) daysPart(id string) (part, error) {
	p := part{ID: "days", Title: "Single days", Text: []string{"An extra day, other hours on one date, or a day off. It comes before every week."}}
	list, _, err := tagged[struct{ Items []api.SingleDayBody }](v, api.Path("staff", id, "single-days"))
	if err != nil {
		return p, err
	}
	t := table{Caption: "Single days", Head: heads("Day", "Hours", "")}
	for _, d := range list.Items {
		c := cell{Text: oneDay(d.Work)}
		if len(d.Work) == 0 {
			c.Text = "does not work"
		} else if len(d.Breaks) > 0 {
			c.More = "break " + oneDay(d.Breaks)
		}
		if d.Shut {
			c.More = strings.TrimPrefix(c.More+"; "+notOpen, "; ")
		}
		here := personPath(id) + "/days/" + d.Date
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: dayWords(d.Date), Href: here}, c},
			Forms: []form{press("gone", here+"/gone", "Take back", dayWords(d.Date))}})
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	fields := append([]pages.Field{pages.Input("day-date", "Day", "", "date", "")}, dayFields(api.SingleDayBody{})...)
	p.Forms = []form{{ID: "day", Action: personPath(id) + "/days", Hidden: []hidden{key()}, Legend: "One more", Fields: fields, Buttons: save("Note the day")}}
	return p, nil
}

func dayFields(d api.SingleDayBody) []pages.Field {
	return []pages.Field{
		pages.Input("day-work", "At work", "Such as 09:00–18:00; empty: does not work on that day", "text", oneDay(d.Work)),
		pages.Input("day-breaks", "Breaks", "No visit uses her then", "text", oneDay(d.Breaks)),
	}
}

// oneDay says the windows of one day.
func oneDay(list []api.DayWindowBody) string {
	var out []string
	for _, w := range list {
		out = append(out, w.From+"–"+midnight(w.To))
	}
	return strings.Join(out, ", ")
}

func (v *visit) daySheet() (*sheet, error) {
	id, date := v.c.Param("id"), v.c.Param("date")
	x, _, err := tagged[api.StaffBody](v, api.Path("staff", id))
	if err != nil {
		return nil, err
	}
	d, tag, err := tagged[api.SingleDayBody](v, api.Path("staff", id, "single-days", date))
	if err != nil {
		return nil, err
	}
	s := v.sheet(x.Name+" on "+dayWords(date), link{Href: "/set-up/people", Text: "People"}, link{Href: personPath(id), Text: x.Name})
	here := personPath(id) + "/days/" + date
	s.Parts = append(s.Parts, part{ID: "day", Forms: []form{
		{ID: "day", Action: here, Hidden: []hidden{version(tag)}, Fields: dayFields(d), Buttons: save("Save the day")},
		press("gone", here+"/gone", "Take back", "so that her week holds"),
	}})
	return s, nil
}

// readOne reads the windows of one day; pointer is where the interface has them.
func (v *visit) readOne(field, pointer string, f *faults) []api.DayWindowBody {
	out := []api.DayWindowBody{}
	list, ok := readDay(v.typed(field))
	if !ok {
		f.add(v, field, fmt.Sprintf("“%s” cannot be read. Right is 09:00–18:00, or several with commas between them.", v.typed(field)))
	}
	for _, w := range list {
		out = append(out, api.DayWindowBody{From: w[0], To: w[1]})
	}
	v.at[pointer] = v.name(field)
	return out
}

func (v *visit) saveDay() (answer, error) {
	id, date := v.c.Param("id"), v.c.Param("date")
	var f faults
	d := api.SingleDayBody{Date: date, Work: v.readOne("work", "/work", &f), Breaks: v.readOne("breaks", "/breaks", &f)}
	if date == "" {
		if d.Date = v.typed("date"); d.Date == "" {
			f.add(v, "date", "No day is named. Right is a date.")
		}
	}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	v.at["/date"] = v.name("date")
	do := func() (answer, error) {
		method, path := http.MethodPost, api.Path("staff", id, "single-days")
		if date != "" {
			method, path = http.MethodPut, api.Path("staff", id, "single-days", date)
		}
		_, err := v.ask(method, path, d, nil)
		return answer{to: personPath(id) + "?done=day#days"}, err
	}
	return v.unlessHit("Other hours on "+dayWords(d.Date), api.ChangeRequest{SingleDay: &api.SingleDayChange{StaffID: id, Day: &d}}, true, do)
}

func (v *visit) takeDayBack() (answer, error) {
	id, date := v.c.Param("id"), v.c.Param("date")
	return v.unlessHit("A day taken back", api.ChangeRequest{SingleDay: &api.SingleDayChange{StaffID: id, Gone: date}}, true, func() (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("staff", id, "single-days", date), nil, nil)
		return answer{to: personPath(id) + "?done=dayback#days"}, err
	})
}

// aheadPart is when a person works in the next four weeks, whatever it comes from.
func (v *visit) aheadPart(id string) (part, error) {
	p := part{ID: "ahead", Title: "The next four weeks", Text: []string{"Hours of work as they hold on each day, absences left out."}}
	list, _, err := tagged[struct{ Items []api.WorkingDayBody }](v, api.Path("staff", id, "working-days"))
	if err != nil {
		return p, err
	}
	t := table{Caption: "The next four weeks", Head: heads(append([]string{"Week of"}, dayNames...)...)}
	for _, d := range list.Items {
		day, err := time.Parse(time.DateOnly, d.Date)
		if err != nil {
			return p, err
		}
		at := (int(day.Weekday()) + 6) % 7
		if n := len(t.Rows); n == 0 || at == 0 {
			monday := day.AddDate(0, 0, -at)
			t.Rows = append(t.Rows, row{Cells: append([]cell{{Text: monday.Format("2 January")}}, make([]cell, 7)...)})
		}
		t.Rows[len(t.Rows)-1].Cells[at+1] = workingCell(d)
	}
	p.Tables = []table{t}
	return p, nil
}

// notOpen is said of hours in which somebody works but the salon is not open.
const notOpen = "the salon is not open all of that time"

// workingCell says the hours of a day and where they come from.
func workingCell(d api.WorkingDayBody) cell {
	c := cell{Text: oneDay(d.Work)}
	if c.Text == "" {
		c.Text = "—"
	}
	switch {
	case d.Closed:
		c.Text, c.More = "—", "closed"
	case d.Holds == "single_day":
		c.More = "single day"
	case d.Holds == "weeks_in_turn":
		c.More = "by date"
	}
	if d.Shut && !d.Closed {
		c.More = strings.TrimPrefix(c.More+"; salon not open", "; ")
	}
	return c
}
