package owner

import (
	"cmp"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
)

// Mount registers the pages.
func Mount(s *web.Site) {
	p := page{s}
	p.setUpPages()
	p.hoursPages()
	p.peoplePages()
	p.datedWeekPages()
	p.singleDayPages()
	p.stationPages()
	p.absencePages()
	p.servicePages()
	p.chairTimePages()
	p.rulePages()
	p.consultationPages()
	p.messagePages()
	p.pacePages()
	p.accessPages()
	p.productPages()
	p.changePages()
	p.erasePages()
	p.keepingPages()
}

// page answers requests of this package's pages.
type page struct{ site *web.Site }

// visit is one request on its way.
type visit struct {
	page
	c     echo.Context
	ctx   context.Context //nolint:containedctx // of one request
	salon web.Salon
	form  url.Values
	// at names the field of a form for a pointer of the interface, where they
	// differ.
	at map[string]string
	// twice notes that a time that was typed comes twice on its day.
	twice bool
}

// answer is what becomes of a form: another page, or a sheet at once.
type answer struct {
	to    string
	sheet *sheet
}

// build makes a sheet.
type build func(*visit) (*sheet, error)

// act carries a form out.
type act func(*visit) (answer, error)

// get registers a page for whoever may do an operation.
func (p page) get(path, operation string, b build) {
	p.site.GET(path, operation, func(c echo.Context) error {
		v, err := p.visit(c)
		if err != nil {
			return err
		}
		s, err := b(v)
		if err != nil {
			return err
		}
		s.Frame.Done = web.TwiceWords(c, doneWords[c.QueryParam("done")])
		return web.Render(c, http.StatusOK, templates, "sheet", s)
	})
}

// post registers what a form does. A form that is refused comes back as b makes
// it, with everything typed.
func (p page) post(path, operation string, a act, b build) {
	p.site.POST(path, operation, func(c echo.Context) error {
		v, err := p.visit(c)
		if err != nil {
			return err
		}
		if v.form, err = web.Form(c); err != nil {
			return err
		}
		out, err := a(v)
		switch {
		case err != nil:
			return v.refused(err, b)
		case out.sheet != nil:
			return web.Render(c, http.StatusOK, templates, "sheet", out.sheet)
		}
		return web.Done(c, web.Twice(out.to, v.twice))
	})
}

func (p page) visit(c echo.Context) (*visit, error) {
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return nil, err
	}
	return &visit{page: p, c: c, ctx: ctx, salon: n, at: map[string]string{}}, nil
}

// errBack shows a form again as it was typed, without a word.
var errBack = errors.New("owner: back to the form")

func (v *visit) refused(err error, b build) error {
	var wrong []pages.FieldError
	status := http.StatusOK
	if f, own := errors.AsType[faults](err); own {
		wrong, status = f, http.StatusUnprocessableEntity
	} else if !errors.Is(err, errBack) {
		p, is := errors.AsType[*api.Problem](err)
		if !is || p.Status >= http.StatusInternalServerError {
			return err
		}
		wrong, status = v.wrong(p), p.Status
	}
	s, failed := b(v)
	if failed != nil {
		return errors.Join(err, failed)
	}
	stale := status == http.StatusPreconditionFailed
	s.keep(v.form.Get("form"), v.form, wrong, stale)
	return web.Render(v.c, status, templates, "sheet", s)
}

// wrong puts a problem into the words of the form that was sent.
func (v *visit) wrong(p *api.Problem) []pages.FieldError {
	if p.Status == http.StatusPreconditionFailed {
		return []pages.FieldError{{Text: "Somebody else changed this in the meantime. Nothing is lost: your entries stand below, with what stands there now. Look at them and save again."}}
	}
	if len(p.Errors) == 0 {
		return []pages.FieldError{{Text: sentence(cmp.Or(p.Detail, p.Title))}}
	}
	var out []pages.FieldError
	for _, e := range p.Errors {
		field := v.field(e.Pointer)
		text := e.Detail
		value, plain := web.PlainWrong(text)
		switch typed := cmp.Or(v.form.Get(field), value); {
		case plain && typed != "":
			text = "“" + typed + "” cannot be right"
		case plain:
			text = "cannot be right"
		case text == "has 0 characters", text == "is empty":
			text = "nothing is entered"
		}
		if e.Expected != "" {
			text += ". Right is: " + e.Expected
		}
		out = append(out, pages.FieldError{Field: field, Text: sentence(text)})
	}
	return out
}

func sentence(s string) string {
	if s == "" {
		return s
	}
	return pages.Capital(s) + "."
}

// field is the field of the form that a pointer of the interface is about: one
// that v.at names, or the one called like the pointer.
func (v *visit) field(pointer string) string {
	for at := pointer; at != ""; at = at[:max(0, strings.LastIndexByte(at, '/'))] {
		if name, ok := v.at[at]; ok {
			return name
		}
	}
	name := v.name(strings.ReplaceAll(strings.Trim(pointer, "/"), "/", "-"))
	for try := name; try != ""; try = try[:max(0, strings.LastIndexByte(try, '-'))] {
		if v.form.Has(try) {
			return try
		}
	}
	return name
}

// name is a field of the form that was sent.
func (v *visit) name(field string) string { return v.form.Get("form") + "-" + field }

// typed is what was typed into a field of the form that was sent.
func (v *visit) typed(field string) string { return strings.TrimSpace(v.form.Get(v.name(field))) }

func (v *visit) ticked(field string) bool { return v.typed(field) == "true" }

// list is what was ticked of several.
func (v *visit) list(field string) []string {
	out := []string{}
	for _, x := range v.form[v.name(field)] {
		if x != "" {
			out = append(out, x)
		}
	}
	return out
}

// faults are what is wrong with fields before the interface is asked.
type faults []pages.FieldError

func (f faults) Error() string { return "owner: " + f[0].Text }

// add notes what is wrong with a field of the form that was sent.
func (f *faults) add(v *visit, field, text string) {
	*f = append(*f, pages.FieldError{Field: v.name(field), Text: text})
}

// err is f, or nil where nothing is wrong.
func (f faults) err() error {
	if len(f) == 0 {
		return nil
	}
	return f
}

// ask changes something through the interface, against the version that the form
// was made from.
func (v *visit) ask(method, path string, body, out any) (api.Reply, error) {
	q := api.Question{Method: method, Path: path, Body: body, IfMatch: v.form.Get("version")}
	if method == http.MethodPost {
		q.Key = v.form.Get("key")
	}
	return v.site.Into(v.ctx, q, out)
}

// tagged reads something with its ETag.
func tagged[T any](v *visit, path string) (T, string, error) {
	var out T
	a, err := v.site.Into(v.ctx, api.Question{Path: path}, &out)
	return out, a.ETag, err
}

// sheet begins a page below Set-up.
func (v *visit) sheet(title string, trail ...link) *sheet {
	s := &sheet{Frame: v.site.Frame(v.c, v.salon, "/set-up", title), Trail: append([]link{{Href: "/set-up", Text: "Set-up"}}, trail...)}
	s.Frame.Sub = v.salon.Location.String()
	return s
}

// doneWords say what has been done, by a code that stands in the address.
var doneWords = map[string]string{
	"saved":       "Saved.",
	"added":       "Added.",
	"removed":     "Removed.",
	"copied":      "Copied. Change the copy below.",
	"services":    "The usual services are there. Look at their prices.",
	"week":        "The week is saved.",
	"weeks":       "The weeks are noted.",
	"weeksback":   "Taken back: the working week holds on those days.",
	"day":         "The day is noted.",
	"dayback":     "Taken back: the week holds on that day.",
	"closed":      "The closing days are noted.",
	"opened":      "Open on those days after all.",
	"away":        "The absence is noted.",
	"back":        "The absence is taken back.",
	"openday":     "The hours of the day are noted.",
	"opendayback": "Taken back: the week holds on that day.",
	"figures":     "The maker's figures are noted.",
	"reset":       "All constants are back at their defaults.",
	"version":     "Saved as a new version. Booked visits keep the one that they were booked with.",
	"ended":       "Ended: it works no more.",
	"movement":    "Noted.",
}
