package owner

import (
	"fmt"
	"net/http"
	"slices"
	"strings"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/scheduling/quoting"
)

func (p page) servicePages() {
	p.get("/set-up/services", "update-service", (*visit).servicesSheet)
	p.post("/set-up/services", "add-service", (*visit).addService, (*visit).servicesSheet)
	p.post("/set-up/services/usual", "add-usual-services", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodPost, "/services/usual", nil, nil)
		return answer{to: "/set-up/services?done=services"}, err
	}, (*visit).servicesSheet)
	p.get("/set-up/services/:id", "update-service", (*visit).serviceSheet)
	p.post("/set-up/services/:id", "update-service", (*visit).changeService, (*visit).serviceSheet)
	p.post("/set-up/services/:id/copy", "copy-service", func(v *visit) (answer, error) {
		var x api.ServiceBody
		_, err := v.ask(http.MethodPost, api.Path("services", v.c.Param("id"), "copy"), api.CopyBody{Name: v.typed("name")}, &x)
		return answer{to: "/set-up/services/" + x.ID + "?done=copied"}, err
	}, (*visit).serviceSheet)
	p.post("/set-up/services/:id/remove", "delete-service", func(v *visit) (answer, error) {
		_, err := v.ask(http.MethodDelete, api.Path("services", v.c.Param("id")), nil, nil)
		return answer{to: "/set-up/services?done=removed"}, err
	}, (*visit).serviceSheet)
	p.get("/set-up/services/:id/versions/:version", "get-service-version", (*visit).versionSheet)
}

func (v *visit) servicesSheet() (*sheet, error) {
	list, err := v.services()
	if err != nil {
		return nil, err
	}
	s := v.sheet("Services")
	t := table{Caption: "Services", Head: heads("Service", "Minutes", "Price", "Skill")}
	for _, x := range list {
		t.Rows = append(t.Rows, row{Cells: []cell{{Text: x.Name, More: fmt.Sprintf("version %d, %d steps", x.Version, len(x.Steps)), Href: "/set-up/services/" + x.ID},
			{Text: minutesWords(x)}, {Text: v.priceWords(x)}, {Text: skillWords(one(x.Skill))}}})
	}
	if len(t.Rows) > 0 {
		s.Parts = append(s.Parts, part{Tables: []table{t}})
	}
	usual := press("usual", "/set-up/services/usual", "Add the usual services", "")
	usual.Text = []string{"Those of the program that are not there by name."}
	s.Parts = append(s.Parts, part{Title: "One more", Forms: []form{{ID: "new", Action: "/set-up/services", Hidden: []hidden{key()}, Fields: []pages.Field{
		pages.Input("new-name", "Name", "It begins with one step of 30 minutes, to be changed", "text", ""),
	}, Buttons: save("Add it")}, usual}, Text: []string{"Or open one that is like it and copy that."}})
	return s, nil
}

func one(s string) []string {
	if s == "" {
		return nil
	}
	return []string{s}
}

// minutesWords says how long a service takes.
func minutesWords(x api.ServiceBody) string {
	if x.NeedsHair {
		return "follows the hair"
	}
	n := 0
	for _, st := range x.Steps {
		n += st.Minutes
	}
	return fmt.Sprintf("%d min", n)
}

// priceWords says what a service costs.
func (v *visit) priceWords(x api.ServiceBody) string {
	price := quoting.Amount(x.PriceCents, v.salon.Currency)
	switch {
	case x.PriceRule == nil || x.PriceRule.By == "fixed":
		return price
	case x.PriceRule.By == "band":
		return "by length and amount, usually " + price
	}
	return "by the minute, usually " + price
}

func (v *visit) addService() (answer, error) {
	yes := true
	b := api.ServiceBody{Name: v.typed("name"), Families: []string{}, Products: []api.ServiceProductBody{},
		Steps: []api.StepBody{{Kind: "work", Label: "work", Who: "lead", Where: "chair", Minutes: 30, HandsOn: true, MayOverrun: &yes, Held: []string{}, WatchFor: []string{}}}}
	var x api.ServiceBody
	_, err := v.ask(http.MethodPost, "/services", b, &x)
	return answer{to: "/set-up/services/" + x.ID + "?done=added"}, err
}

// serviceSheet is one service as it stands.
func (v *visit) serviceSheet() (*sheet, error) {
	x, tag, err := tagged[api.ServiceBody](v, api.Path("services", v.c.Param("id")))
	if err != nil {
		return nil, err
	}
	if v.form.Get("form") == "service" { // as it was being changed
		d := v.draft(x, &faults{})
		return v.draftSheet(x, d, v.form.Get("version"))
	}
	return v.draftSheet(x, x, tag)
}

// draftSheet is a service with changes that nobody has saved.
func (v *visit) draftSheet(x, d api.ServiceBody, tag string) (*sheet, error) {
	s := v.sheet(x.Name, link{Href: "/set-up/services", Text: "Services"})
	products, _, err := tagged[struct{ Items []api.ProductBody }](v, "/products")
	if err != nil {
		return nil, err
	}
	versions, _, err := tagged[struct{ Items []api.ServiceBody }](v, api.Path("services", x.ID, "versions"))
	if err != nil {
		return nil, err
	}
	if len(x.Cautions) > 0 {
		p := part{Title: "To know"}
		for _, c := range x.Cautions {
			p.List = append(p.List, link{Text: c.Text})
		}
		s.Parts = append(s.Parts, p)
	}
	here := "/set-up/services/" + x.ID
	f := form{ID: "service", Action: here, Hidden: []hidden{version(tag), {"steps", fmt.Sprint(len(d.Steps))}}}
	f.Groups = append(f.Groups, factsGroup(d))
	for i := range d.Steps {
		f.Groups = append(f.Groups, stepGroup(d, i))
	}
	f.Groups = append(append(f.Groups, v.priceGroups(d)...), productGroup(d, products.Items))
	f.Buttons = []button{{Text: "See what it does", Name: "do", Value: "look", Main: true}}
	f.Text = []string{"Nothing is saved until you have seen what a change does to seven kinds of hair."}
	s.Parts = append(s.Parts, part{ID: "service", Forms: []form{f}}, v.versionsPart(x, versions.Items),
		part{Title: "Copy", Forms: []form{{ID: "copy", Action: here + "/copy", Hidden: []hidden{key()},
			Fields: []pages.Field{pages.Input("copy-name", "Name of the copy", "", "text", "")}, Buttons: []button{{Text: "Copy this service"}}}}},
		part{Title: "Offer it no more", Text: []string{"Booked visits keep it."}, Forms: []form{press("remove", here+"/remove", "Remove", x.Name, version(tag))}})
	return s, nil
}

func factsGroup(d api.ServiceBody) group {
	return group{Legend: "The service", Fields: []pages.Field{
		pages.Input("service-name", "Name", "", "text", d.Name),
		pages.Input("service-skill", "Skill of who is in charge", "One word; empty for anybody licensed", "text", strings.ReplaceAll(d.Skill, "_", " ")),
		pages.Input("service-families", "What it is to other services", "For the rules of spacing, such as straightening or colour", "text", strings.Join(d.Families, ", ")),
		pages.Number("service-clear_minutes", "Clearing of the chair afterwards", "Minutes; empty for the chair's own", whole(d.Clear)),
		pages.Tick("service-chemical", "Chemicals are used", "", d.Chemical),
		pages.Tick("service-aftercare", "Stays dry and untied afterwards", "And is called back for the regrowth", d.Aftercare),
		pages.Tick("service-retouch", "Treats only new growth", "", d.Retouch),
	}}
}

func (v *visit) versionsPart(x api.ServiceBody, list []api.ServiceBody) part {
	p := part{ID: "versions", Title: "Versions", Text: []string{"A booked visit keeps the version that it was booked with."}}
	for _, y := range list {
		l := link{Text: fmt.Sprintf("Version %d", y.Version), Href: fmt.Sprintf("/set-up/services/%s/versions/%d", x.ID, y.Version)}
		if y.MadeAt != nil {
			l.More = y.MadeAt.In(v.salon.Location).Format("Mon 2 January 2006 15:04")
		}
		p.List = append(p.List, l)
	}
	return p
}

func (v *visit) versionSheet() (*sheet, error) {
	id := v.c.Param("id")
	x, _, err := tagged[api.ServiceBody](v, api.Path("services", id, "versions", v.c.Param("version")))
	if err != nil {
		return nil, err
	}
	s := v.sheet(fmt.Sprintf("%s, version %d", x.Name, x.Version), link{Href: "/set-up/services", Text: "Services"}, link{Href: "/set-up/services/" + id, Text: x.Name})
	t := table{Caption: "Steps", Head: heads("Step", "Who", "Where", "Minutes", "Wait after it")}
	for _, st := range x.Steps {
		t.Rows = append(t.Rows, row{Cells: texts(st.Label, whoWords(st), st.Where, stepMinutes(st), waitWords(st))})
	}
	s.Parts = append(s.Parts, part{Text: []string{v.priceWords(x) + "."}, Tables: []table{t}})
	return s, nil
}

// changeService carries out a button of the form: it moves steps about, shows what
// the change does, or saves what was shown.
func (v *visit) changeService() (answer, error) {
	x, tag, err := tagged[api.ServiceBody](v, api.Path("services", v.c.Param("id")))
	if err != nil {
		return answer{}, err
	}
	var f faults
	d := v.draft(x, &f)
	do := v.form.Get("do")
	if verb, at, is := strings.Cut(do, "-"); is {
		rearranged(&d, verb, at)
		s, err := v.draftSheet(x, d, v.form.Get("version"))
		return answer{sheet: s}, err
	}
	v.serviceFields(d)
	if err := f.err(); err != nil {
		return answer{}, err
	}
	var look api.ServicePreviewBody
	ask := api.ServicePreviewRequest{ServiceID: x.ID, Service: d}
	if _, err := v.site.Into(v.ctx, api.Question{Method: http.MethodPost, Path: "/service-preview", Body: ask}, &look); err != nil {
		return answer{}, err
	}
	if do == "save" && v.form.Get("looked") == drawn(d) {
		_, err := v.ask(http.MethodPut, api.Path("services", x.ID), d, nil)
		return answer{to: "/set-up/services/" + x.ID + "?done=version"}, err
	}
	if v.form.Get("version") == "" {
		v.form.Set("version", tag)
	}
	s, err := v.draftSheet(x, d, v.form.Get("version"))
	if err != nil {
		return answer{}, err
	}
	return answer{sheet: v.looked(s, d, look)}, nil
}

// rearranged carries out one of the buttons of a step.
func rearranged(d *api.ServiceBody, verb, at string) {
	var i int
	if _, err := fmt.Sscanf(at, "%d", &i); err != nil || i < 0 || i >= len(d.Steps) {
		return
	}
	switch verb {
	case "up":
		if i > 0 {
			d.Steps[i-1], d.Steps[i] = d.Steps[i], d.Steps[i-1]
		}
	case "down":
		if i+1 < len(d.Steps) {
			d.Steps[i+1], d.Steps[i] = d.Steps[i], d.Steps[i+1]
		}
	case "remove":
		if len(d.Steps) > 1 {
			d.Steps = slices.Delete(d.Steps, i, i+1)
		}
	case "add":
		d.Steps = slices.Insert(d.Steps, i+1, api.StepBody{Kind: "work", Label: "new step", Who: "lead", Where: "chair", Minutes: 10, HandsOn: true, Held: []string{}, WatchFor: []string{}})
	}
}

// looked puts what a change does before the form, with the button that saves it.
func (v *visit) looked(s *sheet, d api.ServiceBody, look api.ServicePreviewBody) *sheet {
	p := part{ID: "effect", Title: "What it does", Tables: []table{v.headTable(look)}}
	if look.Booked > 0 {
		p.Text = append(p.Text, fmt.Sprintf("No booked visit is hit: every one of %s with this service keeps the steps and the price that it was booked with.", countWords(look.Booked, "booked visit")))
	} else {
		p.Text = append(p.Text, "No booked visit is hit.")
	}
	for _, c := range look.Cautions {
		p.List = append(p.List, link{Text: c.Text})
	}
	f := form{ID: "service", Action: "/set-up/services/" + v.c.Param("id"), Hidden: append(v.carried(), hidden{"looked", drawn(d)}),
		Buttons: []button{{Text: "Save as a new version", Name: "do", Value: "save", Main: true}}}
	f.Hidden = slices.DeleteFunc(f.Hidden, func(h hidden) bool { return h.Name == "looked" && h.Value != drawn(d) })
	p.Forms = []form{f}
	s.Parts = append([]part{p}, s.Parts...)
	return s
}

func countWords(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// headTable is a service on the reference heads, before and after.
func (v *visit) headTable(look api.ServicePreviewBody) table {
	t := table{Caption: "Minutes and prices before and after", Head: append(heads("Hair"), number("Booked now"), number("Then"), number("Difference"),
		number("Product on first section now"), number("Then"), number("Price now"), number("Then"))}
	for _, h := range look.Heads {
		r := row{Cells: []cell{{Text: h.Name}}}
		was, then := h.Before, h.After
		r.Cells = append(r.Cells, number(ofTotals(was, minutesOf)), number(ofTotals(then, minutesOf)), number(difference(was, then)),
			number(ofTotals(was, exposureOf)), number(ofTotals(then, exposureOf)),
			number(ofTotals(was, v.priceOf)), number(ofTotals(then, v.priceOf)))
		if then != nil && len(then.Refused) > 0 {
			r.Cells[0].More = "would not be booked: " + strings.Join(then.Refused, " ")
		} else if then != nil {
			r.Cells[0].More = then.Working
		}
		t.Rows = append(t.Rows, r)
	}
	return t
}

func ofTotals(b *api.ServiceTotalsBody, say func(*api.ServiceTotalsBody) string) string {
	if b == nil {
		return "—"
	}
	return say(b)
}

func minutesOf(b *api.ServiceTotalsBody) string { return fmt.Sprintf("%d min", b.Minutes) }

func exposureOf(b *api.ServiceTotalsBody) string {
	if b.Exposure == 0 {
		return "none"
	}
	return fmt.Sprintf("%d min", b.Exposure)
}

func (v *visit) priceOf(b *api.ServiceTotalsBody) string {
	return quoting.Amount(b.Price, v.salon.Currency)
}

func difference(was, then *api.ServiceTotalsBody) string {
	if was == nil || then == nil {
		return "—"
	}
	return signed(float64(then.Minutes - was.Minutes))
}

// signed writes a difference; 0 is said as a word.
func signed(x float64) string {
	switch {
	case x == 0:
		return "same"
	case x > 0:
		return "+" + plain(x)
	}
	return "−" + plain(-x)
}
