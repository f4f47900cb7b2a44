package desk

import (
	"cmp"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"chairblock/api"
	"chairblock/api/pages"
	"chairblock/api/web"
	"chairblock/scheduling/quoting"
)

// moneyForm notes a money fact of a visit.
type moneyForm struct {
	Fields []pages.Field
	Open   bool
	Ask    string // what has to be decided, ""
}

// moneyForm has what is likely filled in: the deposit that is asked for, or what
// is left of a visit that does not take place.
func (v visitView) moneyForm() moneyForm {
	m := moneyForm{Open: v.Failed == "money"}
	kind, amount := v.typed("money_kind"), v.typed("money_amount")
	gone := v.V.State == "cancelled" || v.V.State == "missed"
	switch d := v.Money.Deposit; {
	case gone && v.Money.LeftCents > 0:
		m.Ask, m.Open = v.Amount(v.Money.LeftCents)+" are here for a visit that does not take place: return them, carry them over to another visit, or keep them?", true
		amount = cmp.Or(amount, quoting.Plain(v.Money.LeftCents, v.Currency))
	case d != nil && !d.Settled && kind == "":
		kind, amount = "received", cmp.Or(amount, quoting.Plain(max(0, d.AskedCents-v.Money.InCents+v.Money.OutCents), v.Currency))
	}
	kinds := []pages.Option{{ID: "received", Name: "received"}, {ID: "returned", Name: "returned"}, {ID: "carried_over", Name: "carried over to another visit of hers"}}
	if gone {
		kinds = append(kinds, pages.Option{ID: "kept", Name: "kept"})
	} else {
		kinds = append(kinds, pages.Option{ID: "deposit_asked", Name: "deposit asked"}, pages.Option{ID: "waived", Name: "deposit waived"},
			pages.Option{ID: "price_changed", Name: "price changed, and she agrees"})
	}
	kinds = append(kinds, pages.Option{ID: "goodwill", Name: "goodwill"}, pages.Option{ID: "voucher", Name: "voucher"})
	m.Fields = []pages.Field{pages.Select("money_kind", "What happened", "", kind, kinds, "choose"),
		pages.Number("money_amount", "Amount in "+v.Currency, "not for a deposit that is waived", amount),
		pages.Select("money_how", "How", "for what was received or returned", v.typed("money_how"), moneyHows, "choose"),
		pages.Input("money_who", "Who waived it", "only for a deposit that is waived", "text", v.typed("money_who")),
		pages.Input("money_note", "Reason or note", "needed for goodwill and vouchers", "text", v.typed("money_note"))}
	if others := v.hers(); len(others) > 0 || v.typed("money_to") != "" {
		m.Fields = append(m.Fields, pages.Input("money_to", "Carried over to", "address of the other visit’s page", "text", v.typed("money_to")))
	} else {
		m.Fields = append(m.Fields, pages.Input("money_to", "Carried over to", "address of the other visit’s page, only for what is carried over", "text", ""))
	}
	if len(v.V.Services) > 1 {
		var list []pages.Option
		for i, x := range v.V.Services {
			list = append(list, pages.Option{ID: strconv.Itoa(i), Name: x.Name})
		}
		m.Fields = append(m.Fields, pages.Select("money_service", "Which service", "only for a price that changed", v.typed("money_service"), list, "choose"))
	}
	m.Fields = mark(m.Fields, v.Summary)
	return m
}

// hers are other visits of the same client that this page knows of.
func (v visitView) hers() []api.VisitBody {
	var out []api.VisitBody
	for _, o := range v.others() {
		if o.ClientID == v.V.ClientID {
			out = append(out, o)
		}
	}
	return out
}

var moneyHows = []pages.Option{{ID: "cash", Name: "cash"}, {ID: "card", Name: "card"}, {ID: "transfer", Name: "transfer"}, {ID: "voucher", Name: "voucher"}, {ID: "other", Name: "otherwise"}}

var moneyPointers = map[string]string{"kind": "money_kind", "amount_cents": "money_amount", "how": "money_how", "who": "money_who", "note": "money_note", "to_visit_id": "money_to",
	"service_index": "money_service", "minutes": "money_amount"}

func (p page) noteMoney(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	n, err := p.site.Salon(c.Request().Context())
	if err != nil {
		return api.Sorry(c, err)
	}
	return p.act(c, form, "money", moneyPointers, "money", func(v visitView) (api.Question, []pages.FieldError) {
		body, wrong := moneyBody(form, n.Currency)
		return v.post("/money", body, form), wrong
	})
}

// moneyBody reads the form. Which fields belong to which kind is the interface's
// to say.
func moneyBody(f url.Values, currency string) (object, []pages.FieldError) {
	wrong := chosen(f, "money_kind")
	kind := f.Get("money_kind")
	body := object{"kind": kind}
	if text := strings.TrimSpace(f.Get("money_amount")); text != "" && kind != "waived" {
		cents, ok := quoting.Read(text, currency)
		if !ok {
			wrong = append(wrong, pages.FieldError{Field: "money_amount", Text: "“" + pages.Clean(text) + "” is no amount. Right would be: a number such as " + quoting.Plain(5000, currency) + "."})
		}
		body["amount_cents"] = cents
	}
	wrong = append(wrong, moneyLacks(kind, f)...)
	if kind == "received" || kind == "returned" {
		with(body, "how", f.Get("money_how"))
	}
	if kind == "waived" {
		with(body, "who", f.Get("money_who"))
	}
	if kind == "price_changed" {
		body["client_agreed"] = true
		if i, err := strconv.Atoi(f.Get("money_service")); err == nil {
			body["service_index"] = i
		}
	}
	if kind == "carried_over" {
		where := strings.TrimSpace(f.Get("money_to"))
		with(body, "to_visit_id", where[strings.LastIndexByte(where, '/')+1:])
	}
	return with(body, "note", f.Get("money_note")), wrong
}

// moneyLacks says what a kind of money fact needs and was not typed.
func moneyLacks(kind string, f url.Values) []pages.FieldError {
	var out []pages.FieldError
	need := func(field, text string, kinds ...string) {
		if slices.Contains(kinds, kind) && strings.TrimSpace(f.Get(field)) == "" {
			out = append(out, pages.FieldError{Field: field, Text: text})
		}
	}
	need("money_amount", "type how much it is.", "received", "returned", "carried_over", "kept", "deposit_asked", "price_changed")
	need("money_how", "choose how it was received.", "received")
	need("money_who", "say who waived the deposit.", "waived")
	need("money_note", "say why, or what the voucher says.", "goodwill", "voucher")
	need("money_to", "type the address of the other visit’s page.", "carried_over")
	return out
}

// moneyBack takes an entry back that was wrong.
func (p page) moneyBack(c echo.Context) error {
	form, err := web.Form(c)
	if err != nil {
		return err
	}
	return p.act(c, form, "money-back", moneyPointers, "withdrawn", func(v visitView) (api.Question, []pages.FieldError) {
		return api.Question{Method: http.MethodPost, Path: api.Path("visits", v.V.ID, "money"), Body: object{"kind": "taken_back", "entry_id": form.Get("entry")}, Key: form.Get("key")}, nil
	})
}
