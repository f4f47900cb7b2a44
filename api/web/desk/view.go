package desk

import (
	"context"
	"embed"
	"errors"
	"html/template"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
	"chairblock/scheduling/quoting"
)

//go:embed templates/*.tmpl assets/*
var files embed.FS

func init() { pages.Publish(files, "assets/desk.css", "assets/desk.js") }

var templates = template.Must(pages.Shared().Funcs(template.FuncMap{"cap": pages.Capital, "clean": pages.Clean, "join": strings.Join, "dict": dict}).ParseFS(files, "templates/*.tmpl"))

// base is what every page of this package has.
type base struct {
	pages.Frame
	pages.Clock
	Key      string // of the page's forms
	Currency string
	Today    string // "2026-06-11"
	Zone     string // of the times, said once
	Kinds    string // of changes that the page looks out for
	now      time.Time
	loc      *time.Location
}

// Amount writes money.
func (b base) Amount(cents int64) string { return quoting.Amount(cents, b.Currency) }

// Between writes what a visit costs: from and to where its price is not firm yet.
func (b base) Between(cents, from, to int64) string {
	return api.PriceWords(cents, from, to, b.Currency)
}

// start reads the salon and makes the frame of a page.
func (p page) start(c echo.Context, here, title string) (base, error) {
	ctx := c.Request().Context()
	n, err := p.site.Salon(ctx)
	if err != nil {
		return base{}, err
	}
	now := p.site.Now()
	b := base{Frame: p.site.Frame(c, n, here, title), Clock: pages.NewClock(n.Location), Key: web.Key(), Currency: n.Currency,
		Today: now.In(n.Location).Format(time.DateOnly), Zone: n.Location.String(), now: now, loc: n.Location}
	b.Styles = []string{"desk.css"}
	b.Done = web.TwiceWords(c, doneWords[c.QueryParam("done")])
	return b, nil
}

// watching lets the page say when something of some kinds has changed, as the
// stream of the salon's changes names them.
func (b *base) watching(kinds string) {
	b.Scripts, b.Kinds = []string{"desk.js"}, kinds
}

// doneWords are what pages say after a form was carried out, by the code in the
// address.
var doneWords = map[string]string{
	"arrived": "Noted: the client is here.", "missed": "Noted: did not come. The time is free again.", "cancelled": "The visit is cancelled. Its time is free again.",
	"booked": "Booked.", "released": "Given up. Its time is free again.", "longer": "It stays pencilled for longer.", "extended": "The visit lasts longer now.",
	"swapped": "Both visits have changed places.", "lead": "Another stylist is in charge now.", "back": "Taken back: the visit is booked again.",
	"yes": "Noted: she is coming.", "noyes": "Taken back: she has not said that she comes.", "told": "She will be told that the visit begins late.",
	"linked": "The visits belong together now.", "unlinked": "The visit stands alone now.", "money": "The money is noted.", "guardian": "The guardian’s yes is noted.",
	"consent": "The consent is noted.", "withdrawn": "Taken back.", "override": "Noted: the visit may begin without it.", "finished": "The visit is over. Aftercare begins.",
	"named": "The visit is on the client’s file now.", "aside": "The message is laid aside.", "again": "The message is in line again.", "noted": "Noted.",
	"reached": "Noted: reached.", "left_word": "Noted: left word.", "no_answer": "Noted: no answer.", "added": "Added.", "saved": "Saved.",
	"feed": "The calendar address has ended.", "same": "Both files are one now.", "waiting": "The request is on the waiting list.", "off": "The request is off the waiting list.",
	"erased":    "Everything about her is erased.",
	"asked":     "Noted how she is told. What waited for it goes out.",
	"pencilled": "Pencilled. Call her, then book it or give it up.", "applied": "The day is rearranged. Everybody who gets another time is told.",
	"remedy": "Done.", "kept": "The time is kept.", "stock": "The stock is noted.", "moved": "The visit has another time now.",
}

// show answers with a page.
func show(c echo.Context, status int, name string, view any) error {
	return web.Render(c, status, templates, name, view)
}

// ask carries out a question for whoever is signed in, without its answer.
func (p page) ask(ctx context.Context, q api.Question) error {
	_, err := p.site.Ask(ctx, q)
	return err
}

// press carries out what a form asks for. list says what is wrong, and err what
// the form cannot put right.
func (p page) press(ctx context.Context, q api.Question, names map[string]string) (list []pages.FieldError, alternatives []api.OpeningBody, status int, err error) {
	if err = p.ask(ctx, q); err == nil {
		return nil, nil, http.StatusOK, nil
	}
	list, status, ok := web.Wrong(err, names)
	if !ok {
		return nil, nil, status, err
	}
	if status == http.StatusPreconditionFailed {
		list = []pages.FieldError{{Text: "Somebody else changed it in the meantime. This is how it stands now: look, and press once more."}}
	}
	problem, is := errors.AsType[*api.Problem](err)
	if is {
		alternatives = problem.Alternatives
	}
	for i := range list {
		if is && problem.Type == "/problems/asks" { // asked in a sentence
			list[i].Text = problem.Detail
		}
		if list[i].Field == "" {
			list[i].Text = pages.Capital(list[i].Text)
		}
	}
	return list, alternatives, status, nil
}

// mark gives every field what is wrong with it, and puts its label before that where
// all that is wrong is listed.
func mark(fields []pages.Field, wrong []pages.FieldError) []pages.Field {
	for i := range fields {
		for k, w := range wrong {
			if w.Field != fields[i].Name {
				continue
			}
			fields[i].Error = pages.Capital(w.Text)
			if prefix := fields[i].Label + ": "; !strings.HasPrefix(w.Text, prefix) {
				wrong[k].Text = prefix + w.Text
			} else {
				fields[i].Error = pages.Capital(strings.TrimPrefix(w.Text, prefix))
			}
		}
	}
	return fields
}

// dict makes a map of pairs, for templates that need more than one thing.
func dict(pairs ...any) map[string]any {
	out := map[string]any{}
	for i := 0; i+1 < len(pairs); i += 2 {
		out[pairs[i].(string)] = pairs[i+1]
	}
	return out
}

// notFound reports whether err is the interface's answer that there is no such
// thing.
func notFound(err error) bool {
	p, ok := errors.AsType[*api.Problem](err)
	return ok && p.Status == http.StatusNotFound
}

// to is an address with what was done.
func to(path, done string) string { return path + "?" + url.Values{"done": {done}}.Encode() }

// byWords say how somebody is reached.
var byWords = map[string]string{"mail": "by mail", "text": "by text message", "call": "by telephone", "none": "not at all", "not_asked": "as nobody has asked her yet"}

// local reads a day and a time of day as a form has them. wrong is what to say
// where that is no time, in the words of the form or because no clock shows it.
func local(loc *time.Location, day, clock, words string) (at api.LocalTime, wrong string) {
	at, err := api.ReadLocal(loc, day, clock)
	if gap, ok := errors.AsType[*api.GapError](err); ok {
		return at, gap.Error()
	}
	if err != nil {
		return at, words
	}
	return at, ""
}
