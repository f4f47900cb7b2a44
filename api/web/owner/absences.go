package owner

import (
	"net/http"
	"time"

	"github.com/rickb777/date"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/scheduling"
)

func (p page) absencePages() {
	p.get("/set-up/absences", "add-absence", (*visit).absencesSheet)
	p.post("/set-up/absences", "add-absence", func(v *visit) (answer, error) {
		return v.addAbsence(v.typed("unit_id"), "/set-up/absences?done=away")
	}, (*visit).absencesSheet)
	p.post("/set-up/absences/back", "delete-absence", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("absences", v.form.Get("id")), nil, nil)
		return answer{to: "/set-up/absences?done=back"}, err
	}, (*visit).absencesSheet)
}

func (v *visit) absencesSheet() (*sheet, error) {
	s := v.sheet("Absences")
	if !api.May(v.ctx, "update-salon") {
		s.Trail = nil // the desk has no other page of these
	}
	p, err := v.absencesPart("", "/set-up/absences")
	if err != nil {
		return nil, err
	}
	p.Title = ""
	s.Parts = append(s.Parts, p)
	return s, nil
}

// unitName says what people and stations are called, by id.
func (v *visit) unitNames() (map[string]string, []pages.Option, error) {
	staff, err := v.staff()
	if err != nil {
		return nil, nil, err
	}
	stations, err := v.stations()
	if err != nil {
		return nil, nil, err
	}
	names := map[string]string{}
	var list []pages.Option
	for _, x := range staff {
		names[x.ID] = x.Name
		list = append(list, pages.Option{ID: x.ID, Name: x.Name})
	}
	for _, x := range stations {
		names[x.ID] = x.Name
		list = append(list, pages.Option{ID: x.ID, Name: x.Name})
	}
	return names, list, nil
}

// absencesPart lists absences to come, of one person or of everybody, with a form
// for one more. here is the page that it stands on.
func (v *visit) absencesPart(unit, here string) (part, error) {
	list, _, err := tagged[struct{ Items []api.AbsenceBody }](v, "/absences")
	if err != nil {
		return part{}, err
	}
	names, units, err := v.unitNames()
	if err != nil {
		return part{}, err
	}
	p := part{ID: "absences", Title: "Absences"}
	t := table{Caption: "Absences to come", Head: heads("When", "Who or what", "Why", "")}
	for _, a := range list.Items {
		if unit != "" && a.Unit != unit {
			continue
		}
		r := row{Cells: texts(v.spanWords(a.From, a.To), names[a.Unit], a.Reason)}
		if a.FromPrivate {
			r.Cells[2].Text = "from a private calendar"
		} else {
			r.Forms = []form{press("back", here+"/back", "Take back", names[a.Unit]+", "+v.spanWords(a.From, a.To), hidden{"id", a.ID})}
		}
		t.Rows = append(t.Rows, r)
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	} else {
		p.Text = []string{"None to come."}
	}
	f := form{ID: "away", Action: here, Hidden: []hidden{key()}, Legend: "One more", Buttons: save("Note the absence")}
	if unit == "" {
		f.Fields = append(f.Fields, pages.Select("away-unit_id", "Who or what", "", "", units, "Choose"))
	} else {
		f.Action = here + "/absence"
	}
	f.Fields = append(f.Fields,
		pages.Input("away-first", "From day", "", "date", ""), pages.Input("away-from", "From time", "Empty for the whole day", "time", ""),
		pages.Input("away-last", "To day", "Included; empty for the same day", "date", ""), pages.Input("away-to", "To time", "Empty for the whole day", "time", ""),
		pages.Input("away-reason", "Why", "For the rota; never a reason of health", "text", ""))
	p.Forms = []form{f}
	return p, nil
}

// spanWords says a stretch of time by the salon's clock; whole days as days.
func (v *visit) spanWords(from, to time.Time) string {
	from, to = from.In(v.salon.Location), to.In(v.salon.Location)
	const atClock = "Mon 2 January 2006 15:04"
	switch {
	case midnightOf(from) && midnightOf(to):
		return dateRun(from.Format(time.DateOnly), to.AddDate(0, 0, -1).Format(time.DateOnly))
	case from.Format(time.DateOnly) == to.Format(time.DateOnly):
		return from.Format(atClock) + " to " + to.Format("15:04")
	}
	return from.Format(atClock) + " to " + to.Format(atClock)
}

func midnightOf(t time.Time) bool { return t.Format("15:04") == "00:00" }

// instant reads a day and a time of the form by the salon's clock.
func (v *visit) instant(field, day, clock string, f *faults) time.Time {
	at, err := api.ReadLocal(v.salon.Location, day, clock)
	if gap, ok := errorAs[*api.GapError](err); ok {
		f.add(v, field, gap.Error())
	} else if err != nil {
		f.add(v, field, "The day or the time cannot be read. Right is a date, with a time such as 09:30 or none.")
	}
	v.twice = v.twice || at.Twice
	return at.At
}

// bounds are the beginning and the end of a day of the form.
func (v *visit) bounds(field, day string, f *faults) (from, to time.Time) {
	d, err := date.Parse(time.DateOnly, day)
	if err != nil {
		f.add(v, field, "The day cannot be read. Right is a date.")
		return from, to
	}
	return scheduling.DayBounds(v.salon.Location, d)
}

func (v *visit) addAbsence(unit, to string) (answer, error) {
	var f faults
	first, last := v.typed("first"), v.typed("last")
	if first == "" {
		f.add(v, "first", "No day is named. Right is the first day of the absence.")
	}
	if unit == "" {
		f.add(v, "unit_id", "Nobody is named. Right is a person, a chair or a basin.")
	}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	if last == "" {
		last = first
	}
	a := api.AbsenceBody{Unit: unit, Reason: v.typed("reason")}
	from, until := v.typed("from"), v.typed("to")
	if from == "" {
		a.From, _ = v.bounds("first", first, &f)
	} else {
		a.From = v.instant("first", first, from, &f)
	}
	if until == "" {
		_, a.To = v.bounds("last", last, &f)
	} else {
		a.To = v.instant("last", last, until, &f)
	}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	v.at["/to"], v.at["/absence/to"] = v.name("last"), v.name("last")
	v.at["/from"], v.at["/absence/from"] = v.name("first"), v.name("first")
	return v.unlessHit("An absence", api.ChangeRequest{Absence: &a}, true, func() (answer, error) {
		_, err := v.ask(http.MethodPost, "/absences", a, nil)
		return answer{to: to}, err
	})
}
