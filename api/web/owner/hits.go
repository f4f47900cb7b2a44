package owner

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

	"chairblock/api"
)

// unlessHit carries a change out when it hits no visit, or when whoever makes it
// has seen which: as long as not, a page says so and offers to do it all the
// same or to go back. may is false for what cannot be done while visits are hit.
func (v *visit) unlessHit(title string, change api.ChangeRequest, may bool, do func() (answer, error)) (answer, error) {
	if v.form.Get("do") == "back" {
		return answer{}, errBack
	}
	var p api.ChangePreviewBody
	if _, err := v.site.Into(v.ctx, api.Question{Method: http.MethodPost, Path: "/changes/preview", Body: change}, &p); err != nil {
		if a, ok := v.pressedBefore(do); ok {
			return a, nil
		}
		v.previewed()
		return answer{}, err
	}
	seen := fingerprint(p)
	if len(p.Visits) == 0 || may && v.form.Get("do") == "sure" && v.form.Get("seen") == seen {
		return do()
	}
	if a, ok := v.pressedBefore(do); ok {
		return a, nil
	}
	return answer{sheet: v.hitSheet(title, p, may, seen)}, nil
}

// pressedBefore is the answer to a form that was carried out before: what a second
// press finds hit, or in its way, is what the first one made.
func (v *visit) pressedBefore(do func() (answer, error)) (answer, bool) {
	ctx := v.ctx
	defer func() { v.ctx = ctx }()
	v.ctx = api.OnlyAgain(ctx)
	a, err := do()
	return a, err == nil
}

// previewed lets pointers of a preview lead to the fields that the change itself
// would name.
func (v *visit) previewed() {
	named := maps.Clone(v.at)
	note := func(pointer, name string) {
		if named[pointer] == "" {
			v.at[pointer] = name
		}
	}
	for pointer, name := range named {
		note("/hours"+pointer, name)
		note("/staff_hours/week"+pointer, name)
		note("/weeks_by_date/rota"+pointer, name)
		note("/single_day/day"+pointer, name)
		note("/opening_day/day"+pointer, name)
		note("/absence"+pointer, name)
		note("/staff/person"+pointer, name)
	}
	for field := range v.form {
		if plain, ours := strings.CutPrefix(field, v.form.Get("form")+"-"); ours && named["/"+plain] == "" {
			note("/absence/"+plain, field)
			note("/staff/person/"+plain, field)
		}
	}
}

// fingerprint tells whether the same visits are hit, for the same reasons.
func fingerprint(p api.ChangePreviewBody) string {
	h := sha256.New()
	for _, x := range p.Visits {
		fmt.Fprintln(h, x.VisitID, x.Start.UTC(), x.Why)
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// hitSheet shows which visits a change would hit, and what could be done for each.
func (v *visit) hitSheet(title string, p api.ChangePreviewBody, may bool, seen string) *sheet {
	s := v.sheet(title)
	what := part{Title: p.Words, Text: []string{"Nothing is changed yet. These visits could not be done as they are planned:"}, Tables: []table{v.hitTable(p)}}
	f := form{ID: v.form.Get("form"), Action: v.c.Request().URL.Path, Hidden: v.carried()}
	if may {
		f.Text = []string{"If you go on, the visits stay booked and stand on the day board as conflicts until somebody moves them."}
		f.Hidden = append(f.Hidden, hidden{"seen", seen})
		f.Buttons = []button{{Text: "Do it all the same", Name: "do", Value: "sure"}}
	} else {
		f.Text = []string{"This can be done once no visit needs it any more: move or cancel them first."}
	}
	f.Buttons = append([]button{{Text: "Go back", Name: "do", Value: "back", Main: true}}, f.Buttons...)
	what.Forms = []form{f}
	s.Parts = append(s.Parts, what)
	return s
}

// carried is everything that was typed, for the next page to send again.
func (v *visit) carried() []hidden {
	var out []hidden
	for name, values := range v.form {
		if slices.Contains([]string{"form", "do", "seen"}, name) {
			continue
		}
		for _, x := range values {
			out = append(out, hidden{name, x})
		}
	}
	slices.SortFunc(out, func(a, b hidden) int {
		return cmp.Or(strings.Compare(a.Name, b.Name), strings.Compare(a.Value, b.Value))
	})
	return out
}

func (v *visit) hitTable(p api.ChangePreviewBody) table {
	t := table{Caption: "Visits that would be hit", Head: heads("When", "Who", "Why", "What next")}
	for _, x := range p.Visits {
		when := x.Start.In(v.salon.Location)
		what := strings.Join(x.Services, ", ")
		if x.Lead != "" {
			what += ", " + x.Lead + " in charge"
		}
		t.Rows = append(t.Rows, row{Cells: []cell{
			{Text: when.Format("Mon 2 January 15:04"), More: "to " + x.End.In(v.salon.Location).Format("15:04"), Href: "/visits/" + x.VisitID},
			{Text: cmp.Or(x.Who, "not known yet"), More: what},
			{Text: strings.Join(x.Why, "; ")},
			next(x),
		}})
	}
	return t
}

// next is the remedy that is the least trouble, as a link, with the others in
// words.
func next(x api.HitVisitBody) cell {
	var c cell
	var more []string
	for i, r := range x.Remedies {
		href := "/visits/" + x.VisitID
		switch r.Kind {
		case "move", "same_time":
			href += "/move"
		case "rearrange":
			href = "/rearrange?date=" + r.Date
		}
		if i == 0 {
			c.Text, c.Href = r.Words, href
		} else {
			more = append(more, r.Words)
		}
	}
	if len(more) > 0 {
		c.More = "or: " + strings.Join(more, "; ")
	}
	return c
}
