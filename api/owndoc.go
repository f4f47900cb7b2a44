package api

import (
	"net/http"
	"slices"

	"chairblock/api/notify"
	"chairblock/api/pages"
)

// ownDoc is a page in the making.
type ownDoc struct {
	*ownView
	page pages.OwnPage
}

// start begins a page that stands at here, one of the addresses of the links above
// every page.
func (v *ownView) start(here, title string) *ownDoc {
	d := &ownDoc{ownView: v}
	w := v.words.Words
	d.page = pages.OwnPage{Lang: w.Tag(), RTL: w.RTL(), Title: v.text(title, nil), Salon: v.n.row.Name, Skip: v.text("skip", nil), Pages: v.text("pages", nil),
		Now: v.now, Refused: v.text("refused", nil), Wrong: v.wrong}
	if v.to.minor {
		d.page.For = v.text("for_guardian", notify.Says{"guardian": v.to.name, "child": clientName(v.client)})
	}
	for _, x := range []struct{ href, name string }{{"/own", "way_visits"}, {"/own/again", "way_again"}, {"/own/calendar", "way_calendar"},
		{"/own/messages", "way_messages"}, {"/own/about", "way_about"}} {
		d.page.Ways = append(d.page.Ways, pages.OwnWay{Href: x.href, Text: v.text(x.name, nil), Here: x.href == here})
	}
	if code := v.query.Get("done"); slices.Contains(doneCodes, code) && len(v.wrong) == 0 {
		d.page.Done = v.text("done_"+code, nil)
	}
	return d
}

// end finishes the page.
func (d *ownDoc) end() pages.OwnPage {
	d.page.Foot = append(d.page.Foot, d.text("zone", notify.Says{"zone": d.n.row.Zone}))
	d.page.Leave = d.makeForm("/own/leave", "leave")
	return d.page
}

// text is one of the texts of the language files.
func (v *ownView) text(name string, says notify.Says) pages.OwnText {
	text, in := v.words.Text(name, says)
	return pages.OwnText{Text: text, Lang: in}
}

// said is a text as a part of another one.
func (v *ownView) said(name string, says notify.Says) notify.Said {
	text, _ := v.words.Text(name, says)
	return notify.Said(text)
}

func (d *ownDoc) add(b pages.OwnBlock) { d.page.Blocks = append(d.page.Blocks, b) }

func (d *ownDoc) head(name string) {
	d.add(pages.OwnBlock{Head: d.text(name, nil)})
}

func (d *ownDoc) sub(name string) {
	d.add(pages.OwnBlock{Sub: d.text(name, nil)})
}

func (d *ownDoc) say(class, name string, says notify.Says) {
	d.add(pages.OwnBlock{Text: d.text(name, says), Class: class})
}

func (d *ownDoc) items(names ...string) {
	var list []pages.OwnText
	for _, name := range names {
		list = append(list, d.text(name, notify.Says{"phone": reach(d.n.row), "emergency": notify.Emergency(d.n.row.Emergency)}))
	}
	d.add(pages.OwnBlock{Items: list})
}

// fact is a label with what it is.
func (v *ownView) fact(label string, values ...pages.OwnText) pages.OwnFact {
	return pages.OwnFact{Label: v.text(label, nil), Values: values}
}

// makeForm makes a form with one button; its words are in the language of that.
func (v *ownView) makeForm(action, button string, fields ...pages.Field) *pages.OwnForm {
	text := v.text(button, nil)
	return &pages.OwnForm{Action: action, Button: text.Text, Lang: text.Lang, Fields: fields}
}

// label is the text of a control.
func (v *ownView) label(name string) string { return v.text(name, nil).Text }

// call is the way to the salon by telephone or mail.
func (d *ownDoc) call() {
	n := d.n.row
	switch {
	case n.Phone != "":
		d.add(pages.OwnBlock{Links: []pages.OwnLink{{Phone: n.Phone, Text: d.text("call", notify.Says{"phone": pages.PhoneWords(n.Phone)})}}})
	case n.Mail != "":
		d.add(pages.OwnBlock{Links: []pages.OwnLink{{Mail: n.Mail, Text: d.text("write", notify.Says{"mail": n.Mail})}}})
	}
}

// link is one way on.
func (d *ownDoc) link(href, name string, main bool) {
	d.add(pages.OwnBlock{Links: []pages.OwnLink{{Href: href, Text: d.text(name, nil), Main: main}}})
}

// refused puts what was refused into words for a client. What speaks of the
// salon's own business, and what only the licensed person can agree to, is said in
// one way: that the salon has to be asked.
func (v *ownView) refused(p *Problem) []pages.FieldError {
	var own []pages.FieldError
	for _, e := range p.Errors {
		if e.In == ownForm {
			own = append(own, pages.FieldError{Field: e.Pointer, Text: v.label(e.Detail)})
		}
	}
	if len(own) > 0 {
		return own
	}
	switch {
	case len(p.Cautions) > 0:
		return []pages.FieldError{{Text: v.label("wrong_ask")}}
	case p.Status == http.StatusConflict && p.Type == "/problems/taken":
		return []pages.FieldError{{Text: v.label("wrong_taken")}}
	case p.Status == http.StatusPreconditionFailed:
		return []pages.FieldError{{Text: v.label("wrong_changed")}}
	}
	return []pages.FieldError{{Text: v.label("wrong_other")}}
}

// ownForm is where the faults of wrongForm are.
const ownForm = "own"

// wrongForm refuses a form of a client: text names the text that says what is wrong
// with a field, or with the whole when that is "".
func wrongForm(field, text string) error {
	p := newProblem(http.StatusUnprocessableEntity, "invalid", "")
	p.Errors = []FieldProblem{{In: ownForm, Pointer: field, Detail: text}}
	return p
}
