package owner

import (
	"fmt"
	"net/http"
	"slices"

	"chairblock/api"
	"chairblock/api/pages"
)

func (p page) stationPages() {
	p.get("/set-up/stations", "update-station", (*visit).stationsSheet)
	p.post("/set-up/stations", "add-station", (*visit).addStation, (*visit).stationsSheet)
	p.get("/set-up/stations/:id", "update-station", (*visit).stationSheet)
	p.post("/set-up/stations/:id", "update-station", (*visit).saveStation, (*visit).stationSheet)
	p.post("/set-up/stations/:id/absence", "add-absence", func(v *visit) (answer, error) {
		return v.addAbsence(v.c.Param("id"), "/set-up/stations/"+v.c.Param("id")+"?done=away#absences")
	}, (*visit).stationSheet)
	p.post("/set-up/stations/:id/back", "delete-absence", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("absences", v.form.Get("id")), nil, nil)
		return answer{to: "/set-up/stations/" + v.c.Param("id") + "?done=back#absences"}, err
	}, (*visit).stationSheet)
	p.post("/set-up/stations/:id/leave", "delete-station", func(v *visit) (answer, error) {
		id := v.c.Param("id")
		return v.unlessHit("Taken away", api.ChangeRequest{Gone: id}, false, func() (answer, error) {
			_, err := v.ask(http.MethodDelete, api.Path("stations", id), nil, nil)
			return answer{to: "/set-up/stations?done=removed"}, err
		})
	}, (*visit).stationSheet)
}

func (v *visit) stations() ([]api.StationBody, error) {
	list, _, err := tagged[struct{ Items []api.StationBody }](v, "/stations")
	return slices.DeleteFunc(list.Items, func(u api.StationBody) bool { return !u.Active }), err
}

func (v *visit) stationsSheet() (*sheet, error) {
	list, err := v.stations()
	if err != nil {
		return nil, err
	}
	s := v.sheet("Chairs and basins")
	t := table{Caption: "Chairs and basins", Head: heads("Name", "What", "Minutes of clearing")}
	for _, u := range list {
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: u.Name, Href: "/set-up/stations/" + u.ID}, {Text: u.Kind}, {Text: fmt.Sprint(u.Changeover)}}})
	}
	p := part{Forms: []form{{ID: "station", Action: "/set-up/stations", Hidden: []hidden{key()}, Legend: "One more", Fields: []pages.Field{
		pages.Input("station-kind", "What", "chair, basin, or a word of your own in small letters", "text", "chair"),
		pages.Input("station-name", "Name", "", "text", ""),
		pages.Number("station-changeover_minutes", "Minutes of clearing", "After each visit; a service may ask for more or less", "3"),
	}, Buttons: save("Add it")}}}
	if len(t.Rows) > 0 {
		p.Tables = []table{t}
	}
	s.Parts = append(s.Parts, p)
	return s, nil
}

func (v *visit) stationTyped(b api.StationBody) (api.StationBody, error) {
	var f faults
	b.Name, b.Changeover = v.typed("name"), v.must("changeover_minutes", &f)
	return b, f.err()
}

func (v *visit) addStation() (answer, error) {
	b, err := v.stationTyped(api.StationBody{Kind: v.typed("kind")})
	if err != nil {
		return answer{}, err
	}
	_, err = v.ask(http.MethodPost, "/stations", b, nil)
	return answer{to: "/set-up/stations?done=added"}, err
}

func (v *visit) stationSheet() (*sheet, error) {
	id := v.c.Param("id")
	u, tag, err := tagged[api.StationBody](v, api.Path("stations", id))
	if err != nil {
		return nil, err
	}
	here := "/set-up/stations/" + id
	away, err := v.absencesPart(id, here)
	if err != nil {
		return nil, err
	}
	away.Title = "Out of order"
	away.Forms[0].Buttons = save("Note when it is out of order")
	s := v.sheet(u.Name, link{Href: "/set-up/stations", Text: "Chairs and basins"})
	s.Parts = append(s.Parts, part{Forms: []form{{ID: "station", Action: here, Hidden: []hidden{version(tag)}, Fields: []pages.Field{
		pages.Input("station-name", "Name", "", "text", u.Name),
		pages.Number("station-changeover_minutes", "Minutes of clearing", "After each visit; a service may ask for more or less", fmt.Sprint(u.Changeover)),
	}, Buttons: save("Save")}}}, away)
	if u.Active {
		s.Parts = append(s.Parts, part{Title: "Taken away for good", Text: []string{"Once no visit needs it any more. Its records stay."},
			Forms: []form{press("leave", here+"/leave", "Take away", u.Name, version(tag))}})
	}
	return s, nil
}

func (v *visit) saveStation() (answer, error) {
	id := v.c.Param("id")
	u, _, err := tagged[api.StationBody](v, api.Path("stations", id))
	if err != nil {
		return answer{}, err
	}
	b, err := v.stationTyped(u)
	if err != nil {
		return answer{}, err
	}
	_, err = v.ask(http.MethodPut, api.Path("stations", id), b, nil)
	return answer{to: "/set-up/stations/" + id + "?done=saved"}, err
}
