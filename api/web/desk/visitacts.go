package desk

import (
	"cmp"
	"context"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"chairblock/api"
	"chairblock/api/pages"
)

// act is something that can be done with a visit: a form on its page.
type act struct {
	name, operation string
	label           string // of the button, or of what unfolds
	// offered reports whether the state of the visit lets it be done.
	offered func(visitView) bool
	// says is what follows, shown before the press; nil where the label says it.
	says func(visitView) []string
	// fields are the controls; nil for a button alone.
	fields func(visitView) []pages.Field
	// question is what is asked of the interface. A list says what is wrong
	// without asking.
	question func(v visitView, f url.Values) (api.Question, []pages.FieldError)
	// pointers are the fields of the form by those of the interface.
	pointers map[string]string
	done     string // code of what is said afterwards
}

// post is a question that changes the visit of v.
func (v visitView) post(sub string, body any, f url.Values) api.Question {
	return api.Question{Method: http.MethodPost, Path: api.Path("visits", v.V.ID) + sub, Body: body, IfMatch: f.Get("version"), Key: f.Get("key")}
}

// plain is a question without fields.
func plain(sub string, body any) func(visitView, url.Values) (api.Question, []pages.FieldError) {
	return func(v visitView, f url.Values) (api.Question, []pages.FieldError) { return v.post(sub, body, f), nil }
}

func in(states ...string) func(visitView) bool {
	return func(v visitView) bool { return slices.Contains(states, v.V.State) && len(v.V.Services) > 0 }
}

type object = map[string]any

// visitActs are the things that can be done, in the order of the page.
var visitActs = []act{
	{name: "arrive", operation: "arrive-visit", label: "Arrived", done: "arrived",
		offered:  func(v visitView) bool { return v.V.State == "booked" && len(v.V.Services) > 0 && v.onItsDay() },
		question: plain("/arrive", object{})},
	{name: "undo-miss", operation: "undo-miss", label: "She has come after all: take “did not come” back", done: "back",
		offered: func(v visitView) bool { return v.V.State == "missed" && v.V.End.After(v.now) }, question: plain("/miss/undo", nil)},
	{name: "yes", operation: "note-yes", label: "She is coming", done: "yes",
		offered: func(v visitView) bool { return v.toStart() && v.V.SaidYesAt == nil },
		fields: func(v visitView) []pages.Field {
			return []pages.Field{pages.Select("yes_how", "How she said so", "", cmp.Or(v.typed("yes_how"), "call"),
				[]pages.Option{{ID: "call", Name: "on the telephone"}, {ID: "text", Name: "by text message"}, {ID: "mail", Name: "by mail"}, {ID: "in_person", Name: "here"}}, "")}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			return v.post("/yes", object{"how": f.Get("yes_how")}, f), nil
		}, pointers: map[string]string{"how": "yes_how"}},
	{name: "no-yes", operation: "take-back-yes", label: "She has not said that she comes: take it back", done: "noyes",
		offered: func(v visitView) bool { return v.toStart() && v.V.SaidYesAt != nil },
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			q := v.post("/yes", nil, f)
			q.Method = http.MethodDelete
			return q, nil
		}},
	{name: "tell-late", operation: "tell-running-late", label: "Tell the client that we run late", done: "told",
		offered: func(v visitView) bool { return v.toStart() && v.onItsDay() && v.V.ClientID != "" }, question: plain("/tell-running-late", nil)},
	{name: "hold", operation: "hold-visit", label: "Keep it pencilled for longer", done: "longer",
		offered: func(v visitView) bool { return v.V.State == "held" },
		fields: func(v visitView) []pages.Field {
			return []pages.Field{pages.Number("hold_minutes", "Minutes from now", "1 to 1440", cmp.Or(v.typed("hold_minutes"), "60"))}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			n, wrong := whole(f, "hold_minutes", "1 to 1440 minutes")
			return v.post("/hold", object{"minutes": n}, f), wrong
		}, pointers: map[string]string{"minutes": "hold_minutes"}},
	{name: "release", operation: "release-visit", label: "Give it up", done: "released",
		offered: func(v visitView) bool { return v.V.State == "held" },
		says:    func(visitView) []string { return []string{"Its time is free again at once."} }, question: plain("/release", nil)},
	{name: "extend", operation: "extend-visit", label: "It takes longer", done: "extended", offered: in("booked", "arrived", "under_way"),
		says: func(visitView) []string {
			return []string{"Whatever comes after the step follows as far as it must. Nobody else’s visit moves: what is in the way is named."}
		},
		fields: func(v visitView) []pages.Field {
			var steps []pages.Option
			for i, st := range v.V.Steps {
				if st.RealEnd == nil {
					steps = append(steps, pages.Option{ID: strconv.Itoa(i), Name: v.At(st.Start) + " " + st.Label})
				}
			}
			return []pages.Field{pages.Number("extend_minutes", "Minutes more", "1 to 240", v.typed("extend_minutes")),
				pages.Select("extend_step", "Which step", "", v.typed("extend_step"), steps, "the one that is going on, or the last one with hands on"),
				pages.Input("extend_approved", "Yes by", "the licensed person, only when asked for", "text", v.typed("extend_approved"))}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			n, wrong := whole(f, "extend_minutes", "1 to 240 minutes")
			body := object{"minutes": n}
			if s := f.Get("extend_step"); s != "" {
				step, _ := strconv.Atoi(s)
				body["step"] = step
			}
			return v.post("/extend", with(body, "approved_by", f.Get("extend_approved")), f), wrong
		}, pointers: map[string]string{"minutes": "extend_minutes", "step": "extend_step", "approved_by": "extend_approved"}},
	{name: "finish", operation: "finish-visit", label: "The visit is over", done: "finished", offered: in("arrived", "under_way"),
		says: func(visitView) []string { return []string{"Aftercare counts from now on."} }, question: plain("/finish", object{})},
	{name: "miss", operation: "miss-visit", label: "Did not come", done: "missed",
		offered: func(v visitView) bool {
			return v.V.State == "booked" && len(v.V.Services) > 0 && !v.now.Before(v.V.Start)
		},
		says:     func(v visitView) []string { return v.whatFollows("did not come") },
		question: plain("/miss", nil)},
	{name: "cancel", operation: "cancel-visit", label: "Cancel", done: "cancelled",
		offered: func(v visitView) bool { return slices.Contains([]string{"booked", "arrived"}, v.V.State) },
		says:    func(v visitView) []string { return v.whatFollows("cancelled") },
		fields: func(v visitView) []pages.Field {
			if v.Group == nil || len(v.others()) == 0 {
				return nil
			}
			return []pages.Field{pages.Select("cancel_others", "The visits that it belongs to", v.Group.Words, v.typed("cancel_others"),
				[]pages.Option{{ID: "keep", Name: "stay"}, {ID: "cancel", Name: "are cancelled, too"}}, "choose")}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			return v.post("/cancel", with(object{}, "others", f.Get("cancel_others")), f), nil
		}, pointers: map[string]string{"others": "cancel_others"}},
	{name: "unlink", operation: "set-visit-group", label: "Let it stand alone", done: "unlinked",
		offered: func(v visitView) bool { return v.Group != nil },
		says: func(v visitView) []string {
			return []string{"It stays where it is and does not follow the others any more."}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			q := v.post("/group", object{"group_id": ""}, f)
			q.Method = http.MethodPut
			return q, nil
		}},
}

// needActs are forms that bring what is still needed; they stand beside it.
var needActs = []act{
	{name: "guardian", operation: "add-guardian-yes", label: "Note the guardian’s yes", done: "guardian",
		offered: func(v visitView) bool { return v.open("guardian") },
		fields: func(v visitView) []pages.Field {
			return []pages.Field{pages.Select("guardian_how", "How", "", v.typed("guardian_how"), hows, "choose"),
				pages.Input("guardian_given_by", "Given by", "empty: the guardian on file", "text", v.typed("guardian_given_by")),
				pages.Input("guardian_taken_by", "Taken by", "who here heard or saw it", "text", v.typed("guardian_taken_by")),
				pages.Input("guardian_approved", "Yes by the licensed person", "", "text", v.typed("guardian_approved"))}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			body := with(object{"how": f.Get("guardian_how")}, "given_by", f.Get("guardian_given_by"))
			return v.post("/guardian-yes", with(with(body, "taken_by", f.Get("guardian_taken_by")), "approved_by", f.Get("guardian_approved")), f), chosen(f, "guardian_how")
		}, pointers: map[string]string{"how": "guardian_how", "given_by": "guardian_given_by", "taken_by": "guardian_taken_by", "approved_by": "guardian_approved"}},
	{name: "skin-test", operation: "add-skin-test", label: "A skin test was put on", done: "noted",
		offered: func(v visitView) bool { return v.open("patch_test") && v.V.ClientID != "" },
		fields: func(v visitView) []pages.Field {
			product, strength := v.typed("test_product"), v.typed("test_strength")
			for _, p := range v.V.Products {
				if p.Kind == "solution" && product == "" {
					product, strength = p.Name, cmp.Or(strength, p.Strength)
				}
			}
			return []pages.Field{pages.Input("test_product", "Product", "", "text", product), pages.Input("test_strength", "Strength", "as the maker calls it", "text", strength),
				pages.Select("test_place", "Where", "", v.typed("test_place"), []pages.Option{{ID: "behind_the_ear", Name: "behind the ear"}, {ID: "inner_elbow", Name: "inside of the elbow"}}, "choose"),
				pages.Input("test_by", "Put on by", "", "text", v.typed("test_by"))}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			q := v.post("", with(object{"product": f.Get("test_product"), "strength": f.Get("test_strength"), "place": f.Get("test_place")}, "by", f.Get("test_by")), f)
			q.Path = api.Path("clients", v.V.ClientID, "skin-tests")
			return q, chosen(f, "test_place")
		}, pointers: map[string]string{"product": "test_product", "strength": "test_strength", "place": "test_place", "by": "test_by"}},
	{name: "override", operation: "override-need", label: "The licensed person lets it begin without", done: "override",
		offered: func(v visitView) bool { return len(v.overridable()) > 0 },
		fields: func(v visitView) []pages.Field {
			return []pages.Field{pages.Select("override_kind", "Without", "", v.typed("override_kind"), v.overridable(), "choose"),
				pages.Input("override_by", "Said by", "the licensed person", "text", v.typed("override_by")),
				pages.Area("override_reason", "Reason", "read by the stylist in charge and the owner only", v.typed("override_reason"))}
		},
		question: func(v visitView, f url.Values) (api.Question, []pages.FieldError) {
			wrong := chosen(f, "override_kind")
			return v.post(api.Path("needs", cmp.Or(f.Get("override_kind"), "deposit"), "override"), with(object{"reason": f.Get("override_reason")}, "by", f.Get("override_by")), f), wrong
		}, pointers: map[string]string{"by": "override_by", "reason": "override_reason"}},
}

// hows are the ways in which somebody agrees.
var hows = []pages.Option{{ID: "present", Name: "here"}, {ID: "phone", Name: "on the telephone"}, {ID: "written", Name: "in writing"}}

// with is body with what is not empty.
func with(body object, name, value string) object {
	if v := strings.TrimSpace(value); v != "" {
		body[name] = v
	}
	return body
}

// whole reads a whole number.
func whole(f url.Values, field, want string) (int, []pages.FieldError) {
	n, err := strconv.Atoi(strings.TrimSpace(f.Get(field)))
	if err != nil {
		return 0, []pages.FieldError{{Field: field, Text: "this is not a whole number. Right would be: " + want + "."}}
	}
	return n, nil
}

// chosen says that nothing was chosen.
func chosen(f url.Values, fields ...string) []pages.FieldError {
	var out []pages.FieldError
	for _, name := range fields {
		if f.Get(name) == "" {
			out = append(out, pages.FieldError{Field: name, Text: "choose one of the list."})
		}
	}
	return out
}

// onItsDay reports whether the visit is today.
func (v visitView) onItsDay() bool { return v.V.Start.In(v.loc).Format(time.DateOnly) == v.Today }

// toStart reports whether the visit is booked and its start is to come.
func (v visitView) toStart() bool {
	return v.V.State == "booked" && len(v.V.Services) > 0 && v.V.Start.After(v.now)
}

// open reports whether something of that kind is still needed.
func (v visitView) open(kind string) bool {
	return slices.ContainsFunc(v.V.StillNeeded, func(n api.NeedBody) bool { return n.Kind == kind && n.State != "done" && n.State != "overridden" })
}

// overridable lists what the licensed person may let the visit begin without.
func (v visitView) overridable() []pages.Option {
	var out []pages.Option
	for _, n := range v.V.StillNeeded {
		if n.Overridable {
			out = append(out, pages.Option{ID: n.Kind, Name: n.Words})
		}
	}
	return out
}

// others are the visits that v's belongs to and that take place.
func (v visitView) others() []api.VisitBody {
	if v.Group == nil {
		return nil
	}
	var out []api.VisitBody
	for _, o := range v.Group.Visits {
		if o.ID != v.V.ID && !slices.Contains([]string{"cancelled", "missed", "lapsed"}, o.State) {
			out = append(out, o)
		}
	}
	return out
}

// whatFollows says what comes of it when the visit does not take place.
func (v visitView) whatFollows(became string) []string {
	out := []string{"The time " + v.Span(v.V.Start, v.V.End) + " is free again; who of the waiting list fits is shown afterwards."}
	if len(v.V.Services) == 0 {
		return []string{"The time is free again."}
	}
	switch {
	case v.V.ClientID == "":
	case became == "cancelled" && v.V.ContactBy == "none":
		out = append(out, "No message goes out: the client wishes none.")
	case became == "cancelled" && v.V.ContactBy == "not_asked":
		out = append(out, "Nobody has asked her yet how she wants to hear of it: with a telephone number it goes on the list of calls to make.")
	case became == "cancelled" && v.V.ContactBy == "call":
		out = append(out, "It goes on the list of calls to make.")
	case became == "cancelled":
		out = append(out, "The client hears of it "+byWords[v.V.ContactBy]+", and nothing else of this visit is sent.")
	default:
		out = append(out, "Nothing else of this visit is sent to the client. Whoever works in it is told. It counts on the client’s file, and the next booking asks for the whole deposit.")
	}
	if v.Money != nil && v.Money.LeftCents > 0 {
		out = append(out, fmt.Sprintf("%s are here for it: you are asked what becomes of them.", v.Amount(v.Money.LeftCents)))
	}
	return out
}

// formOf is an act of this page with what was typed into it.
type formOf struct {
	Act    act
	Fields []pages.Field
	Says   []string
	Open   bool // shows what was wrong with it
}

// Plain reports whether it is a button alone.
func (f formOf) Plain() bool { return len(f.Fields) == 0 && len(f.Says) == 0 }

// Name is the end of its address.
func (f formOf) Name() string { return f.Act.name }

// Label is what its button says.
func (f formOf) Label() string { return f.Act.label }

// forms are the acts of list that may be done now.
func (v visitView) forms(ctx context.Context, list []act) []formOf {
	var out []formOf
	for _, a := range list {
		if !api.May(ctx, a.operation) || !a.offered(v) {
			continue
		}
		f := formOf{Act: a, Open: v.Failed == a.name}
		if a.fields != nil {
			f.Fields = a.fields(v)
		}
		if a.says != nil {
			f.Says = a.says(v)
		}
		if f.Open {
			f.Fields = mark(f.Fields, v.Summary)
		}
		out = append(out, f)
	}
	return out
}
