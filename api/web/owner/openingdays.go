package owner

import (
	"net/http"

	"chairblock/api"
	"chairblock/api/pages"
)

const openingDaysAt = "/set-up/hours/days"

func (p page) openingDayPages() {
	const one = openingDaysAt + "/:date"
	p.post(openingDaysAt, "add-opening-day", (*visit).saveOpeningDay, (*visit).hoursSheet)
	p.get(one, "set-opening-day", (*visit).openingDaySheet)
	p.post(one, "set-opening-day", (*visit).saveOpeningDay, (*visit).openingDaySheet)
	p.post(one+"/gone", "delete-opening-day", (*visit).takeOpeningDayBack, (*visit).openingDaySheet)
}

// openingDaysPart lists the dates to come on which the salon opens otherwise than on
// their weekday, with a form for one more.
func (v *visit) openingDaysPart() (part, error) {
	p := part{ID: "days", Title: "Other hours on single days", Text: []string{"An extra Sunday, or an early end on one day. It comes before the week; a closing day comes before both."}}
	list, _, err := tagged[struct{ Items []api.OpeningDayBody }](v, "/hours/days")
	if err != nil {
		return p, err
	}
	t := table{Caption: "Days with other hours", Head: heads("Day", "Open", "Why", "")}
	for _, d := range list.Items {
		open := oneDay(d.Open)
		if open == "" {
			open = "closed"
		}
		here := openingDaysAt + "/" + d.Date
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: dayWords(d.Date), Href: here}, {Text: open}, {Text: pages.Clean(d.Reason)}},
			Forms: []form{press("gone", here+"/gone", "Take back", dayWords(d.Date))}})
	}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	who, err := v.whoWorks()
	if err != nil {
		return p, err
	}
	fields := append([]pages.Field{pages.Input("openday-date", "Day", "", "date", "")}, openingDayFields(api.OpeningDayBody{}, who)...)
	p.Forms = []form{{ID: "openday", Action: openingDaysAt, Hidden: []hidden{key()}, Legend: "One more", Fields: fields, Buttons: save("Note the hours of the day")}}
	return p, nil
}

// whoWorks offers everybody who may work on a day.
func (v *visit) whoWorks() (pages.Field, error) {
	list, _, err := tagged[struct{ Items []api.StaffBody }](v, "/staff")
	ticks := pages.Field{Name: "openday-who", Label: "Who works these hours", Hint: "Gets them as a single day of her own. With nobody ticked everybody’s own hours hold, as far as the salon is open", Kind: "ticks"}
	for _, x := range list.Items {
		if x.Active {
			ticks.Options = append(ticks.Options, pages.Choice{Value: x.ID, Text: x.Name})
		}
	}
	return ticks, err
}

func openingDayFields(d api.OpeningDayBody, who pages.Field) []pages.Field {
	return []pages.Field{
		pages.Input("openday-open", "Open", "Such as 10:00–14:00; empty: closed on that day", "text", oneDay(d.Open)),
		pages.Input("openday-reason", "Why", "May be left out", "text", d.Reason),
		who,
	}
}

func (v *visit) openingDaySheet() (*sheet, error) {
	date := v.c.Param("date")
	d, tag, err := tagged[api.OpeningDayBody](v, api.Path("hours", "days", date))
	if err != nil {
		return nil, err
	}
	who, err := v.whoWorks()
	if err != nil {
		return nil, err
	}
	s := v.sheet("Opening hours on "+dayWords(date), link{Href: "/set-up/hours", Text: "Opening hours and closing days"})
	here := openingDaysAt + "/" + date
	s.Parts = append(s.Parts, part{ID: "openday", Forms: []form{
		{ID: "openday", Action: here, Hidden: []hidden{version(tag)}, Fields: openingDayFields(d, who), Buttons: save("Save the hours of the day")},
		press("gone", here+"/gone", "Take back", "so that the week holds"),
	}})
	return s, nil
}

func (v *visit) saveOpeningDay() (answer, error) {
	date := v.c.Param("date")
	var f faults
	d := api.OpeningDayBody{Date: date, Open: v.readOne("open", "/open", &f), Reason: v.typed("reason"), StaffIDs: v.list("who")}
	if date == "" {
		if d.Date = v.typed("date"); d.Date == "" {
			f.add(v, "date", "No day is named. Right is a date.")
		}
	}
	if err := f.err(); err != nil {
		return answer{}, err
	}
	v.at["/date"], v.at["/reason"], v.at["/staff_ids"] = v.name("date"), v.name("reason"), v.name("who")
	return v.unlessHit("Other opening hours on "+dayWords(d.Date), api.ChangeRequest{OpeningDay: &api.OpeningDayChange{Day: &d}}, true, func() (answer, error) {
		method, path := http.MethodPost, "/hours/days"
		if date != "" {
			method, path = http.MethodPut, api.Path("hours", "days", date)
		}
		_, err := v.ask(method, path, d, nil)
		return answer{to: "/set-up/hours?done=openday#days"}, err
	})
}

func (v *visit) takeOpeningDayBack() (answer, error) {
	date := v.c.Param("date")
	return v.unlessHit("Opening hours of a day taken back", api.ChangeRequest{OpeningDay: &api.OpeningDayChange{Gone: date}}, true, func() (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("hours", "days", date), nil, nil)
		return answer{to: "/set-up/hours?done=opendayback#days"}, err
	})
}
