package owner

import (
	"io"
	"net/http"
	"strings"
	"time"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) hoursPages() {
	p.openingDayPages()
	p.get("/set-up/hours", "set-hours", (*visit).hoursSheet)
	p.post("/set-up/hours/week", "set-hours", saveWeek("/set-up/hours?done=week"), (*visit).hoursSheet)
	p.post("/set-up/hours/closures", "add-closure", (*visit).close, (*visit).hoursSheet)
	p.post("/set-up/hours/file", "read-closing-days", (*visit).readHolidays, (*visit).hoursSheet)
	p.post("/set-up/hours/open", "delete-closure", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("closures", v.form.Get("id")), nil, nil)
		return answer{to: "/set-up/hours?done=opened"}, err
	}, (*visit).hoursSheet)
}

func (v *visit) hoursSheet() (*sheet, error) {
	s := v.sheet("Opening hours and closing days")
	week, tag, err := tagged[api.HoursBody](v, "/hours")
	if err != nil {
		return nil, err
	}
	closed, _, err := tagged[struct{ Items []api.ClosureBody }](v, "/closures")
	if err != nil {
		return nil, err
	}
	days, err := v.openingDaysPart()
	if err != nil {
		return nil, err
	}
	s.Parts = append(s.Parts, part{ID: "week", Title: "Opening hours", Forms: []form{weekForm("/set-up/hours/week", week.Open, tag)}}, days, closedPart(closed.Items), addClosed(), holidayPart())
	return s, nil
}

// weekForm is the salon's week.
func weekForm(action string, week []api.WindowBody, tag string) form {
	return form{ID: "week", Action: action, Hidden: []hidden{version(tag)}, Fields: weekFields("week", "open", week), Buttons: save("Save the opening hours")}
}

// saveWeek writes the salon's week and leads to a page.
func saveWeek(to string) act {
	return func(v *visit) (answer, error) {
		var f faults
		week := api.HoursBody{Open: v.readWeek("open", "/open", &f)}
		if err := f.err(); err != nil {
			return answer{}, err
		}
		return v.unlessHit("Other opening hours", api.ChangeRequest{Hours: &week}, true, func() (answer, error) {
			_, err := v.ask(http.MethodPut, "/hours", week, nil)
			return answer{to: to}, err
		})
	}
}

func closedPart(list []api.ClosureBody) part {
	p := part{ID: "closed", Title: "Closing days"}
	if len(list) == 0 {
		p.Text = []string{"None to come."}
		return p
	}
	t := table{Caption: "Closing days to come", Head: heads("Days", "Why", "")}
	for _, c := range list {
		t.Rows = append(t.Rows, row{Cells: texts(dateRun(c.First, c.Last), c.Reason),
			Forms: []form{press("open", "/set-up/hours/open", "Open after all", "on "+dateRun(c.First, c.Last), hidden{"id", c.ID})}})
	}
	p.Tables = []table{t}
	return p
}

// dateRun says one or several days.
func dateRun(first, last string) string {
	if first == last {
		return dayWords(first)
	}
	return dayWords(first) + " to " + dayWords(last)
}

// dayWords says a date as people do; what is none stays as it is.
func dayWords(date string) string {
	t, err := time.Parse(time.DateOnly, date)
	if err != nil {
		return date
	}
	return t.Format("Mon 2 January 2006")
}

func addClosed() part {
	return part{ID: "close", Title: "Close on more days", Forms: []form{{ID: "close", Action: "/set-up/hours/closures", Hidden: []hidden{key()},
		Fields: []pages.Field{
			pages.Area("close-days", "Days", "One line for each: 2026-12-24 Christmas Eve, or 2026-12-24 to 2026-12-26 Christmas", ""),
		}, Buttons: save("Note the closing days")}}}
}

func holidayPart() part {
	return part{ID: "file", Title: "From a holiday calendar", Text: []string{"A calendar file of public or school holidays, as many sites offer it (.ics). Its days are proposed; you choose which count."},
		Forms: []form{{ID: "file", Action: "/set-up/hours/file", File: true,
			Fields: []pages.Field{pages.Input("file-calendar", "Calendar file", "At most 200 kB", "file", "")}, Buttons: []button{{Text: "Read its days"}}}}}
}

// readLines reads the lines of closing days.
func readLines(text string) (list []api.ClosureBody, wrong string) {
	for line := range strings.Lines(text) {
		line = strings.TrimSpace(line)
		if line == "" {
			continue
		}
		c := api.ClosureBody{First: line[:min(10, len(line))]}
		rest := strings.TrimSpace(line[len(c.First):])
		c.Last = c.First
		for _, between := range []string{"to ", "– ", "- ", "–", "-"} {
			if more, ok := strings.CutPrefix(rest, between); ok {
				more = strings.TrimSpace(more)
				c.Last, rest = more[:min(10, len(more))], ""
				if len(more) > 10 {
					rest = strings.TrimSpace(more[10:])
				}
				break
			}
		}
		c.Reason = rest
		for _, d := range []string{c.First, c.Last} {
			if _, err := time.Parse(time.DateOnly, d); err != nil {
				return nil, "“" + line + "” cannot be read. Right is 2026-12-24 Christmas Eve, or 2026-12-24 to 2026-12-26 Christmas."
			}
		}
		list = append(list, c)
	}
	return list, ""
}

func (v *visit) close() (answer, error) {
	list, wrong := readLines(v.typed("days"))
	for _, chosen := range v.list("chosen") {
		more, why := readLines(chosen)
		list = append(list, more...)
		wrong += why
	}
	if wrong == "" && len(list) == 0 {
		wrong = "No day is named. Right is at least one line such as 2026-12-24 Christmas Eve."
	}
	if wrong == "" && len(list) > 100 {
		wrong = "These are more than 100 lines. Note them in two goes."
	}
	v.at["/closures"], v.at["/items"] = v.name("days"), v.name("days")
	if wrong != "" {
		var f faults
		f.add(v, "days", wrong)
		return answer{}, f
	}
	return v.unlessHit("Closing days", api.ChangeRequest{Closures: list}, true, func() (answer, error) {
		_, err := v.ask(http.MethodPost, "/closures/several", api.ClosuresBody{Items: list}, nil)
		return answer{to: "/set-up/hours?done=closed"}, err
	})
}

// mostFile is the largest calendar file that is taken, in bytes (judgement): the
// interface takes bodies of 256 KiB, in which the file is quoted.
const mostFile = 200 << 10

// readHolidays proposes the days of a calendar file.
func (v *visit) readHolidays() (answer, error) {
	var f faults
	text, err := v.file("calendar")
	if err != nil || text == "" || len(text) > mostFile {
		f.add(v, "calendar", "No calendar file of at most 200 kB came. Choose one that ends in .ics.")
		return answer{}, f
	}
	var found api.ClosingDaysBody
	v.at["/calendar"] = v.name("calendar")
	if _, err := v.ask(http.MethodPost, "/closures/proposals", api.ClosingDaysRequest{Calendar: text}, &found); err != nil {
		return answer{}, err
	}
	s := v.sheet("Days of the calendar", link{Href: "/set-up/hours", Text: "Opening hours and closing days"})
	if len(found.Items) == 0 {
		s.Parts = append(s.Parts, part{Text: []string{"The calendar has no whole days to come that the salon does not know as closed already."},
			Links: []link{{Href: "/set-up/hours", Text: "Go back"}}})
		return answer{sheet: s}, nil
	}
	ticks := pages.Field{Name: "close-chosen", Label: "Closed on", Kind: "ticks"}
	for _, c := range found.Items {
		line := c.First
		if c.Last != c.First {
			line += " to " + c.Last
		}
		ticks.Options = append(ticks.Options, pages.Choice{Value: line + " " + c.Reason, Text: strings.TrimSpace(dateRun(c.First, c.Last) + " " + c.Reason)})
	}
	s.Parts = append(s.Parts, part{Text: []string{"Nothing is noted yet. Tick the days on which the salon stays closed."},
		Forms: []form{{ID: "close", Action: "/set-up/hours/closures", Hidden: []hidden{key()}, Fields: []pages.Field{ticks}, Buttons: save("Note the closing days")}},
		Links: []link{{Href: "/set-up/hours", Text: "Note none of them"}}})
	return answer{sheet: s}, nil
}

// file is the text of a file that came with the form.
func (v *visit) file(field string) (string, error) {
	h, err := v.c.FormFile(v.name(field))
	if err != nil {
		return "", err
	}
	f, err := h.Open()
	if err != nil {
		return "", err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostFile+1))
	return string(b), err
}
